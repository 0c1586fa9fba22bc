import { chmodSync, copyFileSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import type BetterSqlite from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import { Database } from '../../../adapters/store/sqlite.js';
import { StoreError } from '../../../office/store/contract.js';
import { openSqliteStore, SqliteStore } from '../../../office/store/sqlite.js';
import { openFile } from '../../../office/store/sqlite-file.js';
import { APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION } from '../../../office/store/sqlite-schema.js';
import { event, KEY, notice, noting, OTHER, presence, reading, T0, telling } from './messages.js';
import { all, atEnd, openSqlite, pathIn, tempDir } from './stores.js';

const PAGE_BYTES = 4096;

function raw(path: string): BetterSqlite.Database {
  const db = new Database(path);
  atEnd(() => db.close());
  return db;
}

/** The line with which it is refused, and whether the file was left as it was. */
async function refused(path: string): Promise<string> {
  const before = readFileSync(path);
  const error = await openSqliteStore({ path }).catch((reason: unknown) => reason);
  expect(error).toBeInstanceOf(StoreError);
  expect(readFileSync(path).equals(before)).toBe(true);
  return (error as StoreError).message;
}

/** A closed database with some rows, in several pages. */
async function filled(): Promise<string> {
  const path = pathIn(tempDir());
  const store = await openSqlite(path);
  await store.putAccount({ name: 'Ana', hash: 'h' });
  const messages = [...Array.from({ length: 60 }, (_, n) => event(n + 1)), reading(T0)];
  await store.receive([{ key: KEY, messages }], telling(notice()));
  await store.close();
  return path;
}

describe('the file', () => {
  it('is for its owner alone, also one that was open to others; log and index too', async () => {
    const path = pathIn(tempDir());
    const modes = () => [path, `${path}-wal`, `${path}-shm`].map((file) => statSync(file).mode & 0o777);
    const store = await openSqlite(path);
    await store.receive([{ key: KEY, messages: [presence()] }], noting);
    expect(modes()).toEqual([0o600, 0o600, 0o600]);
    await store.close();
    chmodSync(path, 0o644);
    await openSqlite(path);
    expect(modes()).toEqual([0o600, 0o600, 0o600]);
  });

  it('waits for the disk at each commit, in WAL mode', () => {
    const db = openFile(pathIn(tempDir()));
    atEnd(() => db.close());
    expect(
      ['journal_mode', 'synchronous', 'application_id', 'user_version'].map((name) =>
        db.pragma(name, { simple: true }),
      ),
    ).toEqual(['wal', 2, APPLICATION_ID, SCHEMA_VERSION]);
  });

  it('everything is there again after a restart', async () => {
    const path = await filled();
    const store = await openSqlite(path);
    expect(store).toMatchObject({ isShared: false, place: path });
    expect(await all(store.trucks())).toMatchObject([{ key: KEY, state: { revision: 1, heardMs: T0 + 500 } }]);
    expect(await store.events({ limit: 100 })).toHaveLength(60);
    expect(await store.dueNotices(T0, 1, 10)).toHaveLength(1);
    expect(await store.accounts()).toEqual(['Ana']);
  });

  it('a command may add an account while the office runs', async () => {
    const path = pathIn(tempDir());
    const [office, command] = [await openSqlite(path), await openSqlite(path)];
    await office.putSession('aa', { name: 'Ana', token: 't', untilMs: T0 });
    await command.putAccount({ name: 'Ana', hash: 'h' });
    await office.receive([{ key: KEY, messages: [presence()] }], noting);
    expect([await office.accounts(), await office.session('aa', 0)]).toEqual([['Ana'], null]);
    expect(await command.truck(KEY)).toMatchObject({ revision: 1 });
  });

  it('may be read by others while it runs', async () => {
    const path = pathIn(tempDir());
    const store = await openSqlite(path);
    const reader = raw(path);
    const count = reader.prepare('SELECT count(*) FROM events').pluck();
    reader.exec('BEGIN');
    expect(count.get()).toBe(0);
    await store.receive([{ key: KEY, messages: [event(1)] }], noting);
    expect(count.get()).toBe(0);
    reader.exec('COMMIT');
    expect(count.get()).toBe(1);
  });
});

describe('what is refused, in one line, and left as it is', () => {
  it('a folder that is not there', async () => {
    const path = `${tempDir()}/nowhere/office.db`;
    await expect(openSqliteStore({ path })).rejects.toThrow(
      new StoreError(
        `${path}: folder ${path.replace('/office.db', '')} does not exist; create it or choose another file`,
      ),
    );
  });

  it.each([
    ['no database at all', 'hello: world\n'],
    ['a page of nothing', '\0'.repeat(PAGE_BYTES)],
    ['one byte', 'x'],
  ])('%s', async (_, text) => {
    const path = pathIn(tempDir());
    writeFileSync(path, text);
    expect(await refused(path)).toBe(
      `${path}: not an SQLite database, or one whose first bytes were lost; choose another file, or move it aside, as docs/office-database.md tells`,
    );
  });

  it('a database of another program, also one of a truck', async () => {
    const path = pathIn(tempDir());
    raw(path).exec('CREATE TABLE notes (text TEXT)');
    expect(await refused(path)).toBe(`${path}: a database of another program; choose another file`);
    const truck = pathIn(tempDir());
    raw(truck).pragma('application_id = 1096305744');
    expect(await refused(truck)).toBe(`${truck}: the store of a truck, not of an office; choose another file`);
  });

  it('one of a newer version', async () => {
    const path = await filled();
    raw(path).pragma(`user_version = ${SCHEMA_VERSION + 1}`);
    expect(await refused(path)).toBe(
      `${path}: schema version ${SCHEMA_VERSION + 1}, this program knows ${SCHEMA_VERSION}; update the program or choose another file`,
    );
  });

  it('a page of the table or of an index overwritten, wherever it is, and a file cut short', async () => {
    const path = await filled();
    const pages = statSync(path).size / PAGE_BYTES;
    expect(pages).toBeGreaterThan(30);
    const copy = pathIn(tempDir());
    for (let page = 1; page < pages; page++) {
      const bytes = readFileSync(path);
      bytes.fill(0xa5, page * PAGE_BYTES, (page + 1) * PAGE_BYTES);
      writeFileSync(copy, bytes);
      expect(await refused(copy)).toMatch(
        /^[^\n]* is damaged; stop the office and move it aside, as docs\/office-database\.md tells$/,
      );
    }
    copyFileSync(path, copy);
    truncateSync(copy, (pages - 2) * PAGE_BYTES);
    expect(await refused(copy)).toMatch(/is damaged; stop the office/);
  });

  it('a row of a truck that is no JSON any more: a StoreError that names it', async () => {
    const path = await filled();
    raw(path).exec('UPDATE trucks SET state = substr(state, 2)');
    const store = await openSqlite(path);
    const line = `${path}: the row of northline/T-1042 is damaged (no JSON); see docs/office-database.md, "When it is damaged"`;
    await expect(store.truck(KEY)).rejects.toThrow(new StoreError(line));
    await expect(store.receive([{ key: KEY, messages: [event(99)] }], noting)).rejects.toThrow(StoreError);
    expect(await store.truck(OTHER)).toBeNull();
    expect(await store.events({ limit: 100 })).toHaveLength(60);
  });
});

describe('while it runs', () => {
  it('no room: nothing of all that was given is stored, and it may be given again', async () => {
    const path = pathIn(tempDir());
    const db = openFile(path);
    const store = new SqliteStore(db);
    atEnd(() => store.close());
    await store.receive([{ key: KEY, messages: [event(1)] }], noting);
    const many = Array.from({ length: 200 }, (_, n) => event(n + 1));
    const batches = [OTHER, KEY].map((key) => ({ key, messages: many }));
    db.pragma(`max_page_count = ${db.pragma('page_count', { simple: true })}`);
    const line = `${path}: database or disk is full; make room on the disk`;
    await expect(store.receive(batches, noting)).rejects.toThrow(new StoreError(line));
    expect(await store.truck(OTHER)).toBeNull();
    expect(await store.events({ limit: 500 })).toHaveLength(1);
    db.pragma('max_page_count = 100000');
    const states = await store.receive(batches, noting);
    expect(states.map(({ alerts }) => alerts.length)).toEqual([200, 200]);
  });

  it('another program keeps the lock: a StoreError, and on it goes', async () => {
    const path = pathIn(tempDir());
    const store = await openSqlite(path);
    const lock = raw(path);
    lock.exec('BEGIN IMMEDIATE');
    const line = `${path}: database is locked; another program keeps it locked; end that program`;
    const one = [{ key: KEY, messages: [event(1)] }];
    await expect(store.receive(one, noting)).rejects.toThrow(new StoreError(line));
    expect(await store.truck(KEY)).toBeNull();
    lock.exec('ROLLBACK');
    expect(await store.receive(one, noting)).toMatchObject([{ revision: 1 }]);
  });
});

describe('migrations', () => {
  it('one transaction per step: a step that fails leaves the version before it', () => {
    const path = pathIn(tempDir());
    const steps = [...MIGRATIONS, { what: 'adds', sql: 'ALTER TABLE gaps ADD COLUMN more TEXT' }];
    const broken = [...steps, { what: 'fails', sql: 'CREATE TABLE half (a); CREATE TABLE gaps (b)' }];
    openFile(path).close();
    expect(() => openFile(path, broken)).toThrow(/already exists/);
    const db = openFile(path, steps);
    atEnd(() => db.close());
    expect(db.pragma('user_version', { simple: true })).toBe(SCHEMA_VERSION + 1);
    expect(db.prepare("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").pluck().get()).toBe(0);
  });
});
