import type BetterSqlite from 'better-sqlite3';
import type { WallMs } from '../../daemon/time.js';
import type { Notice } from '../core/model.js';
import type { QueuedNotice } from './contract.js';
import { atMost, parsed } from './rows.js';

interface NoticeRow {
  id: number;
  attempts: number;
  body: string;
}

/** What leaves the office, as a queue. */
export class SqliteNotices {
  readonly #place: string;
  readonly #take: BetterSqlite.Statement<
    [Record<'nowMs' | 'untilMs' | 'limit', number> & { except: string }],
    NoticeRow
  >;
  /** Done when it was taken: the caller's clock is the only one. */
  readonly #done: BetterSqlite.Statement<[string, string | null, number]>;
  readonly #again: BetterSqlite.Statement<[number, string, number]>;

  constructor(db: BetterSqlite.Database) {
    this.#place = db.name;
    this.#take = db.prepare(`
      UPDATE notices SET due_ms = @untilMs, taken_ms = @nowMs, attempts = attempts + 1 WHERE id IN (
        SELECT id FROM notices AS n WHERE state = 'waiting' AND due_ms <= @nowMs
          AND channel NOT IN (SELECT value FROM json_each(@except))
          AND NOT EXISTS (SELECT 1 FROM notices AS before WHERE before.state = 'waiting' AND before.fleet = n.fleet
            AND before.truck = n.truck AND before.alert = n.alert AND before.channel = n.channel AND before.id < n.id)
        ORDER BY due_ms, id LIMIT @limit)
      RETURNING id, attempts - 1 AS attempts, body`);
    this.#done = db.prepare(`
      UPDATE notices SET state = ?, done_ms = coalesce(taken_ms, due_ms), error = coalesce(?, error)
      WHERE id = ? AND state = 'waiting'`);
    this.#again = db.prepare("UPDATE notices SET due_ms = ?, error = ? WHERE id = ? AND state = 'waiting'");
  }

  due(nowMs: WallMs, leaseMs: number, limit: number, except: readonly string[] = []): QueuedNotice[] {
    const untilMs = nowMs + leaseMs;
    const rows = this.#take.all({ nowMs, untilMs, limit: atMost(limit), except: JSON.stringify(except) });
    return rows
      .sort((a, b) => a.id - b.id)
      .map(({ id, attempts, body }) => ({ id, attempts, notice: parsed<Notice>(body, this.#place, 'a notice') }));
  }

  sent(id: number): void {
    this.#done.run('sent', null, id);
  }

  failed(id: number, againMs: WallMs | null, why: string): void {
    if (againMs === null) this.#done.run('given-up', why, id);
    else this.#again.run(againMs, why, id);
  }
}
