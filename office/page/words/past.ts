import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import type { Urgency } from '../../../config/resolved.js';
import { msOf } from './time.js';

/** An alert that its events tell of, from the first that is known to the last. */
export interface PastAlert {
  id: string;
  fleet: string;
  truck: string;
  trailer: string | null;
  kind: ReceivedEvent['kind'];
  rule: string;
  subject: string;
  place: string;
  worst: Urgency;
  sinceMs: number;
  /** When it ended and how; null: it has not, as far as these events tell. */
  ended: { ms: number; event: ReceivedEvent } | null;
  /** Who took it last, and everything that people wrote, oldest first. */
  who: string | null;
  notes: { who: string; note: string; ms: number }[];
  /** Oldest first. */
  events: ReceivedEvent[];
}

const WEIGHT: Record<Urgency, number> = { plan: 0, 'next-stop': 1, 'pull-over': 2 };

/** @param events in any order @returns latest change first */
export function pastAlerts(events: readonly ReceivedEvent[]): PastAlert[] {
  const byAlert = new Map<string, ReceivedEvent[]>();
  for (const event of events) {
    const key = `${event.fleet} ${event.alert}`;
    byAlert.set(key, [...(byAlert.get(key) ?? []), event]);
  }
  const latest = (past: PastAlert): number => msOf(past.events.at(-1)!.at);
  return [...byAlert.values()].map(pastAlert).sort((a, b) => latest(b) - latest(a) || a.id.localeCompare(b.id));
}

function pastAlert(unsorted: ReceivedEvent[]): PastAlert {
  const events = unsorted.sort((a, b) => a.seq - b.seq);
  const [first, last] = [events[0]!, events.at(-1)!];
  const isEnded = last.change === 'cleared' || last.change === 'closed';
  return {
    id: first.alert,
    fleet: first.fleet,
    truck: first.truck,
    trailer: last.trailer,
    kind: first.kind,
    rule: first.rule,
    subject: first.subject,
    place: first.place,
    worst: events.reduce<Urgency>(
      (worst, { urgency }) => (WEIGHT[urgency] > WEIGHT[worst] ? urgency : worst),
      first.urgency,
    ),
    sinceMs: msOf(first.since),
    ended: isEnded ? { ms: msOf(last.at), event: last } : null,
    who: events.findLast(({ change }) => change === 'taken')?.who ?? null,
    notes: events.flatMap(({ who, note, at }) =>
      who === undefined || note === undefined ? [] : [{ who, note, ms: msOf(at) }],
    ),
    events,
  };
}
