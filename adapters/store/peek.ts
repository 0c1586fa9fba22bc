import { readFileSync, statSync } from 'node:fs';
import type BetterSqlite from 'better-sqlite3';
import type { NumberedOpen, StoreOpened } from './contract.js';
import { recognise } from './migrate.js';
import { parsed } from './parsed.js';
import { type OpenRow, openOf, type StateRow } from './rows.js';
import { MIGRATIONS } from './schema.js';
import { Database } from './sqlite.js';
import { unpackState } from './state-text.js';

/** A larger file is not taken into memory. */
const MOST_BYTES = 64 * 2 ** 20;
/** Whoever holds the file has been waited for already. */
const BUSY_MS = 100;
/** Format versions for writing and reading in the header: 2 is WAL, which a database in memory cannot have. */
const FORMAT_AT = 18;

/** What a database that cannot be written says of itself. */
export interface Peeked {
  store: string;
  boot: number;
  lastSeq: number;
  restored: StoreOpened['restored'];
  open: NumberedOpen | null;
  /** Events in the outbox. */
  waiting: number;
}

/**
 * Reads the state of a file that cannot be opened for writing; null when that cannot be read either. On a full disk with all that
 * was committed, on a read-only one without what is in the write-ahead log only. Never throws.
 */
export function peek(path: string): Peeked | null {
  for (const look of [alone, inMemory]) {
    try {
      return read(look(path), path);
    } catch {
      // The next way, or none.
    }
  }
  return null;
}

/** With an index of the log in memory, as there is no room for one on the disk. */
function alone(path: string): BetterSqlite.Database {
  const db = new Database(path, { fileMustExist: true, timeout: BUSY_MS });
  db.pragma('locking_mode = EXCLUSIVE');
  return db;
}

function inMemory(path: string): BetterSqlite.Database {
  if (statSync(path).size > MOST_BYTES) throw new Error('too large');
  const bytes = readFileSync(path);
  bytes[FORMAT_AT] = 1;
  bytes[FORMAT_AT + 1] = 1;
  return new Database(bytes);
}

function read(db: BetterSqlite.Database, path: string): Peeked {
  try {
    if (recognise(db, MIGRATIONS.length) !== MIGRATIONS.length) throw new Error('another schema');
    const meta = db.prepare<[], { store: string; boot: number; last_seq: number }>('SELECT * FROM meta').get();
    if (meta === undefined) throw new Error('no meta');
    const state = db.prepare<[], StateRow>('SELECT * FROM state JOIN runs ON runs.boot = state.boot').get();
    const open = db.prepare<[], OpenRow>('SELECT * FROM open JOIN runs ON runs.boot = open.boot').get();
    return {
      store: meta.store,
      boot: meta.boot,
      lastSeq: meta.last_seq,
      restored: restored(state, path),
      open: open === undefined ? null : openOf(open, meta.store, path),
      waiting: db.prepare<[], number>("SELECT count(*) FROM outbox WHERE kind = 'event'").pluck().get() ?? 0,
    };
  } finally {
    db.close();
  }
}

/** Parsed only to see that it can be. */
export function restored(row: StateRow | undefined, path: string): StoreOpened['restored'] {
  if (row === undefined) return null;
  const state = unpackState(row.state, path);
  parsed(state, path);
  return { state, t: row.t, run: { zeroWallMs: row.zero_wall_ms, synced: row.synced === 1 } };
}
