import type { AnswerMessage } from '../../adapters/mqtt/messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { Decision, TruckState } from './model.js';
import { confirmable, isVolatile, settleMs } from './received.js';

/** A confirmation is published at most so often, or after so many events. */
const EVERY_MS = 10_000;
const EVERY_EVENTS = 50;
/** What the truck has not confirmed by then is not wanted any more: whoever wanted it looks at the board again. */
export const DECISION_MS = 24 * 3_600_000;
/** Limits of `answer` (adapters/mqtt/messages.ts; a test compares them). */
export const MOST_DECISIONS = 64;
export const MOST_BYTES = 16_384;
/** Room for the rest of the message: confirmation, trailer, revision. */
const FRAME_BYTES = 512;

/**
 * The next revision: one more than the last, and at least the time in seconds. Trucks apply a decision only when its number is
 * higher than the last one that they applied, and keep that number for years. So an office that has lost its store goes on above all
 * that it has ever said, as it says less than one thing a second to a truck; and so does one that takes the place of another.
 */
export const nextRev = ({ rev }: Pick<TruckState, 'rev'>, nowMs: WallMs): number =>
  Math.max(rev + 1, Math.floor(nowMs / 1000));

/** Decisions still wanted. */
export const wanted = (decisions: readonly Decision[], nowMs: WallMs): Decision[] =>
  decisions.filter(({ askedMs }) => nowMs - askedMs < DECISION_MS);

const bytesOf = (value: unknown): number => new TextEncoder().encode(JSON.stringify(value)).length;

/** Whether one more decision fits into the truck's answer. */
export const roomFor = ({ decisions }: Pick<TruckState, 'decisions'>, decision: Decision): boolean =>
  decisions.length < MOST_DECISIONS && bytesOf([...decisions, decision].map(toSay)) + FRAME_BYTES <= MOST_BYTES;

const toSay = ({ askedMs: _, ...decision }: Decision): AnswerMessage['decisions'][number] => decision;

/**
 * What is to be published now; null: nothing. Decisions and the trailer at once, confirmations and what is not wanted any more at
 * most every ten seconds.
 */
export function answerDue(state: TruckState, nowMs: WallMs): AnswerMessage | null {
  const { published: last, trailer } = state;
  const decisions = wanted(state.decisions, nowMs).map(toSay);
  const received = receivedOf(state, nowMs);
  const said = new Set(last?.decisions.map(({ rev }) => rev));
  const isNew = decisions.some(({ rev }) => !said.has(rev)) || trailer !== (last?.trailer ?? null);
  const isLess = decisions.length !== said.size;
  const more = progress(last?.received ?? null, received);
  if (!isNew) {
    if (!isLess && more === 0) return null;
    const isLong = last === null || nowMs - last.ms >= EVERY_MS || nowMs < last.ms;
    if (!isLong && more < EVERY_EVENTS) return null;
  }
  // A decision has brought its own revision along.
  const rev = state.rev > (last?.rev ?? 0) ? state.rev : nextRev(state, nowMs);
  return { v: 1, rev, received, trailer, decisions };
}

/** The row after the answer was made. */
export function published(state: TruckState, answer: AnswerMessage, nowMs: WallMs): TruckState {
  const { v: _, ...said } = answer;
  const decisions = wanted(state.decisions, nowMs);
  return { ...state, revision: state.revision + 1, rev: answer.rev, decisions, published: { ...said, ms: nowMs } };
}

/** The last answer word for word; null: none was made. */
export function lastAnswer({ published: last }: TruckState): AnswerMessage | null {
  if (last === null) return null;
  const { rev, received, trailer, decisions } = last;
  return { v: 1, rev, received, trailer, decisions };
}

/** What may be confirmed of the database that the truck has now. It never falls. */
function receivedOf(state: TruckState, nowMs: WallMs): AnswerMessage['received'] {
  const store = currentStore(state);
  if (store === null) return null;
  const seen = state.stores.find((each) => each.store === store);
  const seq = seen === undefined ? null : confirmable(seen, nowMs);
  const last = state.published?.received ?? null;
  const before = last?.store === store ? last : null;
  if (seq === null) return before;
  return { store, seq: Math.max(seq, before?.seq ?? 0) };
}

/** How many more are confirmed; a database that was not confirmed before counts as one. */
function progress(last: AnswerMessage['received'], now: AnswerMessage['received']): number {
  if (now === null) return 0;
  return last?.store === now.store ? now.seq - last.seq : 1;
}

/**
 * The database that the truck has now. `open` and `presence` name it; where they differ (a will names that of its connection), the
 * one that was heard last. null: none, or only one that is not stored.
 */
export function currentStore({ open, presence, stores }: TruckState): string | null {
  const named = [open?.store, presence?.store].filter((store) => store !== undefined && !isVolatile(store));
  const heard = stores.filter(({ store, isOver }) => named.includes(store) && !isOver);
  return heard.at(-1)?.store ?? named[0] ?? null;
}

/** When time alone will make an answer due; nowMs: one is; null: it will not. */
export function answerDueMs(state: TruckState, nowMs: WallMs): WallMs | null {
  // It has become due since the row was made: a commit takes its time, and an office may have been away.
  if (answerDue(state, nowMs) !== null) return nowMs;
  const times: WallMs[] = state.decisions.map(({ askedMs }) => askedMs + DECISION_MS);
  const store = currentStore(state);
  const seen = state.stores.find((each) => each.store === store);
  const last = state.published;
  if (seen !== undefined && seen.ranges.length > 0) {
    const confirmed = last?.received?.store === store ? last.received.seq : 0;
    if ((seen.ranges[0]?.[1] ?? 0) > confirmed) {
      times.push(Math.max(seen.firstMs + settleMs(seen), (last?.ms ?? 0) + EVERY_MS));
    }
    for (const { passedMs } of seen.gaps) if (passedMs !== null) times.push(passedMs + EVERY_MS);
  }
  if (last !== null && last.decisions.length !== state.decisions.length) times.push(last.ms + EVERY_MS);
  const later = times.filter((ms) => ms > nowMs);
  return later.length === 0 ? null : Math.min(...later);
}
