import { accessSync, closeSync, existsSync, constants as fs, openSync, readSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import type BetterSqlite from 'better-sqlite3';
import { closeToOthers } from './aside.js';

/* What every SQLite file of ours has in common, the truck's store and the office's. */

/** For the service's own user alone. SQLite gives a new log and index the mode of their database. */
const OWNER_ONLY = 0o600;
/** The first bytes of every SQLite file (https://www.sqlite.org/fileformat2.html#the_database_header). */
const MAGIC = Buffer.from('SQLite format 3\0', 'latin1');
/** Where the format versions for writing and reading stand: 1 or 2 (WAL). */
const FORMAT_AT = 18;

export interface Checked {
  /** Up to this size all of the file is checked; above, only `tables`. */
  wholeUpTo: number;
  tables: readonly string[];
}

/** What is wrong with the folder of a file that is to be written: in words, and what the system said; null: nothing. */
export function folderTrouble(path: string): { folder: string; what: string; cause: unknown } | null {
  const folder = dirname(path);
  try {
    accessSync(folder, fs.W_OK | fs.X_OK);
    return null;
  } catch (cause) {
    return { folder, what: existsSync(folder) ? 'is not writable' : 'does not exist', cause };
  }
}

/** Bytes of the file; one that is not there or empty is made, 0. */
export function sizeOrNew(path: string): number {
  const size = statSync(path, { throwIfNoEntry: false })?.size ?? 0;
  if (size === 0) closeSync(openSync(path, 'a', OWNER_ONLY));
  return size;
}

/**
 * Does it begin as a database does? SQLite takes a file shorter than its smallest page for an empty one and would write over it, and
 * one with a format version that it does not know for one that it may only read.
 */
export function hasHeader(path: string): boolean {
  const head = Buffer.alloc(FORMAT_AT + 2);
  const handle = openSync(path, 'r');
  try {
    readSync(handle, head);
  } finally {
    closeSync(handle);
  }
  const formats = [...head.subarray(FORMAT_AT)];
  return head.subarray(0, MAGIC.length).equals(MAGIC) && formats.every((n) => n === 1 || n === 2);
}

/** For the database and what lies beside it. */
export function closeAllToOthers(path: string): void {
  for (const file of [path, `${path}-wal`, `${path}-shm`]) closeToOthers(file);
}

/** How every connection that writes works: a write-ahead log, cut after a checkpoint, and each commit on the disk. */
export function setUp(db: BetterSqlite.Database, { walBytes, cacheKib }: { walBytes: number; cacheKib: number }): void {
  db.pragma('journal_mode = WAL');
  // NORMAL, the package's default in WAL mode, may lose the last commits at a power cut: what others were told is stored.
  db.pragma('synchronous = FULL');
  db.pragma(`journal_size_limit = ${walBytes}`);
  db.pragma('temp_store = MEMORY');
  db.pragma(`cache_size = -${cacheKib}`);
}

/** The first damage that is found, in SQLite's words; null: none. A quick check would hold neither rows to their order nor indexes to their tables. */
export function findDamage(db: BetterSqlite.Database, size: number, { wholeUpTo, tables }: Checked): string | null {
  const exists = db.prepare<[string], number>("SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?").pluck();
  const checks =
    size <= wholeUpTo
      ? ['integrity_check(1)']
      : tables.filter((table) => exists.get(table) === 1).map((table) => `integrity_check('${table}')`);
  for (const one of checks) {
    const found = String(db.pragma(one, { simple: true }));
    if (found !== 'ok') return found.replace(/\s+/g, ' ');
  }
  return null;
}
