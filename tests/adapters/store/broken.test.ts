import {
  chmodSync,
  closeSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  truncateSync,
  writeFileSync,
  writeSync,
} from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { MAX_BROKEN } from '../../../adapters/store/aside.js';
import { FULL_CHECK_BYTES } from '../../../adapters/store/connection.js';
import { Database } from '../../../adapters/store/sqlite.js';
import {
  breakUnderneath,
  brokenFiles,
  codeOf,
  commit,
  draft,
  MINUTE_MS,
  minute,
  openAlert,
  openDatabase,
  openDraft,
  optionsIn,
  seeded,
  tempDir,
} from './helpers.js';

/** A closed database with events, state and some history; gives its store id. */
function filled(directory: string): string {
  const db = openDatabase(optionsIn(directory));
  for (let n = 0; n < 40; n++) {
    db.commit([
      commit({
        t: n * MINUTE_MS,
        events: [draft(1 + n, 'raised')],
        state: `{"n":${n}}`,
        history: minute(n * MINUTE_MS, 60),
      }),
    ]);
  }
  db.close();
  return db.opened.store;
}

const PAGE = 4096;

function overwrite(path: string, at: number, bytes: number[]): void {
  const handle = openSync(path, 'r+');
  writeSync(handle, Buffer.from(bytes), 0, bytes.length, at);
  closeSync(handle);
}

const DAMAGE: { name: string; damage(path: string): void }[] = [
  { name: 'zeros', damage: (path) => writeFileSync(path, Buffer.alloc(statSync(path).size)) },
  { name: 'text', damage: (path) => writeFileSync(path, 'fleet: northline\n'.repeat(500)) },
  { name: 'one byte', damage: (path) => writeFileSync(path, 'x') },
  { name: 'cut to half', damage: (path) => truncateSync(path, Math.floor(statSync(path).size / 2 / PAGE) * PAGE) },
  { name: 'cut amid a page', damage: (path) => truncateSync(path, 3 * PAGE + 100) },
  {
    name: 'flipped bytes in every page header but the first',
    damage: (path) => {
      const bytes = readFileSync(path);
      for (let page = PAGE; page < bytes.length; page += PAGE) {
        for (let n = 0; n < 12; n++) bytes[page + n] = (bytes[page + n] ?? 0) ^ 0xff;
      }
      writeFileSync(path, bytes);
    },
  },
  // Offsets in https://www.sqlite.org/fileformat2.html#the_database_header
  { name: 'a format version for writing that nobody knows', damage: (path) => overwrite(path, 18, [7]) },
  { name: 'a schema format that nobody knows', damage: (path) => overwrite(path, 44, [0, 0, 0, 99]) },
  { name: 'a schema version that is too old for its tables', damage: (path) => overwrite(path, 60, [0, 0, 0, 0]) },
  {
    name: 'the state is no JSON',
    damage: (path) => {
      const db = new Database(path);
      db.prepare('UPDATE state SET state = \'{"n":\'').run();
      db.close();
    },
  },
  {
    name: 'a table is missing',
    damage: (path) => {
      const db = new Database(path);
      db.exec('DROP TABLE outbox');
      db.close();
    },
  },
];

describe('a broken file at the start', () => {
  test.each(DAMAGE)('$name: moved aside, a new store begun, and it says so', ({ damage }) => {
    const directory = tempDir();
    const options = optionsIn(directory);
    const before = filled(directory);
    damage(options.path);
    const db = openDatabase(options);
    expect(db.opened).toMatchObject({ boot: 1, lastSeq: 0 });
    // What can still be read of it is taken over.
    expect([undefined, '{"n":39}']).toContain(db.opened.restored?.state);
    expect(db.opened.store).not.toBe(before);
    expect(db.gaps()).toMatchObject([{ fromSeq: 0, toSeq: 0, why: 'the database was damaged, lost or older' }]);
    const broken = brokenFiles(directory);
    expect(broken).toHaveLength(1);
    expect(broken[0]).toMatch(/^axlepost\.db\.\d{8}T\d{6}Z\.broken$/);
    expect(db.opened.notes).toHaveLength(1);
    expect(db.opened.notes[0]).toContain(broken[0]);
    expect(db.opened.notes[0]).not.toContain('\n');
    expect(db.commit([commit({ events: [draft(1, 'raised')] })])[0]?.[0]?.seq).toBe(1);
  });

  test('an empty file is a new database', () => {
    const options = optionsIn(tempDir());
    writeFileSync(options.path, '');
    expect(openDatabase(options).opened).toMatchObject({ boot: 1, notes: [] });
  });

  test('a garbled write-ahead log loses no commit that was checkpointed', () => {
    const directory = tempDir();
    const store = filled(directory);
    writeFileSync(join(directory, 'axlepost.db-wal'), Buffer.alloc(50_000, 0x5a));
    expect(openDatabase(optionsIn(directory)).opened).toMatchObject({ store, lastSeq: 40, boot: 2, notes: [] });
  });

  test('a file too large to be checked as a whole is checked in what alerts need', () => {
    const directory = tempDir();
    const options = optionsIn(directory, { maxBytes: 256 * 1024 * 1024 });
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')] })]);
    first.connection.exec(`CREATE TABLE filler AS SELECT zeroblob(${FULL_CHECK_BYTES})`);
    const root = first.connection.prepare("SELECT rootpage FROM sqlite_schema WHERE name = 'events'").pluck().get();
    first.close();
    overwrite(options.path, (Number(root) - 1) * PAGE, Array(16).fill(0xff));
    expect(statSync(options.path).size).toBeGreaterThan(FULL_CHECK_BYTES);
    expect(openDatabase(options).opened.store).not.toBe(first.opened.store);
  });

  test('bytes flipped anywhere: it opens as it was, or as a new one, or is refused with a reason, and then works', () => {
    const random = seeded('flipped bytes');
    const directory = tempDir();
    const options = optionsIn(directory);
    filled(directory);
    const sound = readFileSync(options.path);
    const outcomes: Record<string, number> = {};
    for (let round = 0; round < 60; round++) {
      const bytes = Buffer.from(sound);
      const flips = 1 + Math.floor(random() * 8);
      // Half of the rounds hit the header, the schema and the first tables.
      const span = round % 2 === 0 ? bytes.length : 4 * PAGE;
      for (let n = 0; n < flips; n++) bytes[Math.floor(random() * span)] = Math.floor(random() * 256);
      for (const name of readdirSync(directory)) rmSync(join(directory, name));
      writeFileSync(options.path, bytes);
      const outcome = codeOf(() => {
        const db = openDatabase(options);
        db.outbox(0, 1000);
        db.open();
        db.commit([commit({ events: [draft(1, 'worse')], open: openDraft([openAlert(1)]), history: minute(0, 5) })]);
        db.maintain();
        db.confirm(1);
        db.close();
      });
      const key = outcome ?? (brokenFiles(directory).length > 0 ? 'moved aside' : 'as it was');
      outcomes[key] = (outcomes[key] ?? 0) + 1;
    }
    console.log(outcomes);
    const allowed = ['as it was', 'moved aside', 'store-newer', 'store-foreign'];
    expect(Object.keys(outcomes).filter((key) => !allowed.includes(key))).toEqual([]);
  });

  test('only the newest broken files are kept', () => {
    const directory = tempDir();
    const options = optionsIn(directory);
    for (let n = 0; n < MAX_BROKEN + 2; n++) {
      writeFileSync(options.path, `broken ${n} `.repeat(100));
      openDatabase(options).close();
    }
    expect(brokenFiles(directory)).toHaveLength(MAX_BROKEN);
  });
});

describe('a file that is not ours to touch', () => {
  test('a database of another program is refused and stays as it is', () => {
    const options = optionsIn(tempDir());
    const other = new Database(options.path);
    other.exec('CREATE TABLE parts (n)');
    other.close();
    const before = readFileSync(options.path);
    expect(codeOf(() => openDatabase(options))).toBe('store-foreign');
    expect(readFileSync(options.path).equals(before)).toBe(true);
  });

  test('a database of a newer program is refused and stays as it is', () => {
    const directory = tempDir();
    const options = optionsIn(directory);
    filled(directory);
    const db = new Database(options.path);
    db.pragma('user_version = 999');
    db.close();
    const before = readFileSync(options.path);
    expect(codeOf(() => openDatabase(options))).toBe('store-newer');
    expect(readFileSync(options.path).equals(before)).toBe(true);
    expect(brokenFiles(directory)).toEqual([]);
  });

  test('mustBeNew refuses a file that exists, also an empty one', () => {
    const options = optionsIn(tempDir(), { mustBeNew: true });
    openDatabase(options).close();
    expect(codeOf(() => openDatabase(options))).toBe('store-exists');
    writeFileSync(options.path, '');
    expect(codeOf(() => openDatabase(options))).toBe('store-exists');
  });

  test('a missing directory, and a directory in the place of the file, are named', () => {
    const directory = tempDir();
    expect(codeOf(() => openDatabase(optionsIn(join(directory, 'missing'))))).toBe('store-io');
    const options = optionsIn(directory);
    mkdirSync(options.path);
    expect(codeOf(() => openDatabase(options))).toBe('store-io');
    expect(existsSync(options.path)).toBe(true);
  });

  test.skipIf(process.getuid?.() === 0)('a directory that may not be written (not as root, who may)', () => {
    const directory = tempDir();
    chmodSync(directory, 0o500);
    expect(codeOf(() => openDatabase(optionsIn(directory)))).toBe('store-io');
    chmodSync(directory, 0o700);
  });
});

describe('a file that breaks or goes while in use', () => {
  const WAYS: { name: string; ruin(path: string, db: ReturnType<typeof openDatabase>): void; moved: number }[] = [
    { name: 'overwritten from the start', ruin: (path, db) => breakUnderneath(db, path), moved: 1 },
    { name: 'overwritten but for the first page', ruin: (path, db) => breakUnderneath(db, path, PAGE), moved: 1 },
    { name: 'removed', ruin: (path) => rmSync(path), moved: 0 },
    {
      name: 'replaced by a copy',
      ruin: (path) => {
        copyFileSync(path, `${path}.copy`);
        renameSync(`${path}.copy`, path);
      },
      moved: 1,
    },
  ];

  test.each(WAYS)(
    '$name: the commit is stored in a new one, with the state and the open alerts raised anew',
    ({ ruin, moved }) => {
      const directory = tempDir();
      const options = optionsIn(directory);
      const db = openDatabase(options);
      const before = db.opened;
      const open = openDraft([openAlert(1, { urgency: 'next-stop' }), openAlert(2)], 60_000);
      db.commit([
        commit({
          t: 60_000,
          events: [draft(1, 'raised', { advice: 'Stop.' }), draft(2, 'raised'), draft(3, 'raised')],
          open,
        }),
      ]);
      db.commit([commit({ t: 61_000, events: [draft(3, 'cleared')], state: '{"n":1}' })]);
      ruin(options.path, db);
      const [events = []] = db.commit([
        commit({ t: 65_000, events: [draft(1, 'worse', { urgency: 'pull-over' })], history: minute(0, 9) }),
      ]);
      expect(db.opened.store).not.toBe(before.store);
      expect(db.opened.notes[0]).toMatch(moved === 1 ? /moved to .*\.broken/ : /removed/);
      expect(brokenFiles(directory)).toHaveLength(moved);
      const { store } = db.opened;
      expect(events).toMatchObject([{ seq: 3, store, alertId: `T-1042.${store}.1` }]);
      expect(
        db.outbox(0, 9).map((e) => [e.seq, e.draft.alert, e.draft.change, e.draft.urgency, e.draft.advice]),
      ).toEqual([
        [1, 1, 'raised', 'next-stop', 'Stop.'],
        [2, 2, 'raised', 'plan', 'Check the tire.'],
        [3, 1, 'worse', 'pull-over', 'Check the tire.'],
      ]);
      db.close();
      expect(openDatabase(options).opened).toMatchObject({
        store,
        lastSeq: 3,
        restored: { state: '{"n":1}', t: 61_000 },
      });
    },
  );

  test('alerts from before a restart are raised anew too', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '1' })]);
    first.close();
    const second = openDatabase(options);
    breakUnderneath(second, options.path);
    second.commit([commit({ t: 9_000, state: '2' })]);
    expect(second.outbox(0, 9)).toMatchObject([
      { seq: 1, boot: 1, draft: { change: 'raised', advice: 'Check the tire.' } },
    ]);
  });

  test('when the new file cannot be made either, the call fails, and a later one tries again', () => {
    const parent = tempDir();
    const directory = join(parent, 'flash');
    mkdirSync(directory);
    const options = optionsIn(directory);
    const db = openDatabase(options);
    db.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]) })]);
    rmSync(directory, { recursive: true });
    const next = commit({ events: [draft(1, 'worse')] });
    expect(['store-io', 'store-corrupt']).toContain(codeOf(() => db.commit([next])));
    expect(['store-io', 'store-corrupt']).toContain(codeOf(() => db.outbox(0, 1)));
    mkdirSync(directory);
    expect(db.commit([next])[0]?.[0]).toMatchObject({ seq: 2, alertId: `T-1042.${db.opened.store}.1` });
  });
});
