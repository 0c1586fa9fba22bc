import {
  type BigIntStats,
  chmodSync,
  closeSync,
  constants,
  copyFileSync,
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
/** Of a write-ahead log without a frame. */
const WAL_HEADER_BYTES = 32;

/** A connection that never writes to the file it was asked for, nor beside it. */
export interface Place {
  db: BetterSqlite.Database;
  /** Another program has it open: it is read where it is. Otherwise `db` is a copy that nobody else sees. */
  live: boolean;
  /** What of the file could not be used, whole sentences. */
  problems: string[];
}

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
export function openPlace(path: string): Place {
  try {
    if (isHeld(path)) return { db: readOnly(path), live: true, problems: [] };
    for (let n = 1; ; n++) {
      const before = lookOf(path);
      const place = copyOf(path, besideOf(path));
      if (lookOf(path) === before) return place;
      place.db.close();
      if (n === MOST_TRIES) throw new StoreError('store-busy', `${path}: it changes while it is read; ask again`);
    }
  } catch (error) {
    throw noRoom(error, path) ?? storeError(error, path);
  }
}

/** The system's folder for temporary files is full, or cannot be written. */
function noRoom(error: unknown, path: string): StoreError | null {
  const { code = '', syscall = '', dest = '' } = error as NodeJS.ErrnoException & { dest?: string };
  const isFull = code === 'ENOSPC' || code === 'EDQUOT';
  if (!isFull && syscall !== 'mkdtemp' && !(dest !== '' && code === 'EROFS')) return null;
  const line = `${path}: no copy of it can be made in ${tmpdir()} (${code}); let TMPDIR name a folder with room`;
  return new StoreError('store-full', line, { cause: error });
}

const readOnly = (path: string): BetterSqlite.Database =>
  new Database(path, { readonly: true, fileMustExist: true, timeout: BUSY_MS });

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

function copyOf(path: string, beside: Beside): Place {
  if (!beside.wal && !beside.journal) return { db: inFolder(path, withoutLog), live: false, problems: [] };
  try {
    const problems: string[] = [];
    return { db: inFolder(path, (copy) => recovered(copy, problems), beside), live: false, problems };
  } catch (error) {
    const known = storeError(error, path);
    if (known.code !== 'store-corrupt') throw known;
    const what = beside.wal ? 'write-ahead log' : 'journal';
    const problems = [`its ${what} cannot be used (${lastPart(known)}): what is only in there is not shown`];
    return { db: inFolder(path, withoutLog), live: false, problems };
  }
}

const lastPart = (error: Error): string => error.message.split(': ').at(-1)!;

/** Taken away as soon as it is open: nothing is left behind, however the program ends. */
function inFolder(path: string, open: (copy: string) => BetterSqlite.Database, beside?: Beside): BetterSqlite.Database {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-read-'));
  try {
    const copy = join(folder, 'copy.db');
    const ends = ['', ...(beside?.wal === true ? ['-wal'] : []), ...(beside?.journal === true ? ['-journal'] : [])];
    for (const end of ends) {
      copyFileSync(path + end, copy + end, constants.COPYFILE_FICLONE);
      // The copy has the mode of what it is made of, and that may be read-only.
      chmodSync(copy + end, OWNER_ONLY);
    }
    return open(copy);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function withoutLog(copy: string): BetterSqlite.Database {
  const handle = openSync(copy, 'r+');
  try {
    writeSync(handle, ROLLBACK, 0, ROLLBACK.length, FORMAT_AT);
  } finally {
    closeSync(handle);
  }
  return new Database(copy, { timeout: 0 });
}

/** With all that was committed: the log is put into the copy, or what the journal undoes is undone. */
function recovered(copy: string, problems: string[]): BetterSqlite.Database {
  const walBytes = statSync(`${copy}-wal`, { throwIfNoEntry: false })?.size ?? 0;
  const db = new Database(copy, { timeout: 0 });
  try {
    db.pragma('synchronous = OFF');
    const [counts] = db.pragma('wal_checkpoint') as [{ log: number }];
    if (walBytes > WAL_HEADER_BYTES && counts.log <= 0)
      problems.push('nothing in its write-ahead log counts: it is damaged, or belongs to another file');
    db.pragma('journal_mode = DELETE');
    db.prepare('SELECT count(*) FROM sqlite_schema').get();
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

/** First bytes of every SQLite file (https://www.sqlite.org/fileformat2.html#the_database_header). */
const MAGIC = 'SQLite format 3\0';

/** Does it begin as a database does? False also when it cannot be read. */
export function looksLikeDatabase(path: string): boolean {
  try {
    const handle = openSync(path, 'r');
    try {
      const head = Buffer.alloc(MAGIC.length);
      readSync(handle, head);
      return head.toString('latin1') === MAGIC;
    } finally {
      closeSync(handle);
    }
  } catch {
    return false;
  }
}
