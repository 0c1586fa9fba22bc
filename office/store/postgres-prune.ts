import type { WallMs } from '../../daemon/time.js';
import type { PostgresLink } from './postgres-link.js';
import { CUT_TABLES, type CutTable, type Months } from './postgres-months.js';
import { conditionOf, PRUNED } from './pruned.js';

/** Whole months go at once, which costs nothing; what is left of older rows in bounded steps. Gives the number of rows that went. */
export async function prune(
  link: PostgresLink,
  months: Months,
  olderThanMs: WallMs,
  nowMs: WallMs,
  limit: number,
): Promise<number> {
  for (const table of CUT_TABLES) {
    for (let rows: number | null = 0; rows !== null; rows = await months.dropOne(table, olderThanMs)) {
      // As many as were allowed, at least: there may be more to do.
      if (rows > 0) return Math.max(rows, limit);
    }
  }
  let left = limit;
  for (const pruned of PRUNED) {
    if (left <= 0) break;
    const { table, column, before } = pruned;
    const from = isCut(table) ? await months.partAt(table, olderThanMs) : table;
    if (from === null) continue;
    // Rows that another instance is deleting are passed over.
    const rows = await link.run(
      `DELETE FROM ${from} WHERE ctid = ANY (ARRAY(SELECT ctid FROM ${from} WHERE ${conditionOf(pruned, '$1')}
         ORDER BY ${column} LIMIT $2 FOR UPDATE SKIP LOCKED)) RETURNING 1`,
      [before(olderThanMs, nowMs), left],
    );
    left -= rows.length;
  }
  return limit - left;
}

const isCut = (table: string): table is CutTable => (CUT_TABLES as string[]).includes(table);
