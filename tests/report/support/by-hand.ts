import type { RuleName, TruckConfig, Urgency } from '../../../config/resolved.js';
import type { Change, EventDraft } from '../../../daemon/alerts/event.js';
import { placeOf } from '../../../daemon/truck/subjects.js';
import { type Gathered, type GatheredEvent, type SeriesQuantity, seriesKey } from '../../../report/gathered.js';
import type { GatheredAlert } from '../../../report/story/picture.js';
import { emptyGathered } from './drive-shift.js';

/** 2 March 2026, 13:00 UTC. */
export const ZERO_MS = Date.UTC(2026, 2, 2, 13);

/** A run of so many minutes in which nothing was heard yet. */
export function run(minutes: number, config: TruckConfig | null = null): Gathered {
  const gathered = emptyGathered(config);
  gathered.runs = [
    { fromMs: ZERO_MS, toMs: ZERO_MS + minutes * 60_000, synced: true, config: 'abcdef01', version: '1.0.0' },
  ];
  return gathered;
}

/** Readings every so many seconds: of the value at each second, none where that is null. */
export function sample(
  gathered: Gathered,
  subject: string,
  quantity: SeriesQuantity,
  everyS: number,
  valueAt: (second: number) => number | null,
): void {
  const { fromMs, toMs } = gathered.runs[0]!;
  const series = { atMs: [] as number[], value: [] as number[] };
  for (let s = 0; fromMs + s * 1000 <= toMs; s += everyS) {
    const value = valueAt(s);
    if (value === null) continue;
    series.atMs.push(fromMs + s * 1000);
    series.value.push(value);
  }
  gathered.samples.set(seriesKey(subject, quantity), series);
}

/** The same by the minute. */
export function byMinute(
  gathered: Gathered,
  subject: string,
  quantity: SeriesQuantity,
  rowOf: (minute: number) => [min: number, max: number, last: number] | null,
): void {
  const { fromMs, toMs } = gathered.runs[0]!;
  const rows = { atMs: [] as number[], min: [] as number[], max: [] as number[], last: [] as number[] };
  for (let minute = 0; fromMs + minute * 60_000 < toMs; minute++) {
    const row = rowOf(minute);
    if (row === null) continue;
    rows.atMs.push(fromMs + minute * 60_000);
    rows.min.push(row[0]);
    rows.max.push(row[1]);
    rows.last.push(row[2]);
  }
  gathered.minutes.set(seriesKey(subject, quantity), rows);
}

/** One change of one alert, so many seconds after the beginning. */
export function event(
  alert: string,
  rule: RuleName,
  subject: string,
  [second, change, urgency]: readonly [second: number, change: Change, urgency: Urgency],
  more: Partial<EventDraft> & { explainedBy?: string } = {},
): GatheredEvent {
  const { explainedBy = null, ...draft } = more;
  return {
    atMs: ZERO_MS + second * 1000,
    alert,
    cause: explainedBy,
    draft: {
      t: second * 1000,
      alert: 1,
      cause: null,
      rule,
      kind: 'equipment',
      subject,
      place: placeOf(subject),
      change,
      reason: null,
      urgency,
      was: null,
      sinceAgoMs: 0,
      trailer: null,
      measured: null,
      evidence: null,
      forecast: null,
      advice: `${urgency} advice`,
      basis: '',
      vehicle: { speed: null, lat: null, lon: null, ageS: null },
      ...draft,
    },
  };
}

/** An alert of these changes, under the rule's limits of a configuration. */
export function alertOf(
  gathered: Gathered,
  rule: RuleName,
  subject: string,
  changes: (readonly [second: number, change: Change, urgency: Urgency])[],
  more: Partial<EventDraft> = {},
): GatheredAlert {
  const events = changes.map((change) => event('1', rule, subject, change, more));
  const last = events.at(-1)!;
  const isOver = last.draft.change === 'cleared' || last.draft.change === 'closed';
  const config = gathered.config?.rules[rule];
  return {
    id: '1',
    rule,
    subject,
    place: placeOf(subject),
    events,
    fromMs: events[0]!.atMs,
    toMs: isOver ? last.atMs : null,
    criteria: config?.criteria ?? {},
    constants: config?.constants ?? {},
  };
}

/** A sentence as text; instants as seconds in angle brackets. */
export const text = (words: readonly (string | { atS: number })[]): string =>
  words.map((word) => (typeof word === 'string' ? word : `<${word.atS}>`)).join('');
