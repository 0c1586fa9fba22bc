import {
  type BigIntStats,
  chmodSync,
  closeSync,
  mkdtempSync,
  openSync,
  readFileSync,
  readSync,
  rmSync,
  statSync,
  writeSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type BetterSqlite from 'better-sqlite3';
import { copyDatabase } from '../archive/database-copy.js';
import { copyFile } from './copy-file.js';
import { StoreError, storeError } from './errors.js';
import { Database } from './sqlite.js';

/** Format versions for writing and reading in the header: 1 is a rollback journal, 2 a write-ahead log. */
const FORMAT_AT = 18;
const ROLLBACK = Uint8Array.of(1, 1);
/** A commit of the program that writes is waited for this long. */
const BUSY_MS = 5_000;
/** Every connection to a log's index holds this byte of it (wal-index, "dead man switch"; os_unix.c, UNIX_SHM_DMS). */
const HELD_BYTE = 128;
const MOST_TRIES = 3;
const OWNER_ONLY = 0o600;
/** The smallest page, and so the smallest database. */
const LEAST_BYTES = 512;
/** Of a write-ahead log without a frame. */
const WAL_HEADER_BYTES = 32;

/** A connection that never writes to the file it was asked for, nor beside it. */
export interface Place {
  db: BetterSqlite.Database;
  /** Another program has the file open. */
  live: boolean;
  /** What of the file could not be used, whole sentences. */
  problems: string[];
}

/**
 * Makes what was opened ready to be read; may write where it is a copy. Gives false where it would have to write and must not.
 * Errors: StoreError.
 */
export type Prepare = (db: BetterSqlite.Database, isCopy: boolean, problems: string[]) => boolean;

/** What SQLite keeps beside a database, of those that have something in them. */
interface Beside {
  wal: boolean;
  journal: boolean;
}

/**
 * Opens a database to read it, as it is: while the program writes it, or a copy, with a write-ahead log or a hot journal beside
 * it or without, on a medium that cannot be written. SQLite itself makes a log and its index beside a database that has none,
 * and mends one that was left behind; so only a file that somebody has open is read in its place, and of all others a copy in
 * the system's folder for temporary files (256 MB: some tenths of a second). Errors: StoreError; 'store-full' when there is no
 * room for a copy.
 */
export function openPlace(path: string, prepare: Prepare): Place {
  try {
    checkHead(path);
    if (isHeld(path)) return inPlace(path, prepare);
    for (let n = 1; ; n++) {
      const before = lookOf(path);
      const place = copyOf(path, prepare);
      if (lookOf(path) === before) return place;
      place.db.close();
      if (n === MOST_TRIES) throw new StoreError('store-busy', `${path}: it changes while it is read; ask again`);
    }
  } catch (error) {
    throw noRoom(error, path) ?? notAllowed(error, path) ?? storeError(error, path);
  }
}

function checkHead(path: string): void {
  const { size } = statSync(path);
  if (size === 0) throw new StoreError('store-foreign', `${path}: is empty: nothing was ever stored in it`);
  if (size >= LEAST_BYTES && headOf(path) === MAGIC) return;
  const beside = /-(?:wal|shm|journal)$/.test(path) ? '; name the one that it lies beside' : '';
  throw new StoreError('store-corrupt', `${path}: not a database${beside}`);
}

/** Of a database that cannot be read as it is, a copy as of one moment. */
function inPlace(path: string, prepare: Prepare): Place {
  const db = new Database(path, { readonly: true, fileMustExist: true, timeout: BUSY_MS });
  const problems: string[] = [];
  try {
    if (prepare(db, false, problems)) return { db, live: true, problems };
  } catch (error) {
    db.close();
    throw error;
  }
  db.close();
  const made = inFolder((copy) => {
    copyDatabase(path, copy);
    return opened(copy, prepare, problems);
  });
  return { db: made, live: true, problems };
}

/** The system's folder for temporary files is full, or cannot be written. */
function noRoom(error: unknown, path: string): StoreError | null {
  const { code = '', syscall = '', dest = '' } = error as NodeJS.ErrnoException & { dest?: string };
  const isFull = code === 'ENOSPC' || code === 'EDQUOT';
  if (!isFull && syscall !== 'mkdtemp' && !(dest !== '' && code === 'EROFS')) return null;
  const line = `${path}: no copy of it can be made in ${tmpdir()} (${code}); let TMPDIR name a folder with room`;
  return new StoreError('store-full', line, { cause: error });
}

/** A database is for the service's own user alone. */
function notAllowed(error: unknown, path: string): StoreError | null {
  const { code = '' } = error as NodeJS.ErrnoException;
  if (code !== 'EACCES' && code !== 'EPERM') return null;
  const line = `${path}: this user may not read it (${code}); ask as its owner, the service's user, or as root`;
  return new StoreError('store-io', line, { cause: error });
}

/** Is a program at work on it? Where the system does not tell: does it look so? */
function isHeld(path: string): boolean {
  const index = statSync(`${path}-shm`, { throwIfNoEntry: false, bigint: true });
  if (index === undefined || !isThere(`${path}-wal`)) return false;
  let locks: string;
  try {
    locks = readFileSync('/proc/locks', 'utf8');
  } catch {
    return true;
  }
  // "1: POSIX  ADVISORY  READ 25227 fe:00:2162913 128 128"; the device's number is not the same on every file system.
  const held = new RegExp(`:${index.ino} ${HELD_BYTE} ${HELD_BYTE}$`, 'm');
  return held.test(locks);
}

const isThere = (path: string): boolean => statSync(path, { throwIfNoEntry: false }) !== undefined;

function besideOf(path: string): Beside {
  const has = (end: string): boolean => (statSync(path + end, { throwIfNoEntry: false })?.size ?? 0) > 0;
  return { wal: has('-wal'), journal: has('-journal') };
}

/** Another text when the file has changed, or its log was begun anew. */
function lookOf(path: string): string {
  const of = (stats: BigIntStats | undefined): string => (stats === undefined ? '' : `${stats.mtimeNs} ${stats.size}`);
  const main = statSync(path, { bigint: true });
  // A log that only grows does not matter: what was copied of it is whole up to some commit.
  const wal = statSync(`${path}-wal`, { bigint: true, throwIfNoEntry: false });
  return [of(main), wal === undefined || wal.size === 0n, isThere(`${path}-journal`)].join();
}

function copyOf(path: string, prepare: Prepare): Place {
  const beside = besideOf(path);
  const problems: string[] = [];
  const plain = (): Place => {
    const db = inFolder((copy) => {
      copyFiles(path, copy, ['']);
      withoutLog(copy);
      return opened(copy, prepare, problems);
    });
    return { db, live: false, problems };
  };
  if (!beside.wal && !beside.journal) return plain();
  try {
    const db = inFolder((copy) => {
      copyFiles(path, copy, ['', ...(beside.wal ? ['-wal'] : []), ...(beside.journal ? ['-journal'] : [])]);
      recover(copy, problems);
      return opened(copy, prepare, problems);
    });
    return { db, live: false, problems };
  } catch (error) {
    const known = storeError(error, path);
    if (known.code !== 'store-corrupt') throw known;
    const what = beside.wal ? 'write-ahead log' : 'journal';
    problems.push(
      `its ${what} cannot be used (${known.message.split(': ').at(-1)}): what is only in there is not shown`,
    );
    return plain();
  }
}

function copyFiles(path: string, copy: string, ends: readonly string[]): void {
  for (const end of ends) {
    copyFile(path + end, copy + end);
    // The copy has the mode of what it is made of, and that may be read-only.
    chmodSync(copy + end, OWNER_ONLY);
  }
}

/** The folder is taken away as soon as its file is open: nothing is left behind, however the program ends. */
function inFolder(open: (copy: string) => BetterSqlite.Database): BetterSqlite.Database {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-read-'));
  try {
    return open(join(folder, 'copy.db'));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function opened(copy: string, prepare: Prepare, problems: string[]): BetterSqlite.Database {
  const db = new Database(copy, { timeout: 0 });
  try {
    prepare(db, true, problems);
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

function withoutLog(copy: string): void {
  const handle = openSync(copy, 'r+');
  try {
    writeSync(handle, ROLLBACK, 0, ROLLBACK.length, FORMAT_AT);
  } finally {
    closeSync(handle);
  }
}

/** With all that was committed: the log is put into the copy, or what the journal undoes is undone. */
function recover(copy: string, problems: string[]): void {
  const walBytes = statSync(`${copy}-wal`, { throwIfNoEntry: false })?.size ?? 0;
  const db = new Database(copy, { timeout: 0 });
  try {
    db.pragma('synchronous = OFF');
    const [counts] = db.pragma('wal_checkpoint') as [{ log: number }];
    if (walBytes > WAL_HEADER_BYTES && counts.log <= 0)
      problems.push('nothing in its write-ahead log counts: it is damaged, cut short, or of another file');
    db.pragma('journal_mode = DELETE');
  } finally {
    db.close();
  }
}

/** First bytes of every SQLite file (https://www.sqlite.org/fileformat2.html#the_database_header). */
const MAGIC = 'SQLite format 3\0';

function headOf(path: string): string {
  const handle = openSync(path, 'r');
  try {
    const head = Buffer.alloc(MAGIC.length);
    readSync(handle, head);
    return head.toString('latin1');
  } finally {
    closeSync(handle);
  }
}

/** Does it begin as a database does? False also when it cannot be read. */
export function looksLikeDatabase(path: string): boolean {
  try {
    return headOf(path) === MAGIC;
  } catch {
    return false;
  }
}
