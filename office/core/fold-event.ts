import type { ReceivedEvent } from '../../adapters/mqtt/messages.js';
import type { WallMs } from '../../daemon/time.js';
import { assembled, attended, bodyOfEvent, detailsOf, predecessorOf, rankOf, untilOf } from './alerts.js';
import { inherit } from './inherit.js';
import type { OfficeAlert, Step, Story, TruckState } from './model.js';
import { withSeq, withStore } from './received.js';
import { bounded, isNewest, standingIn, standingOf, withNote, withStep } from './story.js';

/** Open alerts of one truck. `open` holds some forty; a truck that sends more than this is out of order. The least urgent are left out. */
const MAX_ALERTS = 400;

/** One event, wherever it comes from and in whatever order. */
export function foldEvent(state: TruckState, event: ReceivedEvent, ms: WallMs): TruckState {
  const stores = withStore(state.stores, event.store, ms, (seen) => withSeq(seen, event.seq, ms));
  const { floor, isOver } = stores.at(-1)!;
  const next = { ...state, stores, vehicle: vehicleOf(state, event, ms) };
  const isHistory = isOver || event.seq <= floor;
  return (isHistory ? null : changed(next, event, ms)) ?? detailed(next, event);
}

/** The alert as it stands after the event; null: the event is old. */
function changed(state: TruckState, event: ReceivedEvent, ms: WallMs): TruckState | null {
  const alert = state.alerts.find(({ id }) => id === event.alert) ?? null;
  const known = state.stories.find((story) => story.alert === event.alert);
  if (known === undefined && alert?.store === event.store && event.seq <= alert.lastSeq) return null;
  const story = known ?? { alert: event.alert, base: alert && standingIn(alert), steps: [] };
  const step = stepOf(event, ms);
  const longer = withStep(story, step);
  if (longer === null) return null;
  const stories = bounded([...state.stories.filter((each) => each !== known), longer]);
  const others = state.alerts.filter((each) => each !== alert);
  const standing = standingOf(longer);
  if (standing === null) return { ...state, stories, alerts: others };
  if (!isNewest(story, step)) {
    // Left out for their number, or what comes late changes nothing but its standing.
    return {
      ...state,
      stories,
      alerts: alert === null ? others : [...others, assembled(alert, alert, standing, alert)],
    };
  }
  const store = alert?.store ?? event.store;
  const isOwn = store === event.store;
  const body = bodyOfEvent(event, store, isOwn ? event.seq : (alert?.lastSeq ?? 0));
  const replaced = alert ?? predecessorOf(others, body);
  const detail = detailsOf(event, isOwn ? event.seq : Math.max(1, alert?.detailSeq ?? 0));
  const moved = { urgency: body.urgency, snoozed: standing.snoozed };
  const now = assembled(body, detail, standing, attended(replaced, moved, ms));
  const grown = { ...state, stories, alerts: limited([...others.filter((each) => each !== replaced), now]) };
  return alert === null && replaced !== null ? inherit(grown, now, replaced, ms) : grown;
}

/** What an old event still tells of an alert that is open: advice and evidence, and what a person wrote. */
function detailed(state: TruckState, event: ReceivedEvent): TruckState {
  const alert = state.alerts.find(({ id }) => id === event.alert);
  if (alert === undefined || alert.store !== event.store || event.change === 'cleared' || event.change === 'closed') {
    return state;
  }
  const details = event.seq > alert.detailSeq ? detailsOf(event, event.seq) : alert;
  const { note } = event;
  if (note === undefined) return withAlert(state, assembled(alert, details, alert, alert));
  const story = state.stories.find((each) => each.alert === alert.id);
  if (story === undefined)
    return withAlert(state, assembled(alert, details, withNote(standingIn(alert), note, event), alert));
  const noted: Story = { ...story, base: story.base && withNote(story.base, note, event) };
  const stories = state.stories.map((each) => (each === story ? noted : each));
  return withAlert({ ...state, stories }, assembled(alert, details, standingOf(noted) ?? alert, alert));
}

const withAlert = (state: TruckState, alert: OfficeAlert): TruckState => ({
  ...state,
  alerts: state.alerts.map((each) => (each.id === alert.id ? alert : each)),
});

export function limited(alerts: OfficeAlert[]): OfficeAlert[] {
  if (alerts.length <= MAX_ALERTS) return alerts;
  return [...alerts].sort((a, b) => rankOf(b.urgency) - rankOf(a.urgency)).slice(0, MAX_ALERTS);
}

function stepOf(event: ReceivedEvent, receivedMs: WallMs): Step {
  const { store, seq, change, at, who = null, note = null, snoozeS, synced } = event;
  const saidMs = Date.parse(at);
  const heardMs = receivedMs - (event.heldS ?? 0) * 1000;
  const until =
    snoozeS === undefined ? null : untilOf(saidMs + snoozeS * 1000, { synced, saidMs, receivedMs: heardMs });
  return { store, seq, change, at, who, note, until };
}

/** Where the truck was and how fast, by the newest event. */
function vehicleOf({ vehicle }: TruckState, event: ReceivedEvent, receivedMs: WallMs): TruckState['vehicle'] {
  const saidMs = Math.min(Date.parse(event.at), receivedMs);
  const ms = event.heldS === null ? saidMs : receivedMs - event.heldS * 1000;
  const isNewer = vehicle === null || (vehicle.store === event.store ? event.seq > vehicle.seq : ms >= vehicle.ms);
  return isNewer ? { store: event.store, seq: event.seq, ms, value: event.vehicle } : vehicle;
}
