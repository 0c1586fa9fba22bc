import {
  chmodSync,
  closeSync,
  existsSync,
  fsyncSync,
  openSync,
  readdirSync,
  renameSync,
  rmSync,
  statSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { StoreError, storeError } from './errors.js';

/** Broken databases kept beside the store, the newest: failing flash breaks one after the other. */
export const MAX_BROKEN = 3;

/** What SQLite keeps beside a database in WAL mode. */
const COMPANIONS = ['', '-wal', '-shm'] as const;
const BROKEN = /\.\d{8}T\d{6}Z(-\d+)?\.broken$/;

/**
 * Renames a database with its companions to `<path>.<ISO date>.broken` (basic form, `20260302T140311Z`), so that `sqlite3`
 * can still open it there. Gives the new path, or null when there was no file. The date is a name for people only.
 */
export function moveAside(path: string, now: Date = new Date()): string | null {
  const stamp = now.toISOString().replace(/[-:]|\.\d+/g, '');
  let target = `${path}.${stamp}.broken`;
  for (let n = 2; existsSync(target); n++) target = `${path}.${stamp}-${n}.broken`;
  let moved = false;
  for (const companion of COMPANIONS) {
    if (!existsSync(path + companion)) continue;
    renameSync(path + companion, target + companion);
    closeToOthers(target + companion);
    moved ||= companion === '';
  }
  dropOldest(path);
  syncDirectory(path);
  return moved ? target : null;
}

/** The history says where the truck was: it is for the service's own user alone. A file of somebody else is let be. */
export function closeToOthers(path: string): void {
  const about = statSync(path, { throwIfNoEntry: false });
  if (about === undefined || (about.mode & 0o077) === 0 || about.uid !== process.geteuid?.()) return;
  chmodSync(path, about.mode & 0o700);
}

function dropOldest(path: string): void {
  const directory = dirname(path);
  const prefix = `${basename(path)}.`;
  const broken = readdirSync(directory)
    .filter((name) => name.startsWith(prefix) && BROKEN.test(name))
    .sort();
  for (const name of broken.slice(0, -MAX_BROKEN)) {
    for (const companion of COMPANIONS) rmSync(join(directory, name + companion), { force: true });
  }
}

/** A new or renamed name is on disk only when its directory is. */
export function syncDirectory(path: string): void {
  const handle = openSync(dirname(path), 'r');
  try {
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
}

/** Moves what is there aside and says so in one line. Errors: 'store-corrupt' when it cannot be moved. */
export function asideNote(path: string, why: string): string {
  try {
    const target = moveAside(path);
    return target === null ? `${why}; a new store was begun` : `${why}; moved to ${target}, a new store was begun`;
  } catch (error) {
    throw new StoreError('store-corrupt', `${why}; it could not be moved aside: ${storeError(error, path).message}`, {
      cause: error,
    });
  }
}
