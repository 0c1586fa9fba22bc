import type { Urgency } from '../../../config/resolved.js';
import type { BoardAlert, BoardTruck } from '../../core/board-model.js';
import { compareNeed, REACH_RANK } from '../../core/order.js';
import { isOutOfTouch } from '../words/alerts.js';

/** One alert with the truck that it is of. */
export interface Case {
  truck: BoardTruck;
  alert: BoardAlert;
}

/** Many plan alerts of one truck that nobody has taken, a cold morning for instance: one line. */
export interface Flood {
  truck: BoardTruck;
  alerts: BoardAlert[];
}

export interface Groups {
  /** Nobody has them: most urgent and longest unattended first. */
  undecided: Case[];
  floods: Flood[];
  taken: Case[];
  snoozed: Case[];
  /** Of sensors, bus and truck file: the truck is not at fault. */
  system: Case[];
  /** Late, offline, not heard: their data may be older than what happens to them. */
  outOfTouch: BoardTruck[];
  /** What does not work in the unit. */
  sick: BoardTruck[];
}

/** So many plan alerts of one truck are a flood. */
export const FLOOD = 3;

export const byNeed = (a: Case, b: Case): number => compareNeed(a.alert, b.alert);

export const nameOf = (t: { fleet: string; truck: string }): string => `${t.fleet}/${t.truck}`;

const bySnoozeEnd = (a: Case, b: Case): number =>
  (a.alert.snoozed?.until ?? '').localeCompare(b.alert.snoozed?.until ?? '') || byNeed(a, b);

/** Everything of the board, each thing in one place. */
export function grouped(trucks: Iterable<BoardTruck>): Groups {
  const groups: Groups = { undecided: [], floods: [], taken: [], snoozed: [], system: [], outOfTouch: [], sick: [] };
  for (const truck of trucks) {
    if (isOutOfTouch(truck.reach)) groups.outOfTouch.push(truck);
    if (truck.sick.length > 0) groups.sick.push(truck);
    const plans: BoardAlert[] = [];
    for (const alert of truck.alerts) {
      if (alert.isExplained) continue;
      if (alert.isSnoozed) groups.snoozed.push({ truck, alert });
      else if (alert.kind === 'system') groups.system.push({ truck, alert });
      else if (alert.isTaken) groups.taken.push({ truck, alert });
      else if (alert.urgency === 'plan') plans.push(alert);
      else groups.undecided.push({ truck, alert });
    }
    if (plans.length >= FLOOD)
      groups.floods.push({ truck, alerts: plans.sort((a, b) => a.urgentSinceMs - b.urgentSinceMs) });
    else for (const alert of plans) groups.undecided.push({ truck, alert });
  }
  groups.undecided.sort(byNeed);
  groups.taken.sort(byNeed);
  groups.system.sort(byNeed);
  groups.snoozed.sort(bySnoozeEnd);
  groups.floods.sort(
    (a, b) => a.alerts[0]!.urgentSinceMs - b.alerts[0]!.urgentSinceMs || nameOf(a.truck).localeCompare(nameOf(b.truck)),
  );
  groups.outOfTouch.sort(
    (a, b) =>
      REACH_RANK[a.reach] - REACH_RANK[b.reach] ||
      (a.heardMs ?? 0) - (b.heardMs ?? 0) ||
      nameOf(a).localeCompare(nameOf(b)),
  );
  groups.sick.sort((a, b) => nameOf(a).localeCompare(nameOf(b)));
  return groups;
}

/** What a flood is made of: "pressure below target 7, tire too hot 1". */
export function floodWords(alerts: readonly BoardAlert[]): string {
  const counts = new Map<string, number>();
  for (const { what } of alerts) counts.set(what, (counts.get(what) ?? 0) + 1);
  return [...counts]
    .sort((a, b) => b[1] - a[1])
    .map(([what, n]) => (n === 1 ? what : `${what} (${n} places)`))
    .join(', ');
}

/** Undecided ones by urgency, those of floods included: for the head of the page and its title. */
export function openCounts(groups: Groups): Record<Urgency, number> {
  const counts: Record<Urgency, number> = { 'pull-over': 0, 'next-stop': 0, plan: 0 };
  for (const { alert } of groups.undecided) counts[alert.urgency] += 1;
  for (const { alerts } of groups.floods) counts.plan += alerts.length;
  return counts;
}

/** Needs a decision, and more than a plan. */
export const isUrgentAndFree = (a: BoardAlert): boolean =>
  a.kind === 'equipment' && a.urgency !== 'plan' && !a.isTaken && !a.isSnoozed && !a.isExplained;

/** May this be done now? By the rules that the truck itself keeps to. */
export const mayClose = (t: BoardTruck, a: BoardAlert): boolean => a.unsure || t.isMoving === false;
export const maySnooze = (a: BoardAlert): boolean => a.urgency !== 'pull-over';
