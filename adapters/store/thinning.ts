import type Database from 'better-sqlite3';
import type { GapRecord } from './contract.js';
import { recordGap } from './gaps.js';
import type { Statements } from './statements.js';

/** Alerts thinned in one transaction. */
const ALERTS_PER_STEP = 50;
const WHY = 'no room';

/** What is thinned, in this order. Events of pull-over alerts are never. */
const THINNED = [
  { worst: 'plan', what: 'events of ended plan alerts between first and last' },
  { worst: 'next-stop', what: 'events of ended next-stop alerts between first and last' },
] as const;

/** Thins events of ended alerts to first and last, oldest alerts first, and tells the office so in one gap record per kind. */
export class Thinning {
  readonly #sql: Statements;
  readonly #candidates: Database.Statement<[string, number], { seq: number; last_seq: number }>;
  readonly #middle: Database.Statement<[{ alert: number; last: number }], { from_seq: number; to_seq: number }>;
  readonly #dropFromOutbox: Database.Statement<[{ alert: number; last: number }]>;
  readonly #dropEvents: Database.Statement<[{ alert: number; last: number }]>;
  readonly #setThinned: Database.Statement<[number]>;
  readonly #step: Database.Transaction<() => number>;

  constructor(db: Database.Database, sql: Statements) {
    const middle = 'alert = @alert AND seq > (SELECT min(seq) FROM events WHERE alert = @alert) AND seq < @last';
    this.#sql = sql;
    this.#candidates = db.prepare(
      "SELECT seq, last_seq FROM alerts WHERE worst = ? AND state <> 'open' AND events > 2 ORDER BY last_seq LIMIT ?",
    );
    this.#middle = db.prepare(`SELECT min(seq) AS from_seq, max(seq) AS to_seq FROM events WHERE ${middle}`);
    this.#dropFromOutbox = db.prepare(
      `DELETE FROM outbox WHERE kind = 'event' AND seq IN (SELECT seq FROM events WHERE ${middle})`,
    );
    this.#dropEvents = db.prepare(`DELETE FROM events WHERE ${middle}`);
    this.#setThinned = db.prepare('UPDATE alerts SET events = 2 WHERE seq = ?');
    this.#step = db.transaction(() => {
      for (const { worst, what } of THINNED) {
        const count = this.#thin(worst, what);
        if (count > 0) return count;
      }
      return 0;
    });
  }

  /** One bounded step. Gives the number of events deleted; 0: nothing left that may be thinned. */
  step(): number {
    return this.#step.immediate();
  }

  #thin(worst: string, what: string): number {
    const gap: GapRecord = { fromSeq: Number.MAX_SAFE_INTEGER, toSeq: 0, what, count: 0, why: WHY };
    for (const { seq, last_seq } of this.#candidates.all(worst, ALERTS_PER_STEP)) {
      const key = { alert: seq, last: last_seq };
      const range = this.#middle.get(key);
      this.#setThinned.run(seq);
      if (range === undefined || range.from_seq === null) continue;
      gap.fromSeq = Math.min(gap.fromSeq, range.from_seq);
      gap.toSeq = Math.max(gap.toSeq, range.to_seq);
      this.#dropFromOutbox.run(key);
      gap.count += this.#dropEvents.run(key).changes;
    }
    if (gap.count > 0) recordGap(this.#sql, gap);
    return gap.count;
  }
}
