import { RULE_WORDS } from '../../daemon/alerts/words.js';
import type { WallMs } from '../../daemon/time.js';
import { askedOf, isExplained, isSnoozed, isTaken, untakenAtMs } from './attention.js';
import type { BoardAlert, BoardSnapshot, BoardTruck, Reach } from './board-model.js';
import type { FleetRules, OfficeAlert, TruckKey, TruckState } from './model.js';
import { isMoving } from './moving.js';
import { compareAlerts, compareTrucks } from './order.js';
import { reachOf } from './reach.js';

/** One truck as the board shows it at this moment. listeningMs: since when the office hears trucks; null: it does not. */
export function boardTruck(
  key: TruckKey,
  state: TruckState,
  rules: FleetRules,
  nowMs: WallMs,
  listeningMs: WallMs | null = 0,
): BoardTruck {
  const { open, vehicle } = state;
  const alerts = state.alerts.map((alert) => boardAlert(alert, state, rules, nowMs));
  return {
    fleet: key.fleet,
    truck: key.truck,
    revision: state.revision,
    trailer: open?.trailer ?? state.trailer,
    ...reachOf(key.truck, state, rules, nowMs, listeningMs),
    heardMs: state.heardMs,
    sick: sickness(state),
    vehicle: vehicle?.value ?? null,
    vehicleMs: vehicle?.ms ?? null,
    isMoving: isMoving(state, nowMs),
    alerts: alerts.sort(compareAlerts),
    more: open?.more ?? 0,
  };
}

function boardAlert(alert: OfficeAlert, state: TruckState, rules: FleetRules, nowMs: WallMs): BoardAlert {
  const isPutOff = isSnoozed(alert, state, nowMs);
  const atMs = untakenAtMs(alert, state, rules);
  return {
    // Key by key: leaving some out of the rest is many times slower, and the whole board does it for each alert.
    id: alert.id,
    store: alert.store,
    cause: alert.cause,
    rule: alert.rule,
    kind: alert.kind,
    subject: alert.subject,
    place: alert.place,
    urgency: alert.urgency,
    unsure: alert.unsure,
    chattering: alert.chattering,
    since: alert.since,
    at: alert.at,
    synced: alert.synced,
    measured: alert.measured,
    evidence: alert.evidence,
    forecast: alert.forecast,
    advice: alert.advice,
    basis: alert.basis,
    vehicle: alert.vehicle,
    taken: alert.taken,
    snoozed: alert.snoozed,
    note: alert.note,
    urgentSinceMs: alert.urgentSinceMs,
    untakenMs: alert.untakenMs,
    what: whatOf(alert.rule),
    explains: state.alerts.filter(({ cause }) => cause === alert.id).map(({ id }) => id),
    isExplained: isExplained(alert, state),
    asked: askedOf(state, alert.id),
    isTaken: isTaken(alert, state),
    isSnoozed: isPutOff,
    isUntaken: atMs !== null && nowMs >= atMs && !isPutOff,
  };
}

/** A rule in words; one that this version does not know by its name. */
export const whatOf = (rule: string): string =>
  (Object.hasOwn(RULE_WORDS, rule) ? (RULE_WORDS as Record<string, string>)[rule] : undefined) ??
  rule.replaceAll('-', ' ');

const SICK: Record<string, string> = {
  store: 'cannot write its store: what it tells now is not kept on the truck',
  recorder: 'does not record the bus',
};

/** What does not work in the unit, in words. Its alerts of kind `system` stand among the alerts. */
function sickness({ presence }: TruckState): string[] {
  if (presence === null || presence.state === 'offline') return [];
  return [
    ...(presence.state === 'blind' ? ['moving, and nothing is heard on its bus'] : []),
    ...presence.degraded.map((what) => (Object.hasOwn(SICK, what) ? SICK[what]! : `${what} does not work`)),
    ...Object.entries(presence.bus).flatMap(([bus, how]) => (how === 'down' ? [`bus ${bus} is down`] : [])),
  ];
}

const AWAY: readonly Reach[] = ['offline', 'late', 'not-heard'];

/** Whether there is anything to tell of it; other trucks are only counted. */
export const isWorthShowing = ({ alerts, sick, reach }: BoardTruck): boolean =>
  alerts.length > 0 || sick.length > 0 || AWAY.includes(reach);

/** The whole board, most urgent first. rulesOf: by fleet. listeningMs as for one truck. */
export function snapshotOf(
  trucks: Iterable<{ key: TruckKey; state: TruckState }>,
  rulesOf: (fleet: string) => FleetRules,
  notes: readonly string[],
  nowMs: WallMs,
  listeningMs: WallMs | null = 0,
): BoardSnapshot {
  const shown: BoardTruck[] = [];
  const counts = { awake: 0, parked: 0, asleep: 0, off: 0, offline: 0, late: 0, 'not-heard': 0 };
  const untakenMs: BoardSnapshot['untakenMs'] = {};
  for (const { key, state } of trucks) {
    const rules = rulesOf(key.fleet);
    const truck = boardTruck(key, state, rules, nowMs, listeningMs);
    counts[truck.reach]++;
    untakenMs[key.fleet] ??= { ...rules.untakenMs };
    if (isWorthShowing(truck)) shown.push(truck);
  }
  return { nowMs, trucks: shown.sort(compareTrucks), counts, untakenMs, notes: [...notes] };
}
