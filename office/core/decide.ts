import type { WallMs } from '../../daemon/time.js';
import { nextRev, roomFor } from './answer.js';
import { isSnoozed } from './attention.js';
import type { Decision, Folded, OfficeAlert, TruckKey, TruckState, Wish } from './model.js';
import { isStanding } from './moving.js';

/** Limits of `answer` (adapters/mqtt/fields.ts; a test compares them), in UTF-16 units and minutes. */
export const MOST_WHO = 64;
export const MOST_NOTE = 300;
export const MOST_MINUTES = 720;
const MOST_TRAILER = 64;

const UNPRINTABLE = /[\p{C}\p{Zl}\p{Zp}]/u;

type Decided = { folded: Folded } | { refused: string };

/**
 * What a person wants of an alert, as a decision that goes to the truck; or one line that says why not. The truck has the last
 * word: it judges by what is so when the decision arrives. The same wish again changes nothing.
 */
export function decide(_key: TruckKey, state: TruckState, wish: Wish, nowMs: WallMs): Decided {
  const alert = state.alerts.find(({ id }) => id === wish.alert);
  if (alert === undefined) return { refused: 'this alert is not open any more' };
  const note = wish.note?.trim() || null;
  const minutes = wish.do === 'snooze' ? wish.minutes : null;
  const why = whyNot(state, alert, { ...wish, note }, nowMs);
  if (why !== null) return { refused: why };
  if (isAsked(state, alert, { ...wish, note, minutes }, nowMs)) return { folded: { state, notices: [] } };
  const decisions = state.decisions.filter((d) => d.alert !== alert.id || !REPLACES[wish.do].includes(d.do));
  const rev = nextRev(state, nowMs);
  const decision: Decision = { rev, alert: alert.id, do: wish.do, who: wish.who, note, minutes, askedMs: nowMs };
  if (!roomFor({ decisions }, decision)) {
    return { refused: 'too many decisions wait for this truck; it has not been heard since they were made' };
  }
  const next = { ...state, revision: state.revision + 1, rev, decisions: [...decisions, decision] };
  return { folded: { state: next, notices: [] } };
}

/** The trailer that is coupled, for the truck to know; null: the office does not say. */
export function couple(state: TruckState, trailer: string | null): Decided {
  const isText = trailer === null || (/^[\x20-\x7e]+$/.test(trailer) && trailer.length <= MOST_TRAILER);
  if (!isText) return { refused: `a trailer's name has 1 to ${MOST_TRAILER} printable ASCII characters` };
  if (trailer === state.trailer) return { folded: { state, notices: [] } };
  return { folded: { state: { ...state, revision: state.revision + 1, trailer }, notices: [] } };
}

/** What a new decision makes pointless of those that the truck has not confirmed. */
const REPLACES: Record<Wish['do'], readonly Wish['do'][]> = {
  take: ['take'],
  snooze: ['snooze', 'resume'],
  resume: ['snooze', 'resume'],
  close: ['take', 'snooze', 'resume', 'close'],
};

/** One line in plain words; null: it can be asked of the truck. */
function whyNot(state: TruckState, alert: OfficeAlert, wish: Wish, nowMs: WallMs): string | null {
  if (!isText(wish.who, MOST_WHO) || wish.who === '') return 'nobody is signed in under a name that can be sent';
  if (wish.note !== null && wish.note.length > MOST_NOTE) return `a note has at most ${MOST_NOTE} characters`;
  if (wish.note !== null && !isText(wish.note, MOST_NOTE)) return 'a note is one line of printable characters';
  switch (wish.do) {
    case 'take':
      return null;
    case 'snooze':
      if (alert.urgency === 'pull-over') return 'a pull-over can be taken, but not put off';
      return isMinutes(wish.minutes) ? null : `it can be put off for 1 to ${MOST_MINUTES} minutes`;
    case 'resume':
      return isSnoozed(alert, state, nowMs) || alert.snoozed !== null ? null : 'it is not put off';
    case 'close':
      if (alert.unsure || isStanding(state, nowMs)) return null;
      return 'it can be closed when its data are missing or the truck stands still; measured good, it clears by itself';
  }
}

const isText = (text: string, most: number): boolean => text.length <= most && !UNPRINTABLE.test(text);

const isMinutes = (minutes: number | null): boolean =>
  minutes !== null && Number.isInteger(minutes) && minutes >= 1 && minutes <= MOST_MINUTES;

/** It has been asked already, or is so. */
function isAsked(state: TruckState, alert: OfficeAlert, wish: Wish, nowMs: WallMs): boolean {
  const pending = state.decisions.some(
    (d) =>
      d.alert === alert.id &&
      d.do === wish.do &&
      d.who === wish.who &&
      (d.note ?? null) === wish.note &&
      // A snooze counts from when it was asked: later, the same minutes end later.
      (d.minutes ?? null) === wish.minutes &&
      (wish.do !== 'snooze' || nowMs - d.askedMs < AGAIN_MS),
  );
  if (pending) return true;
  const isOther = state.decisions.some((d) => d.alert === alert.id && REPLACES[wish.do].includes(d.do));
  return wish.do === 'take' && wish.note === null && alert.taken?.who === wish.who && !isOther;
}
/** A second click, or the same request sent twice. */
const AGAIN_MS = 60_000;
