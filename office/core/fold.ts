import type { PresenceMessage, ReceivedEvent, ReceivedReading } from '../../adapters/mqtt/messages.js';
import type { ReceivedCheck } from '../../adapters/mqtt/trip-messages.js';
import type { WallMs } from '../../daemon/time.js';
import { unconfirmed } from './confirm.js';
import { foldEvent } from './fold-event.js';
import { foldOpen } from './fold-open.js';
import type { FleetRules, Folded, Incoming, TruckKey, TruckState } from './model.js';
import { told } from './notices.js';
import { withGap, withStore } from './received.js';
import { unstuck } from './stuck.js';

/**
 * The row after these messages, and what is to be sent for them. Messages are in the order in which they came here, which need not be
 * that of the truck: shared subscriptions split its events between instances. Whatever the order of events, and of lists of open
 * alerts between them, the same alerts are open at the end, and stand the same. Messages of replays never come here.
 */
export function fold(
  key: TruckKey,
  state: TruckState,
  fresh: readonly Incoming[],
  rules: FleetRules,
  nowMs: WallMs,
): Folded {
  const after = unstuck(state, fresh.reduce(taken, state));
  const events = fresh.flatMap((each) => (each.kind === 'event' ? [each.message] : []));
  const asked = unconfirmed(state.alerts, after, events);
  return told(key, state, { ...asked, revision: state.revision + 1 }, endingsOf(events), rules, nowMs);
}

/** How alerts ended, by id: the last word of each. */
function endingsOf(events: readonly ReceivedEvent[]): Map<string, string> {
  const ends = events.filter(({ change }) => change === 'cleared' || change === 'closed');
  ends.sort((a, b) => a.seq - b.seq);
  return new Map(ends.map(({ alert, change, reason }) => [alert, reason ?? change]));
}

function taken(state: TruckState, incoming: Incoming): TruckState {
  const heard = isHeard(state, incoming)
    ? { ...state, heardMs: Math.max(state.heardMs ?? 0, incoming.receivedMs) }
    : state;
  return applied(heard, incoming);
}

function applied(state: TruckState, incoming: Incoming): TruckState {
  const { receivedMs } = incoming;
  switch (incoming.kind) {
    case 'event':
      return foldEvent(state, incoming.message, receivedMs);
    case 'open':
      return foldOpen(state, incoming.message, receivedMs);
    case 'presence':
      return present(state, incoming.message, receivedMs);
    case 'reading':
      return isNewer(incoming.message, state.reading, receivedMs)
        ? { ...state, reading: incoming.message, readingMs: receivedMs }
        : state;
    case 'start-check':
      return isNewer(incoming.message, state.check, receivedMs) ? { ...state, check: incoming.message } : state;
    case 'gap': {
      const { store, fromSeq, toSeq, count } = incoming.message;
      // Trips and start checks have no numbers.
      if (toSeq === 0) return state;
      const stores = withStore(state.stores, store, receivedMs, (seen) =>
        withGap(seen, fromSeq, toSeq, count, receivedMs),
      );
      return { ...state, stores };
    }
    case 'trip':
      return state;
  }
}

/**
 * Whether the truck itself has spoken just now. The broker may give again what it has kept, and says for a truck whose line broke
 * that it is offline; that has no `since`.
 */
function isHeard(state: TruckState, incoming: Incoming): boolean {
  if (incoming.retained === true) return false;
  switch (incoming.kind) {
    case 'presence':
      if (incoming.message.state === 'offline' && incoming.message.since === null) return false;
      return !isSame(incoming.message, state.presence);
    case 'reading':
      return incoming.message.at !== state.reading?.at;
    case 'open': {
      const { alerts: _, ...rest } = incoming.message;
      return !isSame(rest, state.open);
    }
    default:
      return true;
  }
}

function present(state: TruckState, presence: PresenceMessage, ms: WallMs): TruckState {
  if (isSame(presence, state.presence)) return state;
  const lastState = presence.state === 'offline' ? state.lastState : presence.state;
  return { ...state, presence, presenceMs: ms, lastState };
}

const isSame = (a: unknown, b: unknown): boolean => JSON.stringify(a) === JSON.stringify(b);

/** By the truck's clock. One that was ahead and has been set does not keep the truth out. */
function isNewer(
  now: Pick<ReceivedReading | ReceivedCheck, 'at'>,
  last: Pick<ReceivedReading | ReceivedCheck, 'at'> | null,
  receivedMs: WallMs,
): boolean {
  return last === null || now.at > last.at || (now.at < last.at && Date.parse(last.at) > receivedMs);
}
