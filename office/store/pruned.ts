import type { WallMs } from '../../daemon/time.js';

interface Pruned {
  table: string;
  /** Rows whose `column` is before that instant, oldest first. */
  column: string;
  before: (olderThanMs: WallMs, nowMs: WallMs) => WallMs;
  /** Only such rows. */
  only?: string;
}

const older = (olderThanMs: WallMs): WallMs => olderThanMs;

/** What goes with age, in this order. Rows of trucks, accounts and notices that still wait stay. */
export const PRUNED: readonly Pruned[] = [
  { table: 'events', column: 'received_ms', before: older },
  { table: 'readings', column: 'received_ms', before: older },
  { table: 'trips', column: 'received_ms', before: older },
  { table: 'gaps', column: 'received_ms', before: older },
  { table: 'notices', column: 'done_ms', before: older, only: "state <> 'waiting'" },
  // A session has ended at its instant, not only after it.
  { table: 'sessions', column: 'until_ms', before: (_, nowMs) => nowMs + 1 },
];

/** The condition on a row; `place` is where the instant stands in the statement. */
export const conditionOf = ({ column, only }: Pruned, place: string): string =>
  `${column} < ${place}${only === undefined ? '' : ` AND ${only}`}`;
