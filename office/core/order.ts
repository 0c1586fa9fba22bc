import type { BoardAlert, BoardTruck } from './board-model.js';

/* Imported by the page too: types only, no other code. */

const URGENCY_RANK = { 'pull-over': 0, 'next-stop': 1, plan: 2 } as const;

type Need = Pick<BoardAlert, 'id' | 'urgency' | 'urgentSinceMs'>;
type Ranked = Need & Pick<BoardAlert, 'kind' | 'isExplained' | 'isTaken' | 'isSnoozed'>;

/** 0: somebody has to decide; 1: somebody has it; 2: it is put off. */
export const stageOf = (a: Pick<BoardAlert, 'isTaken' | 'isSnoozed'>): 0 | 1 | 2 =>
  a.isSnoozed ? 2 : a.isTaken ? 1 : 0;

/** Equipment, then the unit's own, then what another alert explains. */
const groupOf = (a: Ranked): number => (a.isExplained ? 2 : a.kind === 'equipment' ? 0 : 1);

/** Most urgent first, then longest unattended; then by id, so that the order never flickers. */
export const compareNeed = (a: Need, b: Need): number =>
  URGENCY_RANK[a.urgency] - URGENCY_RANK[b.urgency] || a.urgentSinceMs - b.urgentSinceMs || compareText(a.id, b.id);

/** Negative: a stands before b. What nobody has decided on first, most urgent and longest unattended first. */
export const compareAlerts = (a: Ranked, b: Ranked): number =>
  groupOf(a) - groupOf(b) || stageOf(a) - stageOf(b) || compareNeed(a, b);

/** Those that cannot be reached first. */
export const REACH_RANK: Record<BoardTruck['reach'], number> = {
  'not-heard': 0,
  offline: 1,
  late: 2,
  awake: 3,
  parked: 3,
  asleep: 3,
  off: 3,
};

/** Trucks by the first of their alerts; then those that cannot be reached, then those that are sick, then by name. */
export function compareTrucks(a: BoardTruck, b: BoardTruck): number {
  const [first, other] = [a.alerts[0], b.alerts[0]];
  if (first !== undefined && other !== undefined) {
    const byAlert = compareAlerts(first, other);
    if (byAlert !== 0) return byAlert;
  } else if (first !== undefined || other !== undefined) return first === undefined ? 1 : -1;
  return (
    REACH_RANK[a.reach] - REACH_RANK[b.reach] ||
    Math.sign(b.sick.length) - Math.sign(a.sick.length) ||
    compareText(a.fleet, b.fleet) ||
    compareText(a.truck, b.truck)
  );
}

/** The same everywhere, whatever the language of the browser. */
const compareText = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);
