import { randomInt } from 'node:crypto';
import { statSync } from 'node:fs';
import type Database from 'better-sqlite3';
import type { EventDraft, OpenDraft } from '../../daemon/alerts/event.js';
import { openOrReplace } from './connection.js';
import type { StoreOpened, StoreOptions } from './contract.js';
import { StoreError } from './errors.js';
import type { MetaRow, StateRow } from './rows.js';
import { prepareAll, type Statements } from './statements.js';
import { type Identity, Writer } from './writer.js';

const ID_LETTERS = 'abcdefghijklmnopqrstuvwxyz0123456789';
const ID_LENGTH = 12;

function newStoreId(): string {
  return Array.from({ length: ID_LENGTH }, () => ID_LETTERS[randomInt(ID_LETTERS.length)]).join('');
}

/** One open file, from its start to its end (or until it breaks). */
export interface Session {
  db: Database.Database;
  sql: Statements;
  writer: Writer;
  identity: Identity;
  opened: StoreOpened;
  /** Which file the name stood for; another one there later means that somebody has removed or replaced it. */
  inode: number;
}

/** Opens, mends or begins the file and counts this start. Errors: see openOrReplace. */
export function openSession(options: StoreOptions, mustBeNew: boolean): Session {
  const { db, notes } = openOrReplace(options.path, mustBeNew);
  try {
    const begin = db.transaction(() => beginRun(db, options));
    const meta = begin.immediate();
    if (meta.truck !== options.truck)
      notes.push(`${options.path}: made for truck ${meta.truck}, used for ${options.truck}`);
    const sql = prepareAll(db);
    const { store, boot, last_seq: lastSeq } = meta;
    const identity: Identity = { store, truck: options.truck, boot, floorSeq: lastSeq };
    const opened: StoreOpened = { store, boot, lastSeq, restored: restored(sql.state.get()), notes };
    const inode = statSync(options.path).ino;
    return { db, sql, writer: new Writer(sql, identity), identity, opened, inode };
  } catch (error) {
    db.close();
    throw error;
  }
}

function beginRun(db: Database.Database, options: StoreOptions): MetaRow {
  const { zeroWallMs, synced } = options.run;
  const known = db.prepare<[], MetaRow>('SELECT store, truck, boot, last_seq FROM meta').get();
  if (known === undefined) {
    db.prepare('INSERT INTO meta (one, store, truck, created_ms, boot, last_seq) VALUES (1, ?, ?, ?, 0, 0)').run(
      newStoreId(),
      options.truck,
      zeroWallMs,
    );
  }
  dropEmptyRun(db);
  db.prepare('UPDATE meta SET boot = boot + 1').run();
  db.prepare('INSERT INTO runs (boot, zero_wall_ms, synced, started_ms) SELECT boot, ?, ?, ? FROM meta').run(
    zeroWallMs,
    synced ? 1 : 0,
    zeroWallMs,
  );
  return db.prepare<[], MetaRow>('SELECT store, truck, boot, last_seq FROM meta').get() as MetaRow;
}

/** A start that stored nothing leaves no row, so that a program that is started again and again does not fill the file. */
function dropEmptyRun(db: Database.Database): void {
  db.exec(`
    DELETE FROM runs WHERE boot = (SELECT boot FROM meta)
      AND boot NOT IN (SELECT boot FROM state) AND boot NOT IN (SELECT boot FROM open)
      AND boot NOT IN (SELECT boot FROM (SELECT boot FROM events ORDER BY seq DESC LIMIT 1))
      AND NOT EXISTS (SELECT 1 FROM history WHERE history.boot = runs.boot)
      AND NOT EXISTS (SELECT 1 FROM trips WHERE trips.boot = runs.boot)`);
}

function restored(row: StateRow | undefined): StoreOpened['restored'] {
  if (row === undefined) return null;
  return { state: row.state, t: row.t, run: { zeroWallMs: row.zero_wall_ms, synced: row.synced === 1 } };
}

/** JSON as this program wrote it; anything else means that the file was changed or broken (there are no checksums on pages). */
export function parsed<T>(text: string, path: string): T {
  try {
    return JSON.parse(text) as T;
  } catch (error) {
    throw new StoreError('store-corrupt', `${path}: stored JSON does not parse`, { cause: error });
  }
}

/** What is known of open alerts, for when they have to be raised anew in another database. Throws 'store-corrupt'. */
export function loadDrafts(session: Session, path: string): { drafts: EventDraft[]; open: OpenDraft | null } {
  if (session.opened.restored !== null) parsed(session.opened.restored.state, path);
  const rows = session.db
    .prepare<[], { draft: string }>(
      "SELECT e.draft FROM alerts a JOIN events e ON e.seq = a.last_seq WHERE a.state = 'open' ORDER BY a.seq",
    )
    .all();
  const open = session.sql.open.get();
  return {
    drafts: rows.map((row) => parsed<EventDraft>(row.draft, path)),
    open: open === undefined ? null : parsed<OpenDraft>(open.draft, path),
  };
}
