import { type RuleName, URGENCIES, type Urgency } from '../../config/resolved.js';
import type { CloseReason } from '../alerts/event.js';
import type { NumberedEvent } from '../alerts/numbered.js';
import { stamp } from '../alerts/rendering.js';

/** Alerts kept of one configuration: some hundred trips of a truck in a bad state. Further ones are counted. */
export const MOST_ALERTS = 20_000;

/** A moment of what was read: seconds since the first run began, stops left out, and by the stamps of the recording. */
export interface When {
  s: number;
  at: string;
}

/** One alert from its beginning to its end, as one configuration had it. */
export interface Alert {
  rule: RuleName;
  subject: string;
  place: string;
  /** The worst that it reached. */
  urgency: Urgency;
  /** When it was first told at least so urgent; its least level stands for those below it. */
  reached: Partial<Record<Urgency, When>>;
  begin: When;
  /** null: open at the end of what was read. */
  end: (When & { how: 'cleared' | 'closed'; reason: CloseReason | null }) | null;
  /** Moment up to which it is the same problem: its end, or that of all that was read in one go. */
  untilS: number;
}

/** Makes alerts of events as they come. */
export class Alerts {
  readonly all: Alert[] = [];
  /** Alerts beyond MOST_ALERTS. */
  dropped = 0;
  /** By ordinal; counted anew where the program starts from nothing. */
  readonly #known = new Map<number, Alert>();
  readonly #lost = new Set<number>();

  /** What comes now, from atS on, does not go on from what was: no alert before it is open in it. */
  startAnew(atS: number): void {
    for (const alert of this.#known.values()) alert.untilS = Math.min(alert.untilS, atS - 1);
    this.#known.clear();
    this.#lost.clear();
  }

  /** @param baseS moment of stream time 0 of this run */
  take({ draft, run }: NumberedEvent, baseS: number): void {
    const { alert: ordinal, change, urgency } = draft;
    const when = { s: baseS + draft.t / 1000, at: stamp(run, draft.t) };
    const alert = this.#known.get(ordinal) ?? this.#begin(draft, when);
    if (alert === null) return;
    if (change === 'cleared' || change === 'closed') {
      alert.end = { ...when, how: change, reason: draft.reason };
      alert.untilS = when.s;
      return;
    }
    alert.end = null;
    alert.untilS = Number.POSITIVE_INFINITY;
    for (const level of URGENCIES.slice(0, URGENCIES.indexOf(urgency) + 1)) alert.reached[level] ??= when;
    if (URGENCIES.indexOf(urgency) > URGENCIES.indexOf(alert.urgency)) alert.urgency = urgency;
  }

  #begin({ alert: ordinal, rule, subject, place, urgency }: NumberedEvent['draft'], begin: When): Alert | null {
    if (this.all.length >= MOST_ALERTS) {
      if (!this.#lost.has(ordinal)) this.dropped++;
      this.#lost.add(ordinal);
      return null;
    }
    const alert: Alert = { rule, subject, place, urgency, reached: {}, begin, end: null, untilS: Infinity };
    this.#known.set(ordinal, alert);
    this.all.push(alert);
    return alert;
  }
}
