import { accessSync, existsSync, constants as fs, statSync } from 'node:fs';
import { dirname } from 'node:path';
import Database from 'better-sqlite3';
import { moveAside, syncDirectory } from './aside.js';
import { StoreError, storeError } from './errors.js';
import { migrate, recognise } from './migrate.js';
import { MIGRATIONS, type Migration } from './schema.js';

/** A reader that holds a lock (a backup, `sqlite3`) is waited for this long. */
const BUSY_MS = 5_000;
/** The write-ahead log is cut to this after a checkpoint; it comes on top of maxBytes. */
const WAL_LIMIT_BYTES = 4 * 1024 * 1024;
/** Up to this size the whole file is checked at every start; above, all but the history (reading 256 MB off slow flash takes longer than a start may). */
export const FULL_CHECK_BYTES = 32 * 1024 * 1024;
const CHECKED_TABLES = ['meta', 'runs', 'alerts', 'events', 'outbox', 'state', 'open', 'series', 'trips'] as const;

export interface Opening {
  db: Database.Database;
  notes: string[];
}

/**
 * Opens or creates the file. One that is broken is moved aside and a new one begun, with a note. Errors: 'store-exists',
 * 'store-io', 'store-newer', 'store-foreign', 'store-busy', 'store-full'; 'store-corrupt' when even a new one is broken.
 */
export function openOrReplace(
  path: string,
  mustBeNew: boolean,
  migrations: readonly Migration[] = MIGRATIONS,
): Opening {
  if (mustBeNew && existsSync(path)) {
    throw new StoreError('store-exists', `${path}: exists already; name a file that does not`);
  }
  checkDirectory(path);
  const notes: string[] = [];
  try {
    return { db: openFile(path, migrations, notes), notes };
  } catch (error) {
    const known = storeError(error, path);
    if (known.code !== 'store-corrupt') throw known;
    notes.push(replaceNote(path, known.message));
  }
  try {
    return { db: openFile(path, migrations, notes), notes };
  } catch (error) {
    throw storeError(error, path);
  }
}

/** Moves what is there aside and says so in one line. */
export function replaceNote(path: string, why: string): string {
  try {
    const target = moveAside(path);
    return target === null ? `${why}; a new store was begun` : `${why}; moved to ${target}, a new store was begun`;
  } catch (error) {
    throw new StoreError('store-corrupt', `${why}; it could not be moved aside: ${storeError(error, path).message}`, {
      cause: error,
    });
  }
}

function checkDirectory(path: string): void {
  const directory = dirname(path);
  try {
    accessSync(directory, fs.W_OK | fs.X_OK);
  } catch (error) {
    const what = existsSync(directory) ? 'is not writable' : 'does not exist';
    throw new StoreError('store-io', `${path}: directory ${directory} ${what}; create it or change store.path`, {
      cause: error,
    });
  }
}

function openFile(path: string, migrations: readonly Migration[], notes: string[]): Database.Database {
  const size = existsSync(path) ? statSync(path).size : 0;
  const db = new Database(path, { timeout: BUSY_MS });
  try {
    const had = recognise(db, migrations.length);
    // Before the first table and before WAL, or it has no effect (https://www.sqlite.org/pragma.html#pragma_auto_vacuum).
    if (size === 0) db.pragma('auto_vacuum = INCREMENTAL');
    db.pragma('journal_mode = WAL');
    // NORMAL, the package's default in WAL mode, may lose the last commits at a power cut.
    db.pragma('synchronous = FULL');
    db.pragma(`journal_size_limit = ${WAL_LIMIT_BYTES}`);
    db.pragma('foreign_keys = ON');
    db.pragma('temp_store = MEMORY');
    if (size > 0) check(db, size);
    migrate(db, had, migrations);
    if (had > 0 && had < migrations.length) notes.push(`${path}: schema version ${had} became ${migrations.length}`);
    if (size === 0) syncDirectory(path);
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

/** Throws 'store-corrupt' with the first finding. */
function check(db: Database.Database, size: number): void {
  const exists = db.prepare<[string], number>("SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?").pluck();
  const parts =
    size <= FULL_CHECK_BYTES ? [''] : CHECKED_TABLES.filter((t) => exists.get(t) === 1).map((t) => `'${t}'`);
  for (const part of parts) {
    const found = String(db.pragma(part === '' ? 'quick_check(1)' : `quick_check(${part})`, { simple: true }));
    if (found !== 'ok') throw new StoreError('store-corrupt', `${db.name}: ${found.replace(/\s+/g, ' ')}`);
  }
}
