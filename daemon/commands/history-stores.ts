import { readFileSync, statSync } from 'node:fs';
import { relative } from 'node:path';
import { isArchive, openArchive } from '../../adapters/archive/unpack.js';
import { configurationSchema } from '../../adapters/recorder/configuration.js';
import { StoreError } from '../../adapters/store/errors.js';
import { looksLikeDatabase } from '../../adapters/store/read-place.js';
import { type ReadAbout, StoreReader } from '../../adapters/store/reader.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Out } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { filesIn } from './folder.js';

/** A database that is to be read. */
export interface StoreFile {
  /** As people know it: the archive's name for the database in an archive. */
  name: string;
  open(): Promise<OpenStore>;
}

export interface OpenStore {
  reader: StoreReader;
  /** The truck file that lies beside it in an archive; null: none. */
  config: TruckConfig | null;
}

/**
 * Databases that a command line names: files, archives of `pack`, folders with either. Throws a Failure for a name that there is
 * nothing behind; what is wrong with a file is said when it is opened.
 */
export async function findStores(names: readonly string[], err: Out): Promise<StoreFile[]> {
  const found: StoreFile[] = [];
  for (const name of names) {
    const about = statSync(name, { throwIfNoEntry: false });
    if (about === undefined) throw new Failure(EXIT.failed, `${name}: there is no such file`);
    found.push(...(about.isDirectory() ? await inFolder(name, err) : [await storeFile(name, err)]));
  }
  return found;
}

async function storeFile(name: string, err: Out): Promise<StoreFile> {
  return (await isArchive(name))
    ? inArchive(name, err)
    : { name, open: async () => ({ reader: new StoreReader(name), config: null }) };
}

async function inFolder(folder: string, err: Out): Promise<StoreFile[]> {
  const found: StoreFile[] = [];
  for (const file of await filesIn(folder)) {
    if (looksLikeDatabase(file) || (await isArchive(file))) found.push(await storeFile(file, err));
  }
  if (found.length === 0)
    throw new Failure(EXIT.failed, `${folder}: there is no database and no archive of pack in it`);
  err.write(`${folder}: ${found.map(({ name }) => relative(folder, name)).join(', ')}\n`);
  return found;
}

/** Unpacked only for as long as it takes to open the database, which is then read from a copy without a name. */
function inArchive(name: string, err: Out): StoreFile {
  let told = false;
  const open = async (): Promise<OpenStore> => {
    const archive = await openArchive(name).catch((error: unknown) => {
      throw new Failure(EXIT.failed, `${name}: ${lineOf(error)}`, error);
    });
    try {
      if (!told) for (const problem of archive.problems) err.write(`${name}: ${problem}\n`);
      told = true;
      if (archive.database === null) throw new Failure(EXIT.failed, `${name}: there is no database in it`);
      return { reader: new StoreReader(archive.database), config: configIn(archive.config) };
    } finally {
      await archive.close();
    }
  };
  return { name, open };
}

/** As it was understood when it was packed. The broker has no part in what is asked here. null where it is none. */
function configIn(path: string | null): TruckConfig | null {
  if (path === null) return null;
  try {
    const packed = JSON.parse(readFileSync(path, 'utf8')) as object;
    return configurationSchema.parse({ ...packed, mqtt: null });
  } catch {
    return null;
  }
}

/** The line of what the world did to a file; what is none of that is our bug, and thrown. */
export function whyNot(error: unknown): string {
  if (error instanceof Failure || (error instanceof StoreError && error.code !== 'store-bug')) return lineOf(error);
  throw error;
}

/** What each of several databases is; those that cannot be opened are told and left out. */
export interface Chosen {
  stores: StoreFile[];
  failed: boolean;
}

/**
 * Of several: those of the wanted trucks, truck by truck in the order of time, and of copies of one database the newest alone,
 * as the others would say the same again. One alone is taken as it is.
 */
export async function chooseStores(
  files: readonly StoreFile[],
  trucks: readonly string[] | null,
  err: Out,
): Promise<Chosen> {
  if (files.length === 1 && trucks === null) return { stores: [...files], failed: false };
  const known: { file: StoreFile; about: ReadAbout; sinceMs: number }[] = [];
  let failed = false;
  for (const file of files) {
    try {
      const { reader } = await file.open();
      reader.close();
      known.push({ file, about: reader.about, sinceMs: reader.runs[0]?.zero_wall_ms ?? 0 });
    } catch (error) {
      err.write(`${whyNot(error)}\n`);
      failed = true;
    }
  }
  const ofTrucks = known.filter(({ about }) => trucks?.includes(about.truck) ?? true);
  if (ofTrucks.length === 0 && known.length > 0) {
    const there = [...new Set(known.map(({ about }) => about.truck))].join(', ');
    throw new Failure(EXIT.failed, `--truck ${trucks?.join(', ')}: none of these; there is ${there}`);
  }
  ofTrucks.sort((a, b) =>
    a.about.truck < b.about.truck ? -1 : a.about.truck > b.about.truck ? 1 : a.sinceMs - b.sinceMs,
  );
  const newest = ofTrucks.filter((one) => {
    const other = ofTrucks.find((two) => two.about.store === one.about.store && isNewer(two, one, ofTrucks));
    if (other === undefined) return true;
    err.write(`${one.file.name}: an older copy of ${other.file.name}; it is left out (name it alone to read it)\n`);
    return false;
  });
  return { stores: newest.map(({ file }) => file), failed };
}

/** Of copies with the same numbers the one that was named first. */
function isNewer<T extends { about: ReadAbout }>(two: T, one: T, order: readonly T[]): boolean {
  if (two === one) return false;
  const ahead = two.about.boot - one.about.boot || two.about.lastSeq - one.about.lastSeq;
  return ahead > 0 || (ahead === 0 && order.indexOf(two) < order.indexOf(one));
}
