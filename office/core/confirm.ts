import type { ReceivedEvent } from '../../adapters/mqtt/messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { Decision, OfficeAlert, TruckState } from './model.js';

/** A truck applies a decision at the second in which it gets it, or never. Heard so long after it was published, it has not applied it. */
const REFUSED_MS = 10 * 60_000;
/** An end of a snooze as `open` tells it is counted anew each time, in whole seconds. */
const SAME_UNTIL_MS = 5_000;

const CHANGE: Record<Decision['do'], ReceivedEvent['change']> = {
  take: 'taken',
  snooze: 'snoozed',
  resume: 'resumed',
  close: 'closed',
};

/** What the truck has not done yet of what it was asked, after these events, and `before` them. */
export function unconfirmed(
  before: readonly OfficeAlert[],
  state: TruckState,
  events: readonly ReceivedEvent[],
): TruckState {
  if (state.decisions.length === 0) return state;
  const decisions = state.decisions.filter((decision) => {
    const was = before.find(({ id }) => id === decision.alert) ?? null;
    const now = state.alerts.find(({ id }) => id === decision.alert) ?? null;
    if (now === null) return false;
    return !(events.some((e) => tells(e, decision)) || shows(was, now, decision) || isRefused(now, decision, state));
  });
  return decisions.length === state.decisions.length ? state : { ...state, decisions };
}

/** The event that the decision gives. Long notes may be cut on the way back. */
function tells(event: ReceivedEvent, decision: Decision): boolean {
  if (event.alert !== decision.alert || event.change !== CHANGE[decision.do] || event.who !== decision.who)
    return false;
  const { note = '', snoozeS } = event;
  if (decision.do === 'snooze' && snoozeS !== (decision.minutes ?? 0) * 60) return false;
  return (decision.note ?? '').startsWith(note) && (note !== '' || (decision.note ?? '') === '');
}

/** The alert stands now as was asked, and did not before. Which note went with it only the event says. */
function shows(was: OfficeAlert | null, now: OfficeAlert, { do: what, who, note }: Decision): boolean {
  if ((note ?? '') !== '') return false;
  switch (what) {
    case 'take':
      return now.taken?.who === who && now.taken.at !== was?.taken?.at;
    case 'snooze':
      return now.snoozed?.who === who && !isSameEnd(was?.snoozed?.until, now.snoozed.until);
    case 'resume':
      return now.snoozed === null && was !== null && was.snoozed !== null;
    case 'close':
      return false;
  }
}

const isSameEnd = (a: string | undefined, b: string): boolean =>
  a !== undefined && Math.abs(Date.parse(a) - Date.parse(b)) <= SAME_UNTIL_MS;

/** It can always be taken. The rest may not be possible any more when it arrives; that gives no event. */
function isRefused(now: OfficeAlert, decision: Decision, { published, heardMs }: TruckState): boolean {
  if (decision.do === 'take') return false;
  if (decision.do === 'snooze' && now.urgency === 'pull-over') return true;
  const saidMs = publishedMs(published, decision);
  return saidMs !== null && heardMs !== null && heardMs - saidMs >= REFUSED_MS;
}

/** No earlier than it was asked; null: not published yet. */
function publishedMs(published: TruckState['published'], { rev, askedMs }: Decision): WallMs | null {
  return published?.decisions.some((each) => each.rev === rev) ? askedMs : null;
}
