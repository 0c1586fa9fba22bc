import type { Decision } from '../input.js';
import { NEVER, type StreamMs } from '../time.js';
import { type AlertState, endSnooze } from './alert.js';
import type { EventDraft } from './event.js';

/** A snooze is at most this long: half a day, so that each shift sees what is still open. */
const MOST_SNOOZE_MIN = 720;
const MINUTE_MS = 60_000;

export const isSnoozed = (a: AlertState): boolean => a.snoozeEndsAt > NEVER;

/**
 * Applies what a person decided to an open alert, and gives the change that this is; null: it cannot be applied.
 * Taking says who sees to it, and the last one who does holds it. A pull-over can be taken, never snoozed; resuming needs
 * a snooze; closing needs an alert that is unsure or a truck that stands still. What is closed is ended by the book.
 */
export function decide(a: AlertState, d: Decision, t: StreamMs, standing: boolean): EventDraft['change'] | null {
  switch (d.do) {
    case 'take':
      a.takenBy = d.who;
      a.takenAt = t;
      return 'taken';
    case 'snooze':
      if (a.level === 3 || !isSnoozable(d.minutes)) return null;
      a.snoozedBy = d.who;
      a.snoozeEndsAt = t + d.minutes * MINUTE_MS;
      return 'snoozed';
    case 'resume':
      if (!isSnoozed(a)) return null;
      endSnooze(a);
      return 'resumed';
    case 'close':
      return a.unsure || standing ? 'closed' : null;
  }
}

const isSnoozable = (minutes: number | null): minutes is number =>
  minutes !== null && Number.isInteger(minutes) && minutes > 0 && minutes <= MOST_SNOOZE_MIN;

/** What an event says of the person behind it. */
export function saidBy(d: Decision | null): Pick<EventDraft, 'who' | 'note' | 'snoozeS'> {
  if (d === null) return {};
  return {
    who: d.who,
    ...(d.note !== null && { note: d.note }),
    ...(d.do === 'snooze' && { snoozeS: d.minutes! * 60 }),
  };
}

/** When the next snooze ends; Infinity: there is none. */
export function nextSnoozeEnd(alerts: readonly AlertState[]): StreamMs {
  let first = Number.POSITIVE_INFINITY;
  for (const a of alerts) if (a.open && isSnoozed(a) && a.snoozeEndsAt < first) first = a.snoozeEndsAt;
  return first;
}
