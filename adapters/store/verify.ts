import { existsSync } from 'node:fs';
import type BetterSqlite from 'better-sqlite3';
import { storeError } from './errors.js';
import { recognise } from './migrate.js';
import { MIGRATIONS } from './schema.js';
import { Database } from './sqlite.js';
import { unpackState } from './state-text.js';
import { Witness } from './witness.js';

/** Of one kind, so many are listed. */
const MOST_EXAMPLES = 3;

/** What a database is, and one line for each thing that is wrong with it. */
export interface Verified {
  problems: string[];
  /** null when it is no database that can be read. */
  summary: { store: string; truck: string; boot: number; lastSeq: number; open: number; waiting: number } | null;
}

/** Rows that must not be: each gives one line of text. Newest schema; a column that is not there yet is not looked at. */
const WRONG_ROWS: readonly { what: string; sql: string }[] = [
  { what: 'a number above the last one given', sql: 'SELECT seq FROM events WHERE seq > (SELECT last_seq FROM meta)' },
  {
    what: 'an event that waits to be told is missing',
    sql: "SELECT seq FROM outbox WHERE kind = 'event' AND seq NOT IN (SELECT seq FROM events)",
  },
  { what: 'an event without its alert', sql: 'SELECT seq FROM events WHERE alert NOT IN (SELECT seq FROM alerts)' },
  {
    what: 'an alert without its last event',
    sql: 'SELECT id FROM alerts WHERE last_seq NOT IN (SELECT seq FROM events)',
  },
  {
    what: 'an alert counts other events than it has',
    sql: 'SELECT id FROM alerts a WHERE events <> (SELECT count(*) FROM events e WHERE e.alert = a.seq)',
  },
  {
    what: 'an alert whose last event says something else than its state',
    sql: `SELECT a.id FROM alerts a JOIN events e ON e.seq = a.last_seq
      WHERE (a.state = 'open') <> (e.change NOT IN ('cleared', 'closed')) AND a.state <> 'lost'`,
  },
  {
    what: 'an event of a start that is not listed',
    sql: 'SELECT seq FROM events WHERE boot NOT IN (SELECT boot FROM runs)',
  },
  { what: 'an event that is no JSON', sql: 'SELECT seq FROM events WHERE NOT json_valid(draft)' },
  {
    what: 'history of a start that is not listed',
    sql: 'SELECT DISTINCT boot FROM history WHERE boot NOT IN (SELECT boot FROM runs)',
  },
  {
    what: 'history of an unknown series',
    sql: 'SELECT DISTINCT series FROM history WHERE series NOT IN (SELECT id FROM series)',
  },
  {
    what: 'something that waits to be told is no JSON',
    sql: 'SELECT kind, seq FROM outbox WHERE body IS NOT NULL AND NOT json_valid(body)',
  },
  {
    what: 'the list of open alerts is no JSON',
    sql: 'SELECT boot FROM open WHERE NOT json_valid(draft) OR NOT json_valid(alert_ids)',
  },
  {
    what: 'the state is of a start that is not listed',
    sql: 'SELECT boot FROM state WHERE boot NOT IN (SELECT boot FROM runs)',
  },
  { what: 'a record that is no JSON', sql: 'SELECT id FROM records WHERE NOT json_valid(body)' },
];

/** Looks at everything in a database and changes nothing; the program may go on meanwhile. Never throws. */
export function verify(path: string): Verified {
  if (!existsSync(path)) return { problems: ['does not exist'], summary: null };
  let db: BetterSqlite.Database | null = null;
  try {
    db = new Database(path, { readonly: true, timeout: 5_000 });
    const version = recognise(db, MIGRATIONS.length);
    if (version === 0) return { problems: ['is empty'], summary: null };
    return { problems: problemsOf(db, path, version), summary: summaryOf(db) };
  } catch (error) {
    return { problems: [storeError(error, path).message.replace(`${path}: `, '')], summary: null };
  } finally {
    db?.close();
  }
}

function problemsOf(db: BetterSqlite.Database, path: string, version: number): string[] {
  const pages = db.prepare<[], string>('PRAGMA integrity_check(10)').pluck().all();
  const problems = pages.filter((line) => line !== 'ok').map((line) => line.replace(/\s+/g, ' '));
  if (problems.length > 0) return problems;
  if (version < MIGRATIONS.length)
    return [`schema version ${version}: the next start of run makes ${MIGRATIONS.length} of it`];
  for (const { what, sql } of WRONG_ROWS) {
    const rows = db.prepare<[], Record<string, unknown>>(`${sql} LIMIT ${MOST_EXAMPLES + 1}`).all();
    if (rows.length === 0) continue;
    const named = rows.slice(0, MOST_EXAMPLES).map((row) => Object.values(row).join(' '));
    problems.push(`${what}: ${named.join(', ')}${rows.length > MOST_EXAMPLES ? ', …' : ''}`);
  }
  return [...problems, ...stateProblem(db, path), ...witnessProblem(db, path)];
}

function stateProblem(db: BetterSqlite.Database, path: string): string[] {
  const state = db.prepare<[], string | Buffer>('SELECT state FROM state').pluck().get();
  if (state === undefined) return [];
  try {
    JSON.parse(unpackState(state, path));
    return [];
  } catch {
    return ['the state of the rules cannot be read'];
  }
}

function witnessProblem(db: BetterSqlite.Database, path: string): string[] {
  const seen = new Witness(path).read();
  const meta = db.prepare<[], { store: string; boot: number; last_seq: number }>('SELECT * FROM meta').get();
  if (meta === undefined) return ['the row of table meta is missing'];
  if (seen === null || seen.store !== meta.store || (seen.boot <= meta.boot && seen.seq <= meta.last_seq)) return [];
  return [`is older than what was used last: number ${seen.seq} was given in start ${seen.boot}`];
}

function summaryOf(db: BetterSqlite.Database): Verified['summary'] {
  const count = (sql: string): number => db.prepare<[], number>(sql).pluck().get() ?? 0;
  const meta = db
    .prepare<[], { store: string; truck: string; boot: number; last_seq: number }>('SELECT * FROM meta')
    .get();
  if (meta === undefined) return null;
  const { store, truck, boot, last_seq: lastSeq } = meta;
  const open = count("SELECT count(*) FROM alerts WHERE state = 'open'");
  return { store, truck, boot, lastSeq, open, waiting: count("SELECT count(*) FROM outbox WHERE kind = 'event'") };
}
