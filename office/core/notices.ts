import type { WallMs } from '../../daemon/time.js';
import type { FleetRules, Folded, Notice, OfficeAlert, TruckKey, TruckState } from './model.js';

/** `open` and the event that goes with it come at nearly the same time, one through another instance perhaps: a message waits for both. */
export const PAIR_MS = 10_000;
/** Alerts of one truck whose end is still to be explained. */
const MAX_LEAVING = 64;

/** What people outside the board are told after the row has become `after`. endings: how alerts ended, by id, as events say it. */
export function told(
  key: TruckKey,
  before: TruckState,
  after: TruckState,
  endings: ReadonlyMap<string, string>,
  rules: FleetRules,
  nowMs: WallMs,
): Folded {
  const open = new Map(after.alerts.map((a) => [a.id, a]));
  const ended: { alert: OfficeAlert; sinceMs: WallMs }[] = [...after.leaving];
  for (const alert of before.alerts) {
    if (alert.told.length === 0 || open.has(alert.id) || isReplaced(alert, after.alerts)) continue;
    ended.push({ alert, sinceMs: nowMs });
  }
  const notices: Notice[] = [];
  const leaving: TruckState['leaving'] = [];
  const about = { fleet: key.fleet, truck: key.truck, trailer: after.open?.trailer ?? after.trailer, ms: nowMs };
  for (const [index, { alert, sinceMs }] of ended.entries()) {
    const again = open.get(alert.id);
    const isTooMany = ended.length - index > MAX_LEAVING;
    const ending = endings.get(alert.id) ?? (nowMs - sinceMs >= PAIR_MS || isTooMany ? 'gone' : null);
    // It is open all the same: nobody was told that it was not.
    if (again !== undefined) open.set(alert.id, { ...again, told: [...new Set([...again.told, ...alert.told])] });
    else if (ending === null) leaving.push({ alert, sinceMs });
    else for (const channel of alert.told) notices.push(notice('ended', channel, alert, about, rules, ending));
  }
  const alerts = after.alerts.map(({ id }) => {
    const alert = open.get(id)!;
    const channels = untold(alert, rules, nowMs);
    if (channels.length === 0) return alert;
    for (const channel of channels) notices.push(notice('raised', channel, alert, about, rules, null));
    return { ...alert, told: [...alert.told, ...channels] };
  });
  return { state: { ...after, alerts, leaving }, notices };
}

/** Channels that want to know of it and do not. Of what another alert explains nobody is told. */
function untold(alert: OfficeAlert, rules: FleetRules, nowMs: WallMs): string[] {
  if (alert.cause !== null || (alert.detailSeq === 0 && nowMs - alert.urgentSinceMs < PAIR_MS)) return [];
  return channelsFor(alert, rules).filter((name) => !alert.told.includes(name));
}

export const channelsFor = ({ urgency }: OfficeAlert, rules: FleetRules): string[] =>
  rules.channels.filter(({ urgencies }) => urgencies.includes(urgency)).map(({ name }) => name);

/** Another database has the same problem under another id: it goes on there. */
const isReplaced = (alert: OfficeAlert, alerts: readonly OfficeAlert[]): boolean =>
  alerts.some((a) => a.rule === alert.rule && a.subject === alert.subject && a.store !== alert.store);

/** When time alone will make a message due; null: it will not. */
export function toldDueMs(state: TruckState, rules: FleetRules, nowMs: WallMs): WallMs | null {
  const times = state.leaving.map(({ sinceMs }) => sinceMs + PAIR_MS);
  for (const alert of state.alerts) {
    const isWaiting = alert.detailSeq === 0 && untold(alert, rules, alert.urgentSinceMs + PAIR_MS).length > 0;
    if (isWaiting) times.push(alert.urgentSinceMs + PAIR_MS);
  }
  return times.length === 0 ? null : Math.max(nowMs, Math.min(...times));
}

export function notice(
  why: Notice['why'],
  channel: string,
  alert: OfficeAlert,
  about: Pick<Notice, 'fleet' | 'truck' | 'trailer' | 'ms'>,
  rules: FleetRules,
  ending: string | null,
): Notice {
  const { fleet, truck, trailer, ms } = about;
  return { why, channel, fleet, truck, trailer, alert: placed(alert, rules.position), ending, ms };
}

/** A hundredth of a degree is about a kilometre; the truck file's `rounded` means the same. */
const hundredth = (degrees: number | null): number | null =>
  degrees === null ? null : Math.round(degrees * 100) / 100;

/** What leaves the office of a truck's place. */
function placed(alert: OfficeAlert, position: FleetRules['position']): OfficeAlert {
  const { vehicle } = alert;
  if (vehicle === null || position === 'exact') return alert;
  const { lat, lon } = vehicle;
  const place = position === 'rounded' ? { lat: hundredth(lat), lon: hundredth(lon) } : { lat: null, lon: null };
  return { ...alert, vehicle: { ...vehicle, ...place } };
}
