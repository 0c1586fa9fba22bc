import type BetterSqlite from 'better-sqlite3';
import { syncDirectory } from '../../adapters/store/aside.js';
import {
  closeAllToOthers,
  findDamage,
  folderTrouble,
  hasHeader,
  setUp,
  sizeOrNew,
} from '../../adapters/store/database-file.js';
import { Database } from '../../adapters/store/sqlite.js';
import { StoreError } from './contract.js';
import { DAMAGED } from './sqlite-errors.js';
import { APPLICATION_ID, MIGRATIONS, type Migration, TRUCK_APPLICATION_ID } from './sqlite-schema.js';

/** A backup or `sqlite3` that holds the lock is waited for so long; nothing else happens meanwhile. */
const BUSY_MS = 2_000;
/** The write-ahead log is cut to this after a checkpoint. */
const WAL_LIMIT_BYTES = 64 * 1024 * 1024;
const CACHE_KIB = 32 * 1024;
/** Up to this size all of it is checked at every start; above, what the board is made of. */
const FULL_CHECK_BYTES = 64 * 1024 * 1024;
const CHECKED_TABLES = ['trucks', 'notices', 'accounts', 'sessions'] as const;

const ASIDE = 'move it aside, as docs/office-database.md tells';

/**
 * Opens or creates the file and brings it to the newest schema. Errors: a StoreError when it is damaged, newer than this program or
 * of another program (nothing is touched then), or cannot be written.
 */
export function openFile(path: string, migrations: readonly Migration[] = MIGRATIONS): BetterSqlite.Database {
  const trouble = folderTrouble(path);
  if (trouble !== null) {
    const { folder, what, cause } = trouble;
    throw new StoreError(`${path}: folder ${folder} ${what}; create it or choose another file`, { cause });
  }
  const size = sizeOrNew(path);
  if (size > 0 && !hasHeader(path)) {
    const what = 'not an SQLite database, or one whose first bytes were lost';
    throw new StoreError(`${path}: ${what}; choose another file, or ${ASIDE}`);
  }
  const db = new Database(path, { timeout: BUSY_MS });
  try {
    const had = recognise(db, migrations.length);
    const damage = size === 0 ? null : findDamage(db, size, { wholeUpTo: FULL_CHECK_BYTES, tables: CHECKED_TABLES });
    if (damage !== null) throw new StoreError(`${path}: ${damage}; ${DAMAGED}`);
    closeAllToOthers(path);
    setUp(db, { walBytes: WAL_LIMIT_BYTES, cacheKib: CACHE_KIB });
    migrate(db, had, migrations);
    if (size === 0) syncDirectory(path);
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

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

function migrate(db: BetterSqlite.Database, had: number, migrations: readonly Migration[]): void {
  migrations.slice(had).forEach((step, index) => {
    db.transaction(() => {
      db.exec(step.sql);
      db.pragma(`application_id = ${APPLICATION_ID}`);
      db.pragma(`user_version = ${had + index + 1}`);
    }).immediate();
  });
}
