import { join } from 'node:path';
import type BetterSqlite from 'better-sqlite3';
import { describe, expect, test } from 'vitest';
import { openFile } from '../../../adapters/store/connection.js';
import { APPLICATION_ID, MIGRATIONS, type Migration, SCHEMA_VERSION } from '../../../adapters/store/schema.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { codeOf, tempDir } from './helpers.js';

/** The mechanism on a table of its own, while there is but one released version. */
const STEPS: Migration[] = [
  { what: 'first', sql: 'CREATE TABLE a (x); INSERT INTO a VALUES (1);' },
  { what: 'second', sql: 'ALTER TABLE a ADD COLUMN y; UPDATE a SET y = x + 1;' },
  { what: 'third', sql: 'CREATE TABLE b (z); INSERT INTO b SELECT y FROM a;' },
];

function open(path: string, steps: Migration[], notes: string[] = []): BetterSqlite.Database {
  return openFile(path, notes, steps);
}

describe('migrations', () => {
  test('a new file gets the newest version and says whose it is', () => {
    const db = openFile(join(tempDir(), 'x.db'), []);
    expect(db.pragma('user_version', { simple: true })).toBe(SCHEMA_VERSION);
    expect(db.pragma('application_id', { simple: true })).toBe(APPLICATION_ID);
    expect(SCHEMA_VERSION).toBe(MIGRATIONS.length);
    db.close();
  });

  test('an older file goes through the missing steps, keeps its rows and says so', () => {
    const path = join(tempDir(), 'x.db');
    open(path, STEPS.slice(0, 1)).close();
    const notes: string[] = [];
    const db = open(path, STEPS, notes);
    expect(db.prepare('SELECT z FROM b').all()).toEqual([{ z: 2 }]);
    expect(db.pragma('user_version', { simple: true })).toBe(3);
    expect(notes).toEqual([`${path}: schema version 1 became 3`]);
    db.close();
  });

  test('a step that fails leaves the version before it whole', () => {
    const path = join(tempDir(), 'x.db');
    open(path, STEPS.slice(0, 1)).close();
    const failing = [STEPS[0]!, STEPS[1]!, { what: 'bad', sql: 'CREATE TABLE c (z); INSERT INTO nowhere VALUES (1);' }];
    expect(codeOf(() => open(path, failing))).toBe('SQLITE_ERROR');
    const db = new Database(path);
    expect(db.pragma('user_version', { simple: true })).toBe(2);
    expect(db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'").pluck().all()).toEqual(['a']);
    db.close();
  });

  test('settings that durability rests on', () => {
    const db = openFile(join(tempDir(), 'x.db'), []);
    const pragma = (name: string): unknown => db.pragma(name, { simple: true });
    // https://www.sqlite.org/pragma.html: synchronous 2 is FULL, auto_vacuum 2 INCREMENTAL.
    expect([pragma('journal_mode'), pragma('synchronous'), pragma('auto_vacuum'), pragma('foreign_keys')]).toEqual([
      'wal',
      2,
      2,
      1,
    ]);
    db.close();
  });
});
