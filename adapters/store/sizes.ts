import type Database from 'better-sqlite3';
import type { StreamMs } from '../../daemon/time.js';

/** Rows of history deleted in one transaction: some milliseconds on a small computer. */
export const CHUNK_ROWS = 2_000;
/** A record has the bytes of some ten rows. */
export const CHUNK_RECORDS = 200;
/** Transactions of one step. A commit brings some hundreds of rows, so that a step always gains on them. */
const MAX_CHUNKS = 8;
/** Trimmed to this share of the limit, so that a full store is not trimmed at every check. */
const TRIM_TO = 0.97;
/** Pages given back to the file system in one step, where the file is larger than it may be (maxSize was lowered). */
const VACUUM_PAGES = 512;
/** Events after which the share of alerts and outbox is measured again: at most 4 KB each. */
const MEASURE_EVERY_SEQ = 64;
/** 4 MB: more than any commit. */
const TIGHT_PAGES = 1_024;
const NOT_HISTORY = `'alerts', 'alerts_by_ordinal', 'alerts_open', 'alerts_to_thin', 'events', 'events_by_alert', 'outbox'`;

/** Start checks stay as long as their trips do: there is one of each. */
const TRIMMED = "kind <> 'start-check'";

/** A moment in the order in which rows were written. */
interface Place {
  boot: number;
  t: StreamMs;
}
const LATEST: Place = { boot: Number.MAX_SAFE_INTEGER, t: 0 };

/**
 * How the file's bytes are shared out: half of maxBytes for history and records, half for alerts and outbox.
 * Free pages count for neither; the file itself never grows past maxBytes (max_page_count).
 */
export class Sizes {
  readonly #db: Database.Database;
  readonly #pageBytes: number;
  readonly #halfBytes: number;
  readonly #maxBytes: number;
  readonly #measure: Database.Statement<[], number>;
  readonly #nthRow: Database.Statement<[number], Place>;
  readonly #nthRecord: Database.Statement<[number], Place>;
  readonly #deleteRows: Database.Statement<[Place]>;
  readonly #deleteRecords: Database.Statement<[Place]>;
  #alertBytes = 0;
  #measuredSeq = Number.NEGATIVE_INFINITY;

  constructor(db: Database.Database, maxBytes: number) {
    this.#db = db;
    this.#maxBytes = maxBytes;
    this.#halfBytes = maxBytes / 2;
    this.#pageBytes = Number(db.pragma('page_size', { simple: true }));
    this.#measure = db
      .prepare<[], number>(
        `SELECT coalesce(sum(pgsize), 0) FROM dbstat WHERE aggregate = TRUE AND name IN (${NOT_HISTORY})`,
      )
      .pluck();
    this.#nthRow = db.prepare('SELECT boot, t FROM history ORDER BY boot, t LIMIT 1 OFFSET ?');
    this.#nthRecord = db.prepare(
      `SELECT boot, end_t AS t FROM records WHERE ${TRIMMED} ORDER BY boot, end_t LIMIT 1 OFFSET ?`,
    );
    this.#deleteRows = db.prepare('DELETE FROM history WHERE (boot, t) <= (@boot, @t)');
    this.#deleteRecords = db.prepare(`DELETE FROM records WHERE (boot, end_t) <= (@boot, @t) AND ${TRIMMED}`);
    db.pragma(`max_page_count = ${Math.max(1, Math.floor(maxBytes / this.#pageBytes))}`);
  }

  #pragma(name: string): number {
    return Number(this.#db.pragma(name, { simple: true }));
  }

  fileBytes(): number {
    return this.#pragma('page_count') * this.#pageBytes;
  }

  #usedBytes(): number {
    return this.fileBytes() - this.#pragma('freelist_count') * this.#pageBytes;
  }

  /** Is the file so near its limit that a commit may have failed of that? */
  tight(): boolean {
    const free = this.#pragma('max_page_count') - this.#pragma('page_count') + this.#pragma('freelist_count');
    return free < TIGHT_PAGES;
  }

  /** Bytes that alerts and outbox are over their half, or 0. Measured only where more than half of the whole is used. */
  alertsOver(lastSeq: number): number {
    if (this.#usedBytes() <= this.#halfBytes) return 0;
    if (lastSeq - this.#measuredSeq >= MEASURE_EVERY_SEQ) this.remeasure(lastSeq);
    return Math.max(0, this.#alertBytes - this.#halfBytes);
  }

  remeasure(lastSeq: number): void {
    this.#alertBytes = this.#measure.get() ?? 0;
    this.#measuredSeq = lastSeq;
  }

  /** Deletes the oldest history and records past their half, a bounded piece of it. Gives false when more is left to do. Call alertsOver first. */
  trim(): boolean {
    const over = (limit: number): boolean => this.#usedBytes() - this.#alertBytes > limit;
    if (!over(this.#halfBytes)) return this.#shrink();
    for (let chunk = 0; chunk < MAX_CHUNKS; chunk++) {
      if (!this.trimChunk() || !over(this.#halfBytes * TRIM_TO)) return this.#shrink();
    }
    return false;
  }

  /** Deletes the oldest rows and records, a bounded piece of both up to the same moment. Gives false when there was none. */
  trimChunk(): boolean {
    const row = this.#nthRow.get(CHUNK_ROWS - 1) ?? LATEST;
    const record = this.#nthRecord.get(CHUNK_RECORDS - 1) ?? LATEST;
    const upTo = record.boot < row.boot || (record.boot === row.boot && record.t < row.t) ? record : row;
    return this.#deleteRows.run(upTo).changes + this.#deleteRecords.run(upTo).changes > 0;
  }

  #shrink(): boolean {
    if (this.fileBytes() <= this.#maxBytes || this.#pragma('freelist_count') === 0) return true;
    this.#db.pragma(`incremental_vacuum(${VACUUM_PAGES})`);
    return false;
  }
}
