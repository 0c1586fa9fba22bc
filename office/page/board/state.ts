import type { BoardSnapshot, BoardTruck, Reach } from '../../core/board-model.js';
import { nameOf } from './groups.js';

/** The board as this page has it: a value that is replaced at each change. */
export interface BoardState {
  /** By "fleet/truck". */
  trucks: ReadonlyMap<string, BoardTruck>;
  counts: Record<Reach, number>;
  notes: readonly string[];
  /** By fleet and urgency: so long nobody may have it before it is called untaken; null: as long as you like. */
  untakenMs: BoardSnapshot['untakenMs'];
  /** Office's clock minus this machine's. */
  offsetMs: number;
}

/** With more trucks than this the page spares the machine: hundreds of rows, drawn each second, would keep a small one busy. */
export const LONG = 60;

export type LiveMessage =
  | { event: 'board'; data: BoardSnapshot }
  | { event: 'truck'; data: BoardTruck }
  | { event: 'notes'; data: string[] }
  | { event: 'counts'; data: Record<Reach, number> };

/** @param ownMs this machine's clock @returns the board with it; null for a truck before the first whole board */
export function apply(state: BoardState | null, message: LiveMessage, ownMs: number): BoardState | null {
  if (message.event === 'board') {
    const { trucks, counts, notes, untakenMs, nowMs } = message.data;
    return {
      trucks: new Map(trucks.map((truck) => [nameOf(truck), truck])),
      counts,
      notes,
      untakenMs,
      offsetMs: nowMs - ownMs,
    };
  }
  if (state === null) return null;
  switch (message.event) {
    case 'truck':
      return withTruck(state, message.data);
    case 'notes':
      return { ...state, notes: message.data };
    case 'counts':
      return { ...state, counts: message.data };
  }
}

function withTruck(state: BoardState, truck: BoardTruck): BoardState {
  const before = state.trucks.get(nameOf(truck));
  // Two instances of the office may tell the same change in another order.
  if (before !== undefined && truck.revision < before.revision) return state;
  const counts = { ...state.counts };
  if (before !== undefined && before.reach !== truck.reach) {
    counts[before.reach] = Math.max(0, counts[before.reach] - 1);
    counts[truck.reach] += 1;
  }
  return { ...state, counts, trucks: new Map(state.trucks).set(nameOf(truck), truck) };
}
