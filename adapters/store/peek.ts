import { readFileSync, statSync } from 'node:fs';
import type BetterSqlite from 'better-sqlite3';
import type { NumberedOpen, StoreOpened } from './contract.js';
import { recognise } from './migrate.js';
import { type OpenRow, openOf, type StateRow } from './rows.js';
import { MIGRATIONS } from './schema.js';
import { restored } from './session.js';
import { Database } from './sqlite.js';

/** A larger file is not taken into memory. */
const MOST_BYTES = 64 * 2 ** 20;
/** Format versions for writing and reading in the header: 2 is WAL, which a database in memory cannot have. */
const FORMAT_AT = 18;

/** What a database that cannot be written says of itself. */
export interface Peeked {
  boot: number;
  lastSeq: number;
  restored: StoreOpened['restored'];
  open: NumberedOpen | null;
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
  const db = new Database(path, { fileMustExist: true });
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
      boot: meta.boot,
      lastSeq: meta.last_seq,
      restored: restored(state, path),
      open: open === undefined ? null : openOf(open, meta.store, path),
    };
  } finally {
    db.close();
  }
}
