import type BetterSqlite from 'better-sqlite3';
import type { WallMs } from '../../daemon/time.js';
import { PRUNED } from './pruned.js';

/** One bounded step in one transaction. Gives the number of rows that went. */
export function pruner(db: BetterSqlite.Database): (olderThanMs: WallMs, nowMs: WallMs, limit: number) => number {
  const steps = PRUNED.map(({ table, condition, order }) =>
    db.prepare<[{ olderThanMs: number; nowMs: number; limit: number }]>(`
      DELETE FROM ${table} WHERE rowid IN (
        SELECT rowid FROM ${table} WHERE ${condition('@olderThanMs', '@nowMs')} ORDER BY ${order} LIMIT @limit)`),
  );
  return db.transaction((olderThanMs: WallMs, nowMs: WallMs, limit: number) => {
    let left = limit;
    for (const step of steps) {
      if (left > 0) left -= step.run({ olderThanMs, nowMs, limit: left }).changes;
    }
    return limit - left;
  }).immediate;
}
