import type { WallMs } from '../../daemon/time.js';
import { currentStore } from './answer.js';
import type { StoreSeen, TruckState } from './model.js';
import { joined, missingIn } from './received.js';

/** A truck sends again what is not confirmed at least once an hour while it is connected (docs/topics.md): three chances. */
const GIVE_UP_MS = 3 * 3_600_000;
/** What comes in the first part of that time has had nearly as many. */
const GROWS_MS = 30 * 60_000;
/** A truck that is awake is heard every five minutes. After a longer silence nobody knows that it was connected. */
const SILENCE_MS = 6 * 60_000;

/**
 * Numbers that never come though the truck has been heard for hours, and that no gap explains: the gap itself was published while no
 * office listened, or an event is none that this version can read. Waiting on would keep all events after them on the truck for
 * ever. They are counted as lost. before: the row before the truck was heard.
 */
export function unstuck(before: TruckState, state: TruckState): TruckState {
  const store = currentStore(state);
  const seen = state.stores.find((each) => each.store === store);
  if (seen === undefined || (seen.ranges.length < 2 && seen.stuck === null)) return state;
  const heardMs = connectedMs(before.heardMs, state.heardMs);
  const next = waited(seen, heardMs);
  return next === seen ? state : { ...state, stores: state.stores.map((each) => (each === seen ? next : each)) };
}

const connectedMs = (before: WallMs | null, now: WallMs | null): number => {
  const ms = before === null || now === null ? 0 : now - before;
  return ms > SILENCE_MS ? 0 : ms;
};

function waited(seen: StoreSeen, heardMs: number): StoreSeen {
  const [first, second] = seen.ranges;
  if (first === undefined || second === undefined) return { ...seen, stuck: null };
  const last = seen.ranges.at(-1)![1];
  const { stuck } = seen;
  if (stuck?.seq !== first[1]) return { ...seen, stuck: { seq: first[1], top: last, heardMs: 0 } };
  const soFarMs = stuck.heardMs + heardMs;
  // What comes later may have holes of its own, which have not waited yet.
  const top = soFarMs < GROWS_MS ? last : stuck.top;
  if (soFarMs < GIVE_UP_MS) return { ...seen, stuck: { seq: stuck.seq, top, heardMs: soFarMs } };
  const lost = seen.lost + missingIn(seen.ranges, first[0], top);
  return { ...seen, ranges: joined(seen.ranges, first[0], top), stuck: null, lost };
}
