import { randomInt } from 'node:crypto';
import { existsSync, statSync } from 'node:fs';
import type Database from 'better-sqlite3';
import type { EventDraft, OpenDraft } from '../../daemon/alerts/event.js';
import { asideNote } from './aside.js';
import { openFile } from './connection.js';
import type { GapRecord, StoreOpened, StoreOptions } from './contract.js';
import { StoreError, storeError } from './errors.js';
import { parsed } from './parsed.js';
import { type Peeked, peek, restored } from './peek.js';
import type { MetaRow } from './rows.js';
import { prepareAll, type Statements } from './statements.js';
import { type Seen, Witness } from './witness.js';
import { type Identity, Writer } from './writer.js';

const ID_LETTERS = 'abcdefghijklmnopqrstuvwxyz0123456789';
const ID_LENGTH = 12;

/** A random id of `length` letters and digits. */
export function newStoreId(length = ID_LENGTH): string {
  return Array.from({ length }, () => ID_LETTERS[randomInt(ID_LETTERS.length)]).join('');
}

/** One open file, from its start to its end (or until it breaks). */
export interface Session {
  db: Database.Database;
  sql: Statements;
  writer: Writer;
  identity: Identity;
  opened: StoreOpened;
  /** What an earlier run left: the last draft of each open alert, and their list. */
  inherited: { drafts: EventDraft[]; open: OpenDraft | null };
  /** Which file the name stood for; another one there later means that somebody has removed or replaced it. */
  inode: number;
}

/**
 * Opens or begins the file and counts this start; a broken one is moved aside and a new one begun, with a note.
 * Errors: 'store-exists' and those of openFile; 'store-corrupt' only when it cannot be moved, or the new one is broken too.
 */
export function openSession(options: StoreOptions): Session {
  const { path } = options;
  if (options.mustBeNew === true && existsSync(path)) {
    throw new StoreError('store-exists', `${path}: exists already; name a file that does not`);
  }
  const session = openOrReplace(options);
  const { store, boot, lastSeq: seq } = session.opened;
  if (options.mayWait === true) new Witness(path).begin({ store, boot, seq });
  return session;
}

function openOrReplace(options: StoreOptions): Session {
  try {
    const session = tryOpen(options);
    const last = options.mayWait === true ? new Witness(options.path).read() : null;
    if (last === null) return session;
    if (isMissing(session, last)) {
      tellLoss(
        session,
        null,
        `${options.path}: was missing, a new store was begun; start ${last.boot} had the one before`,
      );
      return session;
    }
    const why = isOlder(session, last, options.path);
    if (why === null) return session;
    session.db.close();
    throw why;
  } catch (error) {
    const known = openingError(error, options.path);
    if (known.code !== 'store-corrupt') throw known;
    return replaceFile(options, known);
  }
}

/** The file was new, and there has been another one here. */
function isMissing({ opened }: Session, last: Seen): boolean {
  return opened.boot === 1 && last.store !== opened.store;
}

/** Its numbers have been given before: they must not be given again. */
function isOlder({ opened }: Session, last: Seen, path: string): StoreError | null {
  const older = last.store === opened.store && (opened.boot <= last.boot || opened.lastSeq < last.seq);
  if (!older) return null;
  const had = `number ${opened.lastSeq} of start ${opened.boot - 1}, and ${last.seq} of start ${last.boot} was given`;
  return new StoreError('store-corrupt', `${path}: is older than what was used last (it ends with ${had})`);
}

/** In the log, and to the office. */
function tellLoss(session: Session, left: Peeked | null, note: string): void {
  session.opened.notes.unshift(note);
  session.sql.setGap.run(0, JSON.stringify(gapOf(left)));
}

/**
 * Moves what is there aside and begins a new file. Errors: as openSession. What the old one still says of itself is taken over:
 * its state, the open alerts, and how many events the office has not had, which it is told in a gap record.
 */
export function replaceFile(options: StoreOptions, why: StoreError): Session {
  const left = peek(options.path);
  const note = asideNote(options.path, why.message);
  try {
    const session = tryOpen(options);
    tellLoss(session, left, note);
    session.opened.restored = left?.restored ?? null;
    session.inherited.open = left?.open?.open ?? null;
    return session;
  } catch (error) {
    throw storeError(error, options.path);
  }
}

/** What the office is told of a database that was lost. */
function gapOf(left: Peeked | null): GapRecord {
  const what = left === null ? 'events of an earlier store' : `events of store ${left.store} that were not received`;
  return { fromSeq: 0, toSeq: 0, what, count: left?.waiting ?? 0, why: 'the database was damaged, lost or older' };
}

/** Alerts that the running rules know nothing of keep their ids, and no ordinal of theirs leads to them any more. */
export function disownAlerts(session: Session): void {
  session.db.exec("UPDATE alerts SET ordinal = -seq, state = CASE state WHEN 'open' THEN 'lost' ELSE state END");
  session.inherited = { drafts: [], open: null };
}

/** A statement that cannot be prepared, or a migration that fails: something has been taken out of the file, or added. */
function openingError(error: unknown, path: string): StoreError {
  if ((error as { code?: string }).code !== 'SQLITE_ERROR') return storeError(error, path);
  return new StoreError('store-corrupt', `${path}: ${(error as Error).message}`, { cause: error });
}

function tryOpen(options: StoreOptions): Session {
  const { path } = options;
  const notes: string[] = [];
  const db = openFile(path, notes);
  try {
    const meta = db.transaction(() => beginRun(db, options)).immediate();
    if (meta.truck !== options.truck) notes.push(`${path}: made for truck ${meta.truck}, used for ${options.truck}`);
    const sql = prepareAll(db);
    const { store, boot, last_seq: lastSeq } = meta;
    const identity: Identity = { store, truck: options.truck, boot, floorSeq: lastSeq };
    const opened: StoreOpened = { store, boot, lastSeq, restored: restored(sql.state.get(), path), notes };
    const writer = new Writer(sql, identity);
    return { db, sql, writer, identity, opened, inherited: inherited(db, sql, path), inode: statSync(path).ino };
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
      AND NOT EXISTS (SELECT 1 FROM records WHERE records.boot = runs.boot)
      AND NOT EXISTS (SELECT 1 FROM trips WHERE trips.boot = runs.boot)`);
}

function inherited(db: Database.Database, sql: Statements, path: string): Session['inherited'] {
  const rows = db
    .prepare<[], { draft: string }>(
      "SELECT e.draft FROM alerts a JOIN events e ON e.seq = a.last_seq WHERE a.state = 'open' ORDER BY a.seq",
    )
    .all();
  const open = sql.open.get();
  return {
    drafts: rows.map((row) => parsed<EventDraft>(row.draft, path)),
    open: open === undefined ? null : parsed<OpenDraft>(open.draft, path),
  };
}
