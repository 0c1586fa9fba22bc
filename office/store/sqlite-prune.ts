import type BetterSqlite from 'better-sqlite3';
import type { WallMs } from '../../daemon/time.js';
import { conditionOf, PRUNED } from './pruned.js';

/** One bounded step in one transaction. Gives the number of rows that went. */
export function pruner(db: BetterSqlite.Database): (olderThanMs: WallMs, nowMs: WallMs, limit: number) => number {
  const steps = PRUNED.map((pruned) => ({
    before: pruned.before,
    remove: db.prepare<[number, number]>(`
      DELETE FROM ${pruned.table} WHERE rowid IN (
        SELECT rowid FROM ${pruned.table} WHERE ${conditionOf(pruned, '?')} ORDER BY ${pruned.column} LIMIT ?)`),
  }));
  return db.transaction((olderThanMs: WallMs, nowMs: WallMs, limit: number) => {
    let left = limit;
    for (const { before, remove } of steps) {
      if (left > 0) left -= remove.run(before(olderThanMs, nowMs), left).changes;
    }
    return limit - left;
  }).immediate;
}
