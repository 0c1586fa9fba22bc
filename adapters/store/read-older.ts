import type BetterSqlite from 'better-sqlite3';
import { StoreError, storeError } from './errors.js';
import { migrate, recognise } from './migrate.js';
import { isDamage } from './read-pages.js';
import { MIGRATIONS } from './schema.js';

/** What only the newest schema has: by this it is known where the header does not tell. */
const NEWEST_TABLE = 'records';

/**
 * Brings a copy of an older database up to date. Gives false where that would be the file itself. Errors: StoreError for what is
 * none of ours, newer, or damaged from its first page on.
 */
export function toNewest(db: BetterSqlite.Database, path: string, isCopy: boolean, problems: string[]): boolean {
  const version = versionOf(db, path, problems);
  if (version === 0) throw new StoreError('store-foreign', `${path}: is empty: nothing was ever stored in it`);
  if (version === MIGRATIONS.length) return true;
  if (!isCopy) return false;
  migrate(db, version, MIGRATIONS);
  return true;
}

function versionOf(db: BetterSqlite.Database, path: string, problems: string[]): number {
  try {
    return recognise(db, MIGRATIONS.length);
  } catch (error) {
    const known = storeError(error, path);
    if (known.code !== 'store-corrupt' || !has(db, NEWEST_TABLE)) throw retold(known, path);
    problems.push('its header is damaged; it is taken for one of the present schema');
    return MIGRATIONS.length;
  }
}

/** The line is to say what to do about a file that is only read; and a copy has another name. */
function retold(error: StoreError, path: string): StoreError {
  const lines: Partial<Record<StoreError['code'], string>> = {
    'store-foreign': `${path}: a database of another program`,
    'store-newer': `${path}: made by a newer version of axlepost; read it with that one`,
    'store-corrupt': `${path}: damaged so that nothing of it can be read`,
  };
  const line = lines[error.code];
  return line === undefined ? error : new StoreError(error.code, line, { cause: error });
}

function has(db: BetterSqlite.Database, table: string): boolean {
  try {
    return db.prepare('SELECT 1 FROM sqlite_schema WHERE name = ?').get(table) !== undefined;
  } catch (error) {
    if (isDamage(error)) return false;
    throw error;
  }
}
