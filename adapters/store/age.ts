import type Database from 'better-sqlite3';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import type { RunInfo } from './contract.js';
import { CHUNK_RECORDS, CHUNK_ROWS } from './sizes.js';

const HOUR_MS = 3_600_000;
/** Deleted in one hour at most: a clock that jumps years ahead costs a day of rows before somebody sees it. */
const DAY_MS = 24 * HOUR_MS;
const ALERTS_PER_STEP = 50;

/**
 * Rows of runs whose clock was right. Alerts count from their last event, and only when the office has all of them. CROSS JOIN: the
 * few events of the alert are looked up in the outbox; the other way round each alert cost a look at all that waits, and with
 * 90,000 events waiting one hour's look took minutes.
 */
const ENDED = `
  FROM alerts a JOIN events e ON e.seq = a.last_seq JOIN runs r ON r.boot = e.boot
  WHERE a.state <> 'open' AND r.synced = 1 AND NOT EXISTS (
    SELECT 1 FROM events x CROSS JOIN outbox o ON o.kind = 'event' AND o.seq = x.seq WHERE x.alert = a.seq)`;
/** For a test of how it is looked up. */
export const ENDED_ALERTS = `SELECT a.seq ${ENDED}`;
/** Trips of which the office was told, in runs whose clock was right. */
const TOLD = `p.boot IN (SELECT boot FROM runs WHERE synced = 1) AND NOT EXISTS (
    SELECT 1 FROM outbox o WHERE o.kind = 'trip' AND o.body = json_object('boot', p.boot, 'trip', p.trip))`;
/** Start checks leave with their trips, other records with history. */
const TOLD_OR_NONE = `(c.kind <> 'start-check' OR NOT EXISTS (
    SELECT 1 FROM outbox o WHERE o.kind = 'check' AND o.body ->> '$.record' = c.id))`;
const OLDEST = `
  SELECT min(at) FROM (
    SELECT min(r.zero_wall_ms + (SELECT min(t) FROM history h WHERE h.boot = r.boot)) AS at FROM runs r WHERE r.synced = 1
    UNION ALL SELECT min(r.zero_wall_ms + p.end_t) FROM trips p JOIN runs r ON r.boot = p.boot WHERE ${TOLD}
    UNION ALL SELECT min(r.zero_wall_ms + (SELECT min(end_t) FROM records c WHERE c.boot = r.boot AND ${TOLD_OR_NONE}))
      FROM runs r WHERE r.synced = 1
    UNION ALL SELECT min(r.zero_wall_ms + e.t) ${ENDED})`;

/** Retention by age: history, records, trips and ended alerts older than keepMs, as the commits' own times say; no clock is read. */
export class AgeRetention {
  readonly #keepMs: number;
  readonly #oldest: Database.Statement<[], number | null>;
  readonly #historyOf: Database.Statement<[number], { boot: number; zero: number }>;
  readonly #nth: Database.Statement<[number, number], number>;
  readonly #deleteHistory: Database.Statement<[number, number, number]>;
  readonly #deleteTrips: Database.Statement<[number]>;
  readonly #deleteRecords: Database.Statement<[number, number]>;
  readonly #ended: Database.Statement<[number, number], { seq: number }>;
  readonly #deleteEvents: Database.Statement<[number]>;
  readonly #deleteAlert: Database.Statement<[number]>;
  readonly #step: Database.Transaction<(before: WallMs) => boolean>;
  #syncedSince: StreamMs | null = null;
  #nextAt: StreamMs = 0;
  /** What is older goes now; null: nothing to do before the next hour. */
  #before: WallMs | null = null;

  constructor(db: Database.Database, keepMs: number) {
    this.#keepMs = keepMs;
    this.#oldest = db.prepare<[], number | null>(OLDEST).pluck() as Database.Statement<[], number | null>;
    this.#historyOf = db.prepare(`
      SELECT r.boot, r.zero_wall_ms AS zero FROM runs r WHERE r.synced = 1
        AND EXISTS (SELECT 1 FROM history h WHERE h.boot = r.boot AND h.t < ? - r.zero_wall_ms) ORDER BY r.boot LIMIT 1`);
    this.#nth = db
      .prepare<[number, number], number>('SELECT t FROM history WHERE boot = ? ORDER BY t LIMIT 1 OFFSET ?')
      .pluck() as Database.Statement<[number, number], number>;
    this.#deleteHistory = db.prepare('DELETE FROM history WHERE boot = ? AND t < ? AND t <= ?');
    this.#deleteTrips = db.prepare(
      `DELETE FROM trips AS p WHERE end_t < ? - (SELECT zero_wall_ms FROM runs r WHERE r.boot = p.boot) AND ${TOLD}`,
    );
    this.#deleteRecords = db.prepare(`
      DELETE FROM records WHERE id IN (SELECT c.id FROM runs r JOIN records c ON c.boot = r.boot
        WHERE r.synced = 1 AND c.end_t < ? - r.zero_wall_ms AND ${TOLD_OR_NONE} ORDER BY c.boot, c.end_t LIMIT ?)`);
    this.#ended = db.prepare(`${ENDED_ALERTS} AND r.zero_wall_ms + e.t < ? ORDER BY a.last_seq LIMIT ?`);
    this.#deleteEvents = db.prepare('DELETE FROM events WHERE alert = ?');
    this.#deleteAlert = db.prepare('DELETE FROM alerts WHERE seq = ?');
    this.#step = db.transaction((before) => this.#delete(before));
  }

  /** One bounded step after a commit at t. Gives false when more is left to do. */
  step(t: StreamMs, run: RunInfo): boolean {
    if (!run.synced) {
      this.#syncedSince = null;
      this.#before = null;
      return true;
    }
    this.#syncedSince ??= t;
    if (t - this.#syncedSince < HOUR_MS) return true;
    if (t >= this.#nextAt) this.#beginHour(t, run);
    if (this.#before === null) return true;
    if (this.#step.immediate(this.#before)) this.#before = null;
    return this.#before === null;
  }

  #beginHour(t: StreamMs, run: RunInfo): void {
    this.#nextAt = t + HOUR_MS;
    const limit = run.zeroWallMs + t - this.#keepMs;
    const oldest = this.#oldest.get() ?? null;
    this.#before = oldest === null || oldest >= limit ? null : Math.min(limit, oldest + DAY_MS);
  }

  #delete(before: WallMs): boolean {
    this.#deleteTrips.run(before);
    const records = this.#deleteRecords.run(before, CHUNK_RECORDS).changes;
    const alerts = this.#ended.all(before, ALERTS_PER_STEP);
    for (const { seq } of alerts) {
      this.#deleteEvents.run(seq);
      this.#deleteAlert.run(seq);
    }
    const history = this.#historyOf.get(before);
    if (history === undefined) return alerts.length < ALERTS_PER_STEP && records < CHUNK_RECORDS;
    const upTo = this.#nth.get(history.boot, CHUNK_ROWS) ?? Number.MAX_SAFE_INTEGER;
    this.#deleteHistory.run(history.boot, before - history.zero, upTo);
    return false;
  }
}
