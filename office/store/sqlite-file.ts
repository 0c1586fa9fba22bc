import { accessSync, closeSync, existsSync, constants as fs, openSync, readSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import type BetterSqlite from 'better-sqlite3';
import { closeToOthers, syncDirectory } from '../../adapters/store/aside.js';
import { Database } from '../../adapters/store/sqlite.js';
import { StoreError } from './contract.js';
import { DAMAGED } from './sqlite-errors.js';
import { APPLICATION_ID, MIGRATIONS, type Migration, TRUCK_APPLICATION_ID } from './sqlite-schema.js';

/** A backup or `sqlite3` that holds the lock is waited for so long; nothing else happens meanwhile. */
const BUSY_MS = 2_000;
/** The write-ahead log is cut to this after a checkpoint. */
const WAL_LIMIT_BYTES = 64 * 1024 * 1024;
const CACHE_KIB = 32 * 1024;
/** Who was where, and sessions: for the service's own user alone. SQLite gives log and index the mode of their database. */
const OWNER_ONLY = 0o600;
/** Up to this size all of it is checked at every start; above, what the board is made of. */
const FULL_CHECK_BYTES = 64 * 1024 * 1024;
const CHECKED_TABLES = ['trucks', 'notices', 'accounts', 'sessions'] as const;

/** The first bytes of every SQLite file (https://www.sqlite.org/fileformat2.html#the_database_header). */
const MAGIC = Buffer.from('SQLite format 3\0', 'latin1');
/** Where the format versions for writing and reading stand: 1 or 2 (WAL). */
const FORMAT_AT = 18;

/**
 * Opens or creates the file and brings it to the newest schema. Errors: a StoreError when it is damaged, newer than this program or
 * of another program (nothing is touched then), or cannot be written.
 */
export function openFile(path: string, migrations: readonly Migration[] = MIGRATIONS): BetterSqlite.Database {
  checkDirectory(path);
  const size = statSync(path, { throwIfNoEntry: false })?.size ?? 0;
  if (size > 0) checkHeader(path);
  else closeSync(openSync(path, 'a', OWNER_ONLY));
  const db = new Database(path, { timeout: BUSY_MS });
  try {
    const had = recognise(db, migrations.length);
    if (size > 0) check(db, size);
    for (const file of [path, `${path}-wal`, `${path}-shm`]) closeToOthers(file);
    db.pragma('journal_mode = WAL');
    // NORMAL, the package's default in WAL mode, may lose at a power cut what a truck was told is received.
    db.pragma('synchronous = FULL');
    db.pragma(`journal_size_limit = ${WAL_LIMIT_BYTES}`);
    db.pragma('temp_store = MEMORY');
    db.pragma(`cache_size = -${CACHE_KIB}`);
    migrate(db, had, migrations);
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
    throw new StoreError(`${path}: folder ${directory} ${what}; create it or choose another file`, { cause: error });
  }
}

/** SQLite takes a file shorter than its smallest page for an empty one and would write over it. */
function checkHeader(path: string): void {
  const head = Buffer.alloc(FORMAT_AT + 2);
  const handle = openSync(path, 'r');
  try {
    readSync(handle, head);
  } finally {
    closeSync(handle);
  }
  const formats = [...head.subarray(FORMAT_AT)];
  if (head.subarray(0, MAGIC.length).equals(MAGIC) && formats.every((n) => n === 1 || n === 2)) return;
  throw new StoreError(
    `${path}: not an SQLite database, or one whose first bytes were lost; choose another file, or ${ASIDE}`,
  );
}
const ASIDE = 'move it aside, as docs/office-database.md tells';

/** The schema version, 0 of an empty file, from reading alone. */
function recognise(db: BetterSqlite.Database, newest: number): number {
  const version = Number(db.pragma('user_version', { simple: true }));
  const application = Number(db.pragma('application_id', { simple: true }));
  const objects = db.prepare<[], number>('SELECT count(*) FROM sqlite_schema').pluck().get() ?? 0;
  if (application === TRUCK_APPLICATION_ID) {
    throw new StoreError(`${db.name}: the store of a truck, not of an office; choose another file`);
  }
  if (application !== APPLICATION_ID && (application !== 0 || objects > 0)) {
    throw new StoreError(`${db.name}: a database of another program; choose another file`);
  }
  if (version > newest) {
    const known = `schema version ${version}, this program knows ${newest}`;
    throw new StoreError(`${db.name}: ${known}; update the program or choose another file`);
  }
  return version;
}

function check(db: BetterSqlite.Database, size: number): void {
  const exists = db.prepare<[string], number>("SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?").pluck();
  const checks =
    size <= FULL_CHECK_BYTES
      ? ['integrity_check(1)']
      : CHECKED_TABLES.filter((table) => exists.get(table) === 1).map((table) => `integrity_check('${table}')`);
  for (const one of checks) {
    const found = String(db.pragma(one, { simple: true }));
    if (found !== 'ok') throw new StoreError(`${db.name}: ${found.replace(/\s+/g, ' ')}; ${DAMAGED}`);
  }
}

function migrate(db: BetterSqlite.Database, had: number, migrations: readonly Migration[]): void {
  migrations.slice(had).forEach((step, index) => {
    db.transaction(() => {
      db.exec(step.sql);
      db.pragma(`application_id = ${APPLICATION_ID}`);
      db.pragma(`user_version = ${had + index + 1}`);
    }).immediate();
  });
}
