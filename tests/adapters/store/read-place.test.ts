import { chmodSync, readdirSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { alertsOf, draftsOf, eventsOf } from '../../../adapters/store/read-alerts.js';
import { readingsOf, recordsOf, tripsOf } from '../../../adapters/store/read-history.js';
import { EVERYTHING, StoreReader } from '../../../adapters/store/reader.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { lookAt, plainSql, pulled } from './files.js';
import {
  brakeApplication,
  codeOf,
  commit,
  draft,
  MINUTE_MS,
  minute,
  openAlert,
  openDatabase,
  openDraft,
  optionsIn,
  tempDir,
  trip,
} from './helpers.js';
import { ID, STORE, schema1, schema2 } from './released.js';

/* Every file that a technician may have, read without a byte of it or a name beside it being changed. */

const readers: StoreReader[] = [];
afterEach(() => {
  for (const reader of readers.splice(0)) reader.close();
});

function read(path: string): StoreReader {
  const reader = new StoreReader(path);
  readers.push(reader);
  return reader;
}

/** Numbers of events, and minutes. */
function contentOf(reader: StoreReader): { events: number[]; minutes: number } {
  const events = [...eventsOf(reader, EVERYTHING)].flat().map(({ seq }) => seq);
  return { events, minutes: [...readingsOf(reader, EVERYTHING)].flat().length };
}

const first = commit({
  events: [draft(1, 'raised')],
  history: minute(0, 40),
  records: [brakeApplication()],
  trip: trip(1),
});
const second = commit({
  ...{ t: 2 * MINUTE_MS, events: [draft(1, 'cleared', { t: 2 * MINUTE_MS })], open: openDraft([openAlert(1)]) },
  history: minute(MINUTE_MS, 40),
});

/** A database in use whose second commit stands in its write-ahead log only. */
function inUse() {
  const options = optionsIn(tempDir());
  const db = openDatabase(options);
  db.commit([first]);
  db.connection.pragma('wal_checkpoint(TRUNCATE)');
  db.connection.pragma('wal_autocheckpoint = 0');
  db.commit([second]);
  return { db, path: options.path };
}

const OLD = { events: [1], minutes: 40 };
const ALL = { events: [1, 2], minutes: 80 };

describe('a file is read as it lies there, and nothing of it changes', () => {
  const cases: [string, () => string, typeof ALL][] = [
    [
      'closed by the program',
      () => {
        const { db, path } = inUse();
        db.close();
        return pulled(path, tempDir());
      },
      ALL,
    ],
    ['pulled off a dead truck with its log', () => pulled(inUse().path, tempDir(), ['-wal']), ALL],
    ['with its log and the index of it', () => pulled(inUse().path, tempDir(), ['-wal', '-shm']), ALL],
    ['without its log: what was put into it', () => pulled(inUse().path, tempDir()), OLD],
    ['with the index of a log that is not there', () => pulled(inUse().path, tempDir(), ['-shm']), OLD],
    [
      'with an empty log',
      () => {
        const path = pulled(inUse().path, tempDir());
        writeFileSync(`${path}-wal`, '');
        return path;
      },
      OLD,
    ],
  ];

  test.each(cases)('%s', (_, make, content) => {
    const path = make();
    const folder = join(path, '..');
    const before = lookAt(folder);
    const reader = read(path);
    expect(reader.about).toMatchObject({ truck: 'T-1042', boot: 1, live: false });
    expect(contentOf(reader)).toEqual(content);
    expect([...recordsOf(reader, 'brake_applications', EVERYTHING)].flat()).toHaveLength(1);
    expect([...tripsOf(reader, EVERYTHING)].flat()).toHaveLength(1);
    expect(reader.problems).toEqual([]);
    reader.close();
    expect(lookAt(folder)).toEqual(before);
  });

  test.each(cases)('%s, on a medium that cannot be written', (_, make, content) => {
    const path = make();
    const folder = join(path, '..');
    for (const name of readdirSync(folder)) chmodSync(join(folder, name), 0o444);
    chmodSync(folder, 0o555);
    const before = lookAt(folder);
    expect(contentOf(read(path))).toEqual(content);
    expect(lookAt(folder)).toEqual(before);
    chmodSync(folder, 0o755);
  });

  /** Bytes of a log before its frames, and of a frame (https://www.sqlite.org/fileformat2.html#the_write_ahead_log). */
  const [HEADER, FRAME] = [32, 24 + 4096];
  test.each<[string, (wal: string) => void]>([
    ['of another file', (wal) => writeFileSync(wal, Buffer.alloc(50_000, 7))],
    ['that was cut short before its first commit was whole', (wal) => truncateSync(wal, HEADER + FRAME + 100)],
  ])('a log %s is told, and what the file itself has is read', (_, damage) => {
    const path = pulled(inUse().path, tempDir(), ['-wal']);
    damage(`${path}-wal`);
    const before = lookAt(join(path, '..'));
    const reader = read(path);
    expect(contentOf(reader)).toEqual(OLD);
    expect(reader.problems).toEqual([expect.stringMatching(/^nothing in its write-ahead log counts/)]);
    expect(lookAt(join(path, '..'))).toEqual(before);
  });

  test('a hot journal: what was under way when the power went is undone, in a copy', () => {
    const { db, path: from } = inUse();
    db.close();
    const path = pulled(from, tempDir());
    const writer = new Database(path);
    writer.pragma('journal_mode = DELETE');
    // Pages go into the file before the commit, and the journal on disk before them.
    writer.pragma('cache_size = 2');
    writer.pragma('cache_spill = 2');
    writer.exec('BEGIN IMMEDIATE; DELETE FROM history; DELETE FROM events;');
    const hot = pulled(path, tempDir(), ['-journal']);
    writer.exec('ROLLBACK');
    writer.close();
    const before = lookAt(join(hot, '..'));
    expect(Object.keys(before)).toContain('pulled.db-journal');
    expect(contentOf(read(hot))).toEqual(ALL);
    expect(lookAt(join(hot, '..'))).toEqual(before);
    // Without the journal the same file is what the journal was there for.
    rmSync(`${hot}-journal`);
    expect(contentOf(read(hot))).not.toEqual(ALL);
  });

  test('in use: it is read in its place, with all that was committed', () => {
    const { path } = inUse();
    const reader = read(path);
    expect(reader.about.live).toBe(true);
    expect(contentOf(reader)).toEqual(ALL);
  });

  test('nothing is left in the folder for temporary files', () => {
    const ours = (): string[] => readdirSync(tmpdir()).filter((name) => name.startsWith('axlepost-read-'));
    const before = ours();
    const reader = read(pulled(inUse().path, tempDir(), ['-wal']));
    expect(ours().filter((name) => !before.includes(name))).toEqual([]);
    expect(contentOf(reader)).toEqual(ALL);
  });
});

describe('of an earlier release', () => {
  const olds: [string, (path: string) => void][] = [
    ['schema 1', schema1],
    ['schema 2', schema2],
  ];

  test.each(olds)('%s is read, and stays what it is', (_, make) => {
    const folder = tempDir();
    const path = join(folder, 'old.db');
    make(path);
    const before = lookAt(folder);
    const reader = read(path);
    expect(reader.about).toMatchObject({ store: STORE, truck: 'T-1042', lastSeq: 2 });
    expect([...alertsOf(reader, EVERYTHING)].flat()).toMatchObject([{ id: ID, state: 'open' }]);
    expect([...draftsOf(reader, EVERYTHING)].flat().map(({ draft }) => draft.change)).toEqual(['raised', 'unsure']);
    expect([...tripsOf(reader, EVERYTHING)].flat().map(({ trip, summary }) => [trip, summary])).toEqual([
      [1, null],
      [2, null],
    ]);
    expect([...recordsOf(reader, 'air_tests', EVERYTHING)].flat()).toEqual([]);
    expect(lookAt(folder)).toEqual(before);
  });

  test('also while a program of that release has it open', () => {
    const path = join(tempDir(), 'old.db');
    schema1(path);
    const old = new Database(path);
    old.pragma('journal_mode = WAL');
    old.exec("UPDATE alerts SET how = 'as it is now'");
    const [alert] = [...alertsOf(read(path), EVERYTHING)].flat();
    expect(alert).toMatchObject({ id: ID, how: 'as it is now' });
    expect(old.pragma('user_version', { simple: true })).toBe(1);
    old.close();
  });
});

describe('what is no database of ours is refused with one line', () => {
  const files: [string, (path: string) => void, string, RegExp][] = [
    ['text', (path) => writeFileSync(path, 'fleet: northline\n'.repeat(500)), 'store-corrupt', /not a database/],
    ['nothing at all', (path) => writeFileSync(path, ''), 'store-foreign', /is empty/],
    ['shorter than a page', (path) => writeFileSync(path, 'SQLite format 3\0'), 'store-corrupt', /not a database/],
    [
      "another program's",
      (path) => new Database(path).exec('CREATE TABLE parts (n)').close(),
      'store-foreign',
      /a database of another program$/,
    ],
    [
      'of a newer version',
      (path) => {
        openDatabase(optionsIn(join(path, '..'))).close();
        const db = new Database(join(path, '..', 'axlepost.db'));
        db.pragma('user_version = 9');
        db.close();
        pulled(join(path, '..', 'axlepost.db'), join(path, '..', 'new'));
      },
      'store-newer',
      /made by a newer version of axlepost; read it with that one$/,
    ],
  ];

  test.each(files)('%s', (what, make, code, says) => {
    const folder = tempDir();
    const path = what === 'of a newer version' ? join(folder, 'new', 'pulled.db') : join(folder, 'x.db');
    make(join(folder, 'x.db'));
    const before = lookAt(join(path, '..'));
    expect(codeOf(() => read(path))).toBe(code);
    expect(() => read(path)).toThrow(says);
    expect(() => read(path)).toThrow(path);
    expect(lookAt(join(path, '..'))).toEqual(before);
  });

  test('its log: the line says which file to name', () => {
    const path = pulled(inUse().path, tempDir(), ['-wal']);
    expect(() => read(`${path}-wal`)).toThrow(/pulled\.db-wal: not a database; name the one that it lies beside$/);
  });

  test('no room for a copy: the line says what to do', () => {
    const path = pulled(inUse().path, tempDir());
    const { TMPDIR } = process.env;
    process.env.TMPDIR = join(tempDir(), 'none');
    try {
      expect(() => read(path)).toThrow(
        /no copy of it can be made in .*none \(ENOENT\); let TMPDIR name a folder with room$/,
      );
    } finally {
      if (TMPDIR === undefined) delete process.env.TMPDIR;
      else process.env.TMPDIR = TMPDIR;
    }
  });

  test('another user may not read it: the line says who may', () => {
    const path = pulled(inUse().path, tempDir());
    chmodSync(path, 0o000);
    const isRoot = process.geteuid?.() === 0;
    // Root may read everything.
    if (isRoot) process.seteuid?.(65_534);
    try {
      expect(() => read(path)).toThrow(/: this user may not read it \(EACCES\); ask as its owner, /);
    } finally {
      if (isRoot) process.seteuid?.(0);
    }
  });

  test('a name that nothing is behind', () => {
    expect(codeOf(() => read(join(tempDir(), 'none.db')))).toBe('store-io');
  });
});

test('the helper for plain SQL sees what the reader sees', () => {
  const { db, path } = inUse();
  db.close();
  const rows = plainSql(pulled(path, tempDir()), 'SELECT * FROM readings ORDER BY boot, t, subject');
  const read_ = [...readingsOf(read(path), EVERYTHING)].flat();
  expect(read_.sort((a, b) => a.t - b.t || (a.subject < b.subject ? -1 : 1))).toEqual(rows);
});
