import type { ReceivedOpen } from '../../adapters/mqtt/messages.js';
import type { WallMs } from '../../daemon/time.js';
import {
  assembled,
  attended,
  bodyOfListed,
  type ListedAlert,
  NO_DETAILS,
  predecessorOf,
  rankOf,
  untilOf,
} from './alerts.js';
import { limited } from './fold-event.js';
import { inherit } from './inherit.js';
import type { OfficeAlert, Standing, StoreSeen, Story, TruckState } from './model.js';
import { isVolatile, withStore } from './received.js';
import { standingIn, standingOf, told } from './story.js';

/** The list of what is open: the truth up to and with its number. One that is older than the last changes nothing. */
export function foldOpen(state: TruckState, open: ReceivedOpen, ms: WallMs): TruckState {
  if (isOld(state, open)) return state;
  const listed = new Map(open.alerts.map((a) => [a.alert, a]));
  const stories: Story[] = [];
  for (const story of state.stories) {
    const steps = story.steps.filter(({ store, seq }) => store === open.store && seq > open.asOf);
    if (steps.length === 0) continue;
    stories.push({ ...story, base: baseOf(state, open, story, listed.get(story.alert), ms), steps });
  }
  const { alerts: _, ...rest } = open;
  const next = { ...state, stories, stores: storesAfter(state, open, ms), open: rest };
  const kept = state.alerts.filter((a) => !listed.has(a.id) && isStillOpen(open, a, stories));
  const replaced: [OfficeAlert, OfficeAlert][] = [];
  const alerts: OfficeAlert[] = [];
  for (const a of open.alerts) {
    const now = listedAlert(state, open, a, stories, ms);
    if (now === null) continue;
    alerts.push(now);
    const before = isKnown(state, a.alert) ? null : predecessorOf(state.alerts, now);
    if (before !== null) replaced.push([now, before]);
  }
  const whole = { ...next, alerts: limited([...alerts, ...kept]) };
  return replaced.reduce<TruckState>((sofar, [now, before]) => inherit(sofar, now, before, ms), whole);
}

const isKnown = (state: TruckState, id: string): boolean => state.alerts.some((a) => a.id === id);

/** Of the same database: a lower number, or the same list earlier. Of one that was given up: nothing that was not told before. */
function isOld({ open: last, stores }: TruckState, open: ReceivedOpen): boolean {
  if (last === null) return false;
  if (last.store !== open.store) {
    const seen = stores.find(({ store }) => store === open.store);
    return seen?.isOver === true && open.asOf <= seen.floor;
  }
  if (open.asOf !== last.asOf) return open.asOf < last.asOf;
  if (open.at === last.at) {
    const { alerts: _, ...rest } = open;
    return JSON.stringify(rest) === JSON.stringify(last);
  }
  // A clock that was set in between says nothing of which is older.
  return open.synced === last.synced && open.at < last.at;
}

/** The alert as the list has it, or as later events have left it; null: they have ended it. */
function listedAlert(
  state: TruckState,
  open: ReceivedOpen,
  a: ListedAlert,
  stories: readonly Story[],
  ms: WallMs,
): OfficeAlert | null {
  const before = state.alerts.find(({ id }) => id === a.alert) ?? null;
  const story = stories.find((each) => each.alert === a.alert);
  if (story !== undefined) {
    const standing = standingOf(story);
    if (standing === null) return null;
    // Its body is that of the later event.
    if (before !== null) return assembled(before, before, standing, before);
  } else if (before !== null && before.store === open.store && before.lastSeq > open.asOf) return before;
  const body = bodyOfListed(open, a);
  const standing = listedStanding(open, a, before && standingIn(before), ms);
  const replaced = before ?? predecessorOf(state.alerts, body);
  const details = before === null || before.store !== open.store ? NO_DETAILS : before;
  const moved = { urgency: body.urgency, snoozed: standing.snoozed };
  return assembled(body, details, standing, attended(replaced, moved, ms));
}

function listedStanding(open: ReceivedOpen, a: ListedAlert, before: Standing | null, receivedMs: WallMs): Standing {
  const said = { synced: open.synced ?? true, saidMs: Date.parse(open.at), receivedMs };
  return {
    unsure: a.unsure,
    chattering: a.chattering,
    taken: a.taken ?? null,
    snoozed: a.snoozed ? { who: a.snoozed.who, until: untilOf(Date.parse(a.snoozed.until), said) } : null,
    note: before?.note ?? null,
    noteSeq: before?.noteSeq ?? 0,
  };
}

function baseOf(
  state: TruckState,
  open: ReceivedOpen,
  story: Story,
  a: ListedAlert | undefined,
  ms: WallMs,
): Standing | null {
  const passed = story.steps.filter(({ store, seq }) => store === open.store && seq <= open.asOf);
  const before = told(story.base, passed);
  if (a !== undefined) return listedStanding(open, a, before, ms);
  const alert = state.alerts.find(({ id }) => id === story.alert);
  return alert !== undefined && isLeftOut(open, alert) ? before : null;
}

/** Not listed: raised since, or left out for its size. */
function isStillOpen(open: ReceivedOpen, alert: OfficeAlert, stories: readonly Story[]): boolean {
  if (alert.store !== open.store) return false;
  const story = stories.find((each) => each.alert === alert.id);
  if (story !== undefined) return standingOf(story) !== null;
  return alert.lastSeq > open.asOf || isLeftOut(open, alert);
}

/**
 * A list that was cut for its size goes from the worst down, oldest first, and mutes are left out before alerts: what would stand
 * behind its last entry may still be open.
 */
function isLeftOut(open: ReceivedOpen, alert: OfficeAlert): boolean {
  const last = open.alerts.at(-1);
  if (open.more === 0 || open.muted.length > 0 || last === undefined) return false;
  const worse = rankOf(alert.urgency) - rankOf(last.urgency);
  return worse < 0 || (worse === 0 && alert.since >= last.since);
}

/** Up to where events of each database are history now. */
function storesAfter(state: TruckState, open: ReceivedOpen, ms: WallMs): StoreSeen[] {
  const last = state.open?.store;
  const isOther = last !== undefined && last !== open.store;
  // The one before is remembered, also when no event of it was ever seen.
  const known = isOther ? withStore(state.stores, last, ms, (seen) => seen) : state.stores;
  const over = known.map((seen): StoreSeen => {
    if (seen.store === open.store) return seen;
    // It may go on later, with higher numbers.
    if (isVolatile(seen.store)) return { ...seen, floor: Math.max(seen.floor, seen.ranges.at(-1)?.[1] ?? 0) };
    return isVolatile(open.store) ? seen : { ...seen, isOver: true };
  });
  return withStore(over, open.store, ms, (seen) => ({
    ...seen,
    isOver: false,
    floor: seen.isOver ? open.asOf : Math.max(seen.floor, open.asOf),
  }));
}
