import { URGENCIES, type Urgency } from '../../config/resolved.js';
import type { Gathered, GatheredEvent } from '../gathered.js';
import type { GatheredAlert } from './picture.js';
import { spanOf } from './window.js';

/** An alert with its place in the report. */
export interface FoundAlert extends GatheredAlert {
  /** Alert of this report that explains it. */
  cause: string | null;
  worst: Urgency;
}

/** All alerts, in the order of time; what another one explains stands behind that one. */
export function alertsOf(gathered: Gathered): FoundAlert[] {
  const events = new Map<string, GatheredEvent[]>();
  for (const event of gathered.events) {
    const list = events.get(event.alert);
    if (list === undefined) events.set(event.alert, [event]);
    else list.push(event);
  }
  const found = [...events].map(([id, list]) => alertOf(gathered, id, list, events));
  found.sort((a, b) => a.fromMs - b.fromMs);
  return behindTheirCauses(found);
}

function alertOf(gathered: Gathered, id: string, events: GatheredEvent[], all: Map<string, unknown>): FoundAlert {
  const [first, last] = [events[0]!, events.at(-1)!];
  const { rule, subject, place } = first.draft;
  const isOver = last.draft.change === 'cleared' || last.draft.change === 'closed';
  const cause = events.findLast((e) => e.cause !== null)?.cause ?? null;
  const config = gathered.config?.rules[rule];
  return {
    id,
    rule,
    subject,
    place,
    events,
    // One that was open before is shown from where the data begin.
    fromMs: Math.max(first.atMs - first.draft.sinceAgoMs, Math.min(first.atMs, spanOf(gathered).fromMs)),
    toMs: isOver ? last.atMs : null,
    criteria: config?.criteria ?? {},
    constants: config?.constants ?? {},
    cause: cause !== null && cause !== id && all.has(cause) ? cause : null,
    worst: worstOf(events),
  };
}

const rank = (urgency: Urgency): number => URGENCIES.indexOf(urgency);

/** The worst urgency of any of its events. */
function worstOf(events: readonly GatheredEvent[]): Urgency {
  let worst: Urgency = 'plan';
  for (const { draft } of events) {
    if (rank(draft.urgency) > rank(worst)) worst = draft.urgency;
    if (draft.was !== null && rank(draft.was) > rank(worst)) worst = draft.was;
  }
  return worst;
}

function behindTheirCauses(alerts: readonly FoundAlert[]): FoundAlert[] {
  const ordered: FoundAlert[] = [];
  const placed = new Set<string>();
  const place = (alert: FoundAlert): void => {
    if (placed.has(alert.id)) return;
    placed.add(alert.id);
    ordered.push(alert);
    for (const other of alerts) if (other.cause === alert.id) place(other);
  };
  for (const alert of alerts) if (alert.cause === null) place(alert);
  // Two that explain each other would else be lost.
  for (const alert of alerts) place(alert);
  return ordered;
}

/** The most urgent ones; of those alike what stands for itself, and then the earlier one. In their order. */
export function worstFirst(alerts: readonly FoundAlert[], most: number): FoundAlert[] {
  const ranked = alerts.map((alert, i) => ({ alert, i }));
  ranked.sort(
    (a, b) =>
      rank(b.alert.worst) - rank(a.alert.worst) ||
      Number(a.alert.cause !== null) - Number(b.alert.cause !== null) ||
      a.i - b.i,
  );
  const kept = new Set(ranked.slice(0, most).map(({ alert }) => alert));
  return alerts.filter((alert) => kept.has(alert));
}
