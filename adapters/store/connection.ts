import { accessSync, closeSync, existsSync, constants as fs, openSync, readSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import type BetterSqlite from 'better-sqlite3';
import { closeToOthers, syncDirectory } from './aside.js';
import { StoreError } from './errors.js';
import { migrate, recognise } from './migrate.js';
import { MIGRATIONS, type Migration } from './schema.js';
import { Database } from './sqlite.js';

/** A reader that holds a lock (a backup, `sqlite3`) is waited for this long. */
const BUSY_MS = 5_000;
/** The write-ahead log is cut to this after a checkpoint; it comes on top of maxBytes. */
const WAL_LIMIT_BYTES = 4 * 1024 * 1024;
const CACHE_KIB = 2_048;
/** SQLite gives a new log and index the mode of their database. */
const OWNER_ONLY = 0o600;
/** Up to this size the whole file is checked at every start; above, all but the history (reading 256 MB off slow flash takes longer than a start may). */
export const FULL_CHECK_BYTES = 32 * 1024 * 1024;
const CHECKED_TABLES = ['meta', 'runs', 'alerts', 'events', 'outbox', 'state', 'open', 'series', 'trips'] as const;

/** The first bytes of every SQLite file (https://www.sqlite.org/fileformat2.html#the_database_header). */
const MAGIC = Buffer.from('SQLite format 3\0', 'latin1');
/** Where the format versions for writing and reading stand: 1 or 2 (WAL). */
const FORMAT_AT = 18;

/**
 * Opens or creates the file and brings it to the newest schema. Errors: 'store-io', 'store-newer' and 'store-foreign' (nothing
 * touched), 'store-busy', 'store-full', 'store-corrupt'. `notes`: one line for what was done.
 */
export function openFile(
  path: string,
  notes: string[],
  migrations: readonly Migration[] = MIGRATIONS,
): BetterSqlite.Database {
  checkDirectory(path);
  const size = existsSync(path) ? statSync(path).size : 0;
  if (size > 0) checkHeader(path);
  if (size === 0) closeSync(openSync(path, 'a', OWNER_ONLY));
  const db = new Database(path, { timeout: BUSY_MS });
  try {
    const had = recognise(db, migrations.length);
    for (const file of [path, `${path}-wal`, `${path}-shm`]) closeToOthers(file);
    // Before the first table and before WAL, or it has no effect (https://www.sqlite.org/pragma.html#pragma_auto_vacuum).
    if (size === 0) db.pragma('auto_vacuum = INCREMENTAL');
    db.pragma('journal_mode = WAL');
    // NORMAL, the package's default in WAL mode, may lose the last commits at a power cut.
    db.pragma('synchronous = FULL');
    db.pragma(`journal_size_limit = ${WAL_LIMIT_BYTES}`);
    db.pragma('foreign_keys = ON');
    db.pragma('temp_store = MEMORY');
    // Rows are appended and rarely read back: a large cache would only be memory of the cab computer.
    db.pragma(`cache_size = -${CACHE_KIB}`);
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

/**
 * SQLite takes a file shorter than its smallest page for an empty one and would write over it, and one with a format version
 * that it does not know for one that it may only read.
 */
function checkHeader(path: string): void {
  const head = Buffer.alloc(FORMAT_AT + 2);
  const handle = openSync(path, 'r');
  try {
    readSync(handle, head);
  } finally {
    closeSync(handle);
  }
  const formats = [...head.subarray(FORMAT_AT)];
  const known = head.subarray(0, MAGIC.length).equals(MAGIC) && formats.every((n) => n === 1 || n === 2);
  if (!known) throw new StoreError('store-corrupt', `${path}: not a database`);
}

/** Throws 'store-corrupt' with the first finding. A quick check would hold neither rows to their order nor indexes to their tables. */
function check(db: BetterSqlite.Database, size: number): void {
  const exists = db.prepare<[string], number>("SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?").pluck();
  const checks =
    size <= FULL_CHECK_BYTES
      ? ['integrity_check(1)']
      : CHECKED_TABLES.filter((table) => exists.get(table) === 1).map((table) => `integrity_check('${table}')`);
  for (const one of checks) {
    const found = String(db.pragma(one, { simple: true }));
    if (found !== 'ok') throw new StoreError('store-corrupt', `${db.name}: ${found.replace(/\s+/g, ' ')}`);
  }
}
