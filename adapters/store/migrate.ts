import type Database from 'better-sqlite3';
import { StoreError } from './errors.js';
import { APPLICATION_ID, type Migration } from './schema.js';

/**
 * The schema version of a database of ours (0: empty), from reading alone: what is not ours, or newer, stays untouched.
 * Errors: 'store-newer', 'store-foreign'.
 */
export function recognise(db: Database.Database, newest: number): number {
  const version = Number(db.pragma('user_version', { simple: true }));
  const application = Number(db.pragma('application_id', { simple: true }));
  const objects = db.prepare<[], number>('SELECT count(*) FROM sqlite_schema').pluck().get() ?? 0;
  if (application !== APPLICATION_ID && (application !== 0 || objects > 0)) {
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
