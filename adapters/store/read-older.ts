import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type BetterSqlite from 'better-sqlite3';
import { copyDatabase } from '../archive/database-copy.js';
import { StoreError, storeError } from './errors.js';
import { migrate, recognise } from './migrate.js';
import type { Place } from './read-place.js';
import { MIGRATIONS } from './schema.js';
import { Database } from './sqlite.js';

/** What only the newest schema has: by this it is known where the header does not tell. */
const NEWEST_TABLE = 'records';

/** The same as a database of the newest schema. The file itself stays as it is: an older one is brought up to date in a copy. */
export function newest(place: Place, path: string): BetterSqlite.Database {
  const version = versionOf(place, path);
  if (version === 0) throw new StoreError('store-foreign', `${path}: is empty: nothing was ever stored in it`);
  if (version === MIGRATIONS.length) return place.db;
  const db = place.live ? copied(place.db, path) : place.db;
  try {
    migrate(db, version, MIGRATIONS);
    return db;
  } catch (error) {
    db.close();
    throw storeError(error, path);
  }
}

function versionOf({ db, problems }: Place, path: string): number {
  try {
    return recognise(db, MIGRATIONS.length);
  } catch (error) {
    const known = storeError(error, path);
    if (known.code !== 'store-corrupt' || !has(db, NEWEST_TABLE)) throw retold(known, path);
    problems.push('its header is damaged; it is taken for one of the present schema');
    return MIGRATIONS.length;
  }
}

/** The line says what to do about a file that `run` has to open, which is not the question here; and a copy has another name. */
function retold(error: StoreError, path: string): StoreError {
  const line = {
    'store-foreign': `${path}: a database of another program`,
    'store-newer': `${path}: made by a newer version of axlepost; read it with that one`,
    'store-corrupt': `${path}: damaged so that nothing of it can be read`,
  }[error.code as string];
  return line === undefined ? error : new StoreError(error.code, line, { cause: error });
}

function has(db: BetterSqlite.Database, table: string): boolean {
  try {
    return db.prepare('SELECT 1 FROM sqlite_schema WHERE name = ?').get(table) !== undefined;
  } catch {
    return false;
  }
}

/** As it is at one moment, while somebody writes it. */
function copied(live: BetterSqlite.Database, path: string): BetterSqlite.Database {
  live.close();
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-read-'));
  try {
    const copy = join(folder, 'copy.db');
    copyDatabase(path, copy);
    return new Database(copy, { timeout: 0 });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
