import type { Change } from '../../daemon/alerts/event.js';
import type { Gathered } from '../gathered.js';
import type { GatheredAlert } from './picture.js';
import { firstAt, seriesOf } from './series.js';

export interface Window {
  fromMs: number;
  toMs: number;
}

const MIN_MS = 60_000;
/** Before the first raise, and after the last change. */
const BEFORE_MS = 15 * MIN_MS;
const AFTER_MS = 10 * MIN_MS;
/** What goes on is seen for longer. */
const AFTER_OPEN_MS = 30 * MIN_MS;
/** Before what counted as evidence: what was normal. */
const NORMAL_MS = 5 * MIN_MS;
/** Evidence that began longer ago is not followed to its beginning. */
const MOST_BEFORE_MS = 60 * MIN_MS;
/** Longer than this one plot does not show delays any more. */
const MOST_MS = 2 * 60 * MIN_MS;
/** Before a later change. */
const LATER_BEFORE_MS = 20 * MIN_MS;
const MOST_LATER = 3;
const RISES: readonly Change[] = ['raised', 'reopened', 'worse'];

const SPANS = new WeakMap<Gathered, Window>();

/** From the first to the last moment of everything that was gathered. */
export function spanOf(gathered: Gathered): Window {
  let span = SPANS.get(gathered);
  if (span === undefined) {
    span = findSpan(gathered);
    SPANS.set(gathered, span);
  }
  return span;
}

/** An instant as the page has it: seconds since the beginning of the report, to a tenth. */
export function atS(gathered: Gathered, ms: number): number {
  return Math.round((ms - spanOf(gathered).fromMs) / 100) / 10;
}

/** A length in seconds, to a tenth. */
export const lengthS = (ms: number): number => Math.round(ms / 100) / 10;

/**
 * The minutes that are shown of an alert: the first window holds its raise, with what was normal before and all that changed in
 * the two hours after it; each further one a later rise or its end. At most four, in the order of time, none overlaps another.
 */
export function windowsOf(gathered: Gathered, alert: GatheredAlert): Window[] {
  const whole = spanOf(gathered);
  const fromMs = alert.fromMs - leadOf(gathered, alert);
  const near = alert.events.filter((e) => e.atMs - fromMs <= MOST_MS);
  const lastNear = near.at(-1)?.atMs ?? alert.fromMs;
  const first = { fromMs, toMs: lastNear + (alert.toMs === null ? AFTER_OPEN_MS : AFTER_MS) };
  const later = alert.events.filter((e) => e.atMs - fromMs > MOST_MS);
  const rises = later.filter((e) => RISES.includes(e.draft.change));
  const end = later.filter((e) => e.atMs === alert.toMs);
  const chosen = [...rises.slice(0, MOST_LATER - Math.min(1, end.length)), ...end].sort((a, b) => a.atMs - b.atMs);
  const windows = [first];
  for (const { atMs } of chosen) {
    const last = windows.at(-1)!;
    if (atMs - LATER_BEFORE_MS <= last.toMs) last.toMs = Math.max(last.toMs, atMs + AFTER_MS);
    else windows.push({ fromMs: atMs - LATER_BEFORE_MS, toMs: atMs + AFTER_MS });
  }
  return windows.map((w) => ({ fromMs: Math.max(whole.fromMs, w.fromMs), toMs: Math.min(whole.toMs, w.toMs) }));
}

/** How long before the raise it begins to matter. */
function leadOf(gathered: Gathered, alert: GatheredAlert): number {
  const first = alert.events[0]?.draft;
  const evidence = Math.max(0, ...(first?.evidence?.points ?? []).map(([agoMs]) => agoMs));
  const delays = Object.values(alert.criteria)
    .filter((c) => c.urgency === first?.urgency)
    .map((c) => c.raiseAfterS * 1000);
  const isSilence = first?.measured != null && 'silentS' in first.measured;
  const matters = Math.max(evidence, isSilence ? silentBefore(gathered, alert) : 0, ...delays) + NORMAL_MS;
  return Math.min(MOST_BEFORE_MS, Math.max(BEFORE_MS, matters));
}

/** From the last reading to the raise: moving time is what counts, and standing time lies in between. */
function silentBefore(gathered: Gathered, { subject, fromMs }: GatheredAlert): number {
  const points = seriesOf(gathered, subject, 'pressure');
  const last = points === null ? undefined : points.atMs[firstAt(points.atMs, fromMs) - 1];
  return last === undefined ? 0 : fromMs - last;
}

function findSpan(gathered: Gathered): Window {
  let fromMs = Number.POSITIVE_INFINITY;
  let toMs = Number.NEGATIVE_INFINITY;
  const add = (from: number, to: number): void => {
    fromMs = Math.min(fromMs, from);
    toMs = Math.max(toMs, to);
  };
  for (const run of gathered.runs) add(run.fromMs, run.toMs);
  if (toMs < fromMs) {
    for (const { atMs } of [...gathered.minutes.values(), ...gathered.samples.values()])
      if (atMs.length > 0) add(atMs[0]!, atMs[atMs.length - 1]!);
    for (const e of gathered.events) add(e.atMs, e.atMs);
  }
  return toMs < fromMs ? { fromMs: 0, toMs: 0 } : { fromMs, toMs };
}
