import type BetterSqlite from 'better-sqlite3';
import { syncDirectory } from './aside.js';
import { closeAllToOthers, findDamage, folderTrouble, hasHeader, setUp, sizeOrNew } from './database-file.js';
import { StoreError } from './errors.js';
import { migrate, recognise } from './migrate.js';
import { MIGRATIONS, type Migration } from './schema.js';
import { Database } from './sqlite.js';

/** A reader that holds a lock (a backup, `sqlite3`) is waited for this long. */
const BUSY_MS = 5_000;
/** The write-ahead log is cut to this after a checkpoint; it comes on top of maxBytes. */
const WAL_LIMIT_BYTES = 4 * 1024 * 1024;
/** Rows are appended and rarely read back: a large cache would only be memory of the cab computer. */
const CACHE_KIB = 2_048;
/** Up to this size the whole file is checked at every start; above, all but the history (reading 256 MB off slow flash takes longer than a start may). */
export const FULL_CHECK_BYTES = 32 * 1024 * 1024;
const CHECKED_TABLES = ['meta', 'runs', 'alerts', 'events', 'outbox', 'state', 'open', 'series', 'trips'] as const;

/**
 * Opens or creates the file and brings it to the newest schema. Errors: 'store-io', 'store-newer' and 'store-foreign' (nothing
 * touched), 'store-busy', 'store-full', 'store-corrupt'. `notes`: one line for what was done.
 */
export function openFile(
  path: string,
  notes: string[],
  migrations: readonly Migration[] = MIGRATIONS,
): BetterSqlite.Database {
  checkFolder(path);
  const size = sizeOrNew(path);
  if (size > 0 && !hasHeader(path)) throw new StoreError('store-corrupt', `${path}: not a database`);
  const db = new Database(path, { timeout: BUSY_MS });
  try {
    const had = recognise(db, migrations.length);
    closeAllToOthers(path);
    // Before the first table and before WAL, or it has no effect (https://www.sqlite.org/pragma.html#pragma_auto_vacuum).
    if (size === 0) db.pragma('auto_vacuum = INCREMENTAL');
    setUp(db, { walBytes: WAL_LIMIT_BYTES, cacheKib: CACHE_KIB });
    db.pragma('foreign_keys = ON');
    const damage = size === 0 ? null : findDamage(db, size, { wholeUpTo: FULL_CHECK_BYTES, tables: CHECKED_TABLES });
    if (damage !== null) throw new StoreError('store-corrupt', `${path}: ${damage}`);
    migrate(db, had, migrations);
    if (had > 0 && had < migrations.length) notes.push(`${path}: schema version ${had} became ${migrations.length}`);
    if (size === 0) syncDirectory(path);
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

function checkFolder(path: string): void {
  const trouble = folderTrouble(path);
  if (trouble === null) return;
  const { folder, what, cause } = trouble;
  throw new StoreError('store-io', `${path}: directory ${folder} ${what}; create it or change store.path`, { cause });
}
