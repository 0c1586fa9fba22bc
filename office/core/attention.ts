import type { WallMs } from '../../daemon/time.js';
import { answerDueMs } from './answer.js';
import type { Decision, FleetRules, Folded, Notice, OfficeAlert, TruckKey, TruckState } from './model.js';
import { channelsFor, notice, told, toldDueMs } from './notices.js';

const MINUTE_MS = 60_000;

/** What was asked last of the truck about this alert, and is not confirmed. */
export const askedOf = ({ decisions }: Pick<TruckState, 'decisions'>, id: string): Decision | null =>
  decisions.findLast(({ alert }) => alert === id) ?? null;

/** Somebody sees to it, or has said so: the truck need not have confirmed it. */
export const isTaken = (alert: OfficeAlert, { decisions }: Pick<TruckState, 'decisions'>): boolean =>
  alert.taken !== null || decisions.some((d) => d.alert === alert.id && d.do === 'take');

/** Until when it is put off, or asked to be; null: it is not. */
export function snoozedUntilMs(alert: OfficeAlert, { decisions }: Pick<TruckState, 'decisions'>): WallMs | null {
  const asked = decisions.findLast((d) => d.alert === alert.id && (d.do === 'snooze' || d.do === 'resume'));
  if (asked?.do === 'resume') return null;
  if (asked !== undefined) return asked.askedMs + (asked.minutes ?? 0) * MINUTE_MS;
  return alert.snoozed === null ? null : Date.parse(alert.snoozed.until);
}

export function isSnoozed(alert: OfficeAlert, state: Pick<TruckState, 'decisions'>, nowMs: WallMs): boolean {
  const untilMs = snoozedUntilMs(alert, state);
  return untilMs !== null && untilMs > nowMs;
}

/** Another alert that is open explains it. */
export const isExplained = ({ cause }: OfficeAlert, { alerts }: Pick<TruckState, 'alerts'>): boolean =>
  cause !== null && alerts.some(({ id }) => id === cause);

/** Since when nobody has it, also after it was put off. */
export function unattendedSinceMs(alert: OfficeAlert, state: Pick<TruckState, 'decisions'>): WallMs {
  return Math.max(alert.urgentSinceMs, snoozedUntilMs(alert, state) ?? 0);
}

/** When it is called untaken; null: never as it stands. */
export function untakenAtMs(
  alert: OfficeAlert,
  state: Pick<TruckState, 'decisions' | 'alerts'>,
  rules: Pick<FleetRules, 'untakenMs'>,
): WallMs | null {
  const ms = rules.untakenMs[alert.urgency];
  if (ms === null || isTaken(alert, state) || isExplained(alert, state)) return null;
  return unattendedSinceMs(alert, state) + ms;
}

const wasCalled = (alert: OfficeAlert, state: Pick<TruckState, 'decisions'>): boolean =>
  alert.untakenMs !== null && alert.untakenMs >= unattendedSinceMs(alert, state);

/**
 * What time alone has made due: alerts that nobody has taken are told once more, and messages that waited for the rest of their
 * story go without it. null: nothing.
 */
export function attention(key: TruckKey, state: TruckState, rules: FleetRules, nowMs: WallMs): Folded | null {
  const called: Notice[] = [];
  const { fleet, truck } = key;
  const about = { fleet, truck, trailer: state.open?.trailer ?? state.trailer, ms: nowMs };
  let isAny = false;
  const alerts = state.alerts.map((alert) => {
    const atMs = untakenAtMs(alert, state, rules);
    if (atMs === null || nowMs < atMs || wasCalled(alert, state)) return alert;
    isAny = true;
    for (const channel of channelsFor(alert, rules)) called.push(notice('untaken', channel, alert, about, rules, null));
    return { ...alert, untakenMs: nowMs };
  });
  const dueMs = toldDueMs(state, rules, nowMs);
  if (!isAny && (dueMs === null || dueMs > nowMs)) return null;
  const after = { ...state, alerts, revision: state.revision + 1 };
  const folded = told(key, state, after, new Map(), rules, nowMs);
  return { state: folded.state, notices: [...folded.notices, ...called] };
}

/** When the row is next to be looked at though nothing comes: for `attention` or `answerDue`; null: not as it stands. */
export function nextLookMs(state: TruckState, rules: FleetRules, nowMs: WallMs): WallMs | null {
  const times = [toldDueMs(state, rules, nowMs), answerDueMs(state, nowMs)];
  for (const alert of state.alerts) if (!wasCalled(alert, state)) times.push(untakenAtMs(alert, state, rules));
  const some = times.filter((ms) => ms !== null);
  return some.length === 0 ? null : Math.max(nowMs, Math.min(...some));
}
