import type BetterSqlite from 'better-sqlite3';
import type { Urgency } from '../../config/resolved.js';
import { isoTime } from '../../daemon/alerts/iso-time.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import { StoreError, storeError } from './errors.js';
import { toNewest } from './read-older.js';
import { below, from, isDamage, type Key, pagesOf } from './read-pages.js';
import { openPlace } from './read-place.js';
import type { RunRow, SeriesRow } from './read-rows.js';

/** From ≤ wall time < to; null is open. */
export interface Span {
  fromMs: WallMs | null;
  toMs: WallMs | null;
}

/** What is asked for; null: whatever it is. */
export interface Wanted extends Span {
  subject: ((subject: string) => boolean) | null;
  quantities: readonly string[] | null;
  rules: readonly string[] | null;
  urgencies: readonly Urgency[] | null;
}

export const EVERYTHING: Wanted = {
  ...{ fromMs: null, toMs: null },
  ...{ subject: null, quantities: null, rules: null, urgencies: null },
};

export interface ReadAbout {
  path: string;
  truck: string;
  /** Random id of the database. */
  store: string;
  /** How often it has been opened, and the number of its last event. */
  boot: number;
  lastSeq: number;
  /** A program has it open. */
  live: boolean;
}

/** A run with the part of it that is asked for: fromT ≤ t < toT. */
export interface Piece {
  run: RunRow;
  fromT: StreamMs;
  toT: StreamMs;
}

/** Rows of one short read, so that whoever writes is never kept from emptying the log. Records are some hundred bytes each. */
export const PAGE_ROWS = { small: 2_000, large: 250 } as const;
/** Of what is said to be unreadable. */
const MOST_PROBLEMS = 20;
/** Beyond every time. */
const NEVER = Number.MAX_SAFE_INTEGER;

/** The newest row of each table. */
const NEWEST = [
  'SELECT boot, t FROM events ORDER BY seq DESC LIMIT 1',
  'SELECT boot, t FROM history ORDER BY boot DESC, t DESC LIMIT 1',
  'SELECT boot, end_t AS t FROM records ORDER BY boot DESC, end_t DESC LIMIT 1',
  'SELECT boot, end_t AS t FROM trips ORDER BY boot DESC, trip DESC LIMIT 1',
];

/**
 * A database that is only read: what it is, its runs, and the means to read it page by page. The questions are in
 * `read-alerts.ts` and `read-history.ts`. Errors: StoreError; damage is told in `problems`, and what lies behind it is read.
 */
export class StoreReader {
  readonly about: ReadAbout;
  /** Starts of the program, in order. */
  readonly runs: readonly RunRow[];
  readonly series: readonly SeriesRow[];
  /** What cannot be read or used, whole sentences; grows while rows are read. */
  readonly problems: string[] = [];
  readonly db: BetterSqlite.Database;
  readonly #runOf: ReadonlyMap<number, RunRow>;

  constructor(path: string) {
    const place = openPlace(path, (db, isCopy, problems) => toNewest(db, path, isCopy, problems));
    this.db = place.db;
    this.problems.push(...place.problems);
    try {
      this.db.pragma('query_only = ON');
      // A page that holds nonsense is told as damage and not read as rows.
      this.db.pragma('cell_size_check = ON');
      this.about = { ...aboutOf(this.db, path), live: place.live };
      this.runs = this.#all<RunRow>('runs', 'boot', 'starts of the program');
      this.series = this.#all<SeriesRow>('series', 'id', 'names of readings');
    } catch (error) {
      this.db.close();
      if (!isDamage(error)) throw storeError(error, path);
      throw new StoreError('store-corrupt', `${path}: damaged so that nothing of it can be read`, { cause: error });
    }
    this.#runOf = new Map(this.runs.map((run) => [run.boot, run]));
  }

  close(): void {
    this.db.close();
  }

  /** Wall time of a stream time; null: of a start that is not listed. */
  wallMs(boot: number, t: StreamMs): WallMs | null {
    const run = this.#runOf.get(boot);
    return run === undefined ? null : run.zero_wall_ms + t;
  }

  runOf(boot: number): RunRow | undefined {
    return this.#runOf.get(boot);
  }

  /** A span by the clock of each run. What is of a run may have begun before it: a trip that went on over a restart. */
  pieces({ fromMs, toMs }: Span): Piece[] {
    return this.runs.map((run) => ({
      run,
      fromT: fromMs === null ? -NEVER : fromMs - run.zero_wall_ms,
      toT: toMs === null ? NEVER : toMs - run.zero_wall_ms,
    }));
  }

  /** Wall clock of the newest event, reading, record or trip; null: there is nothing in it. */
  newestMs(): WallMs | null {
    const all = NEWEST.flatMap((sql) => {
      const row = this.attempt(() => this.db.prepare<[], { boot: number; t: number }>(sql).get());
      const ms = row === undefined || row === null ? null : this.wallMs(row.boot, row.t);
      return ms === null ? [] : [ms];
    });
    return all.length === 0 ? null : Math.max(...all);
  }

  /** null where it cannot be read. */
  attempt<T>(work: () => T): T | null {
    try {
      return work();
    } catch (error) {
      if (isDamage(error)) return null;
      throw error;
    }
  }

  problem(sentence: string): void {
    if (this.problems.length === MOST_PROBLEMS) this.problems.push('more of it cannot be read');
    if (this.problems.length < MOST_PROBLEMS) this.problems.push(sentence);
  }

  /** Rows with a number between the two are not readable. */
  lost(what: string, low: number, high: number | null): void {
    const begin = low < 0 ? 'the first' : `${low}`;
    this.problem(`${what}: what lies between ${begin} and ${high ?? 'the last'} cannot be read`);
  }

  /** The same by the time of a run. */
  lostTime(what: string, run: RunRow, low: StreamMs, high: StreamMs | null): void {
    const of = (t: StreamMs): string => isoTime(run.zero_wall_ms + t);
    const begin = low < 0 ? `its start at ${of(0)}` : of(low);
    const end = high === null ? 'the end of that run' : of(high);
    this.problem(`${what} of start ${run.boot}: what lies between ${begin} and ${end} cannot be read`);
  }

  #all<Row>(table: string, key: string, words: string): Row[] {
    const page = this.db.prepare<[number, number], Row>(
      `SELECT * FROM ${table} WHERE ${key} > ? ORDER BY ${key} LIMIT ?`,
    );
    const scan = {
      page: (after: Key, limit: number) => page.all(below(after), limit),
      keyOf: (row: Row): Key => ({ major: (row as Record<string, number>)[key]!, minor: 0 }),
      ...{ start: from(-1), limit: PAGE_ROWS.small },
      lost: (low: number, high: number | null) => this.lost(words, low, high),
    };
    return [...pagesOf(scan)].flat();
  }
}

function aboutOf(db: BetterSqlite.Database, path: string): Omit<ReadAbout, 'live'> {
  type Meta = { store: string; truck: string; boot: number; last_seq: number };
  const meta = db.prepare<[], Meta>('SELECT store, truck, boot, last_seq FROM meta').get();
  if (meta === undefined) throw new StoreError('store-corrupt', `${path}: the row of table meta is missing`);
  return { path, truck: meta.truck, store: meta.store, boot: meta.boot, lastSeq: meta.last_seq };
}

/** Does what lasted from … to (null: it has begun before all, or has not ended) touch the span? */
export function overlaps({ fromMs, toMs }: Span, beginMs: WallMs | null, endMs: WallMs | null): boolean {
  const early = toMs !== null && beginMs !== null && beginMs >= toMs;
  const late = fromMs !== null && endMs !== null && endMs < fromMs;
  return !early && !late;
}
