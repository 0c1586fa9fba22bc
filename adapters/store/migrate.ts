import type Database from 'better-sqlite3';
import { StoreError } from './errors.js';
import { APPLICATION_ID, type Migration } from './schema.js';

/** Tables that every version has: by them a database of ours is known whose header is damaged. */
const OUR_TABLES = ['meta', 'runs', 'alerts', 'events', 'outbox', 'state', 'open', 'series', 'history'];
const OURS = OUR_TABLES.map((name) => `'${name}'`).join();
/** More than there will ever be. */
const MOST_VERSIONS = 1_000;

/**
 * The schema version of a database of ours (0: empty), from reading alone: what is not ours, or newer, stays untouched.
 * Errors: 'store-newer', 'store-foreign'; 'store-corrupt' where a damaged header makes one of ours look so.
 */
export function recognise(db: Database.Database, newest: number): number {
  const version = Number(db.pragma('user_version', { simple: true }));
  const application = Number(db.pragma('application_id', { simple: true }));
  const objects = db.prepare<[], number>('SELECT count(*) FROM sqlite_schema').pluck().get() ?? 0;
  const named = db.prepare<[], number>(`SELECT count(*) FROM sqlite_schema WHERE name IN (${OURS})`).pluck().get();
  const isOurs = application === APPLICATION_ID || named === OUR_TABLES.length;
  if (isOurs && (application !== APPLICATION_ID || version > MOST_VERSIONS)) {
    throw new StoreError('store-corrupt', `${db.name}: the numbers in the header are none that this program writes`);
  }
  if (!isOurs && (application !== 0 || objects > 0)) {
    throw new StoreError(
      'store-foreign',
      `${db.name}: a database of another program; choose another file for store.path`,
    );
  }
  if (version > newest) {
    throw new StoreError(
      'store-newer',
      `${db.name}: schema version ${version}, this program knows ${newest}; update the program or choose another file`,
    );
  }
  return version;
}

/** From version `had` to the newest, one transaction per step, so that a power cut leaves a whole version. */
export function migrate(db: Database.Database, had: number, migrations: readonly Migration[]): void {
  migrations.slice(had).forEach((step, index) => {
    db.transaction(() => {
      db.exec(step.sql);
      db.pragma(`application_id = ${APPLICATION_ID}`);
      db.pragma(`user_version = ${had + index + 1}`);
    }).immediate();
  });
}
