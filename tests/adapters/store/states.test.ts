import { randomBytes } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import type { StoreOptions } from '../../../adapters/store/contract.js';
import type { StoreDatabase } from '../../../adapters/store/database.js';
import { breakUnderneath, codeOf, commit, draft, fill, minute, openDatabase, optionsIn, tempDir } from './helpers.js';

/** Bytes that packing does not make fewer. */
const STATE = randomBytes(10_000).toString('base64');

/** Every method in every state: what it gives, or the code of its error. */
const METHODS: Record<string, (db: StoreDatabase) => unknown> = {
  commit: (db) => db.commit([commit({ events: [draft(1, 'raised')], state: STATE })])[0]?.[0]?.seq,
  outbox: (db) => db.outbox(0, 10).length,
  confirm: (db) => db.confirm(0),
  gaps: (db) => db.gaps(),
  confirmGap: (db) => db.confirmGap({ fromSeq: 1, toSeq: 1, what: '', count: 1, why: '' }),
  trips: (db) => db.trips(10),
  confirmTrip: (db) => db.confirmTrip({ boot: 1, trip: 1 }),
  ordinals: (db) => db.ordinals(['T-1042.k3f9q2m1x7ab.1']),
  open: (db) => db.open(),
  clock: (db) => db.clock({ zeroWallMs: 1, synced: true }),
  stats: (db) => db.stats().outbox,
  maintain: (db) => db.maintain(),
  close: (db) => db.close(),
};

const STATES: Record<string, (options: StoreOptions) => StoreDatabase> = {
  new: (options) => openDatabase(options),
  reopened: (options) => {
    const db = openDatabase(options);
    db.commit([commit({ events: [draft(9, 'raised')] })]);
    db.close();
    return openDatabase(options);
  },
  closed: (options) => {
    const db = openDatabase(options);
    db.close();
    return db;
  },
  corrupt: (options) => {
    const db = openDatabase(options);
    db.commit([commit({ events: [draft(9, 'raised')] })]);
    breakUnderneath(db, options.path);
    return db;
  },
  full: (options) => {
    const db = openDatabase(options);
    db.commit([commit({ events: [draft(9, 'raised')] })]);
    fill(db);
    return db;
  },
};

/** What the office is told of the file that was moved aside. */
const LOST = {
  ...{ fromSeq: 0, toSeq: 0, what: 'events of an earlier store', count: 0 },
  why: 'the database was damaged, lost or older',
};

const EXPECTED: Record<string, Record<string, unknown>> = {
  new: { commit: 1, outbox: 0, gaps: [], trips: [], ordinals: [null], open: null, stats: 0 },
  reopened: { commit: 2, outbox: 1, gaps: [], trips: [], ordinals: [null], open: null, stats: 1 },
  closed: Object.fromEntries(
    Object.keys(METHODS).map((name) => [name, name === 'close' || name === 'maintain' ? undefined : 'store-closed']),
  ),
  // The alert had no place in a list of open alerts, so nothing is raised anew.
  corrupt: { commit: 1, outbox: 0, gaps: [LOST], trips: [], ordinals: [null], open: null, stats: 0 },
  full: { commit: 'store-full', outbox: 1, gaps: [], trips: [], ordinals: [null], open: null, stats: 1 },
};

describe.each(Object.keys(STATES))('a database that is %s', (state) => {
  test.each(Object.keys(METHODS))('%s', (method) => {
    const db = STATES[state]!(optionsIn(tempDir()));
    let result: unknown;
    const code = codeOf(() => {
      result = METHODS[method]!(db);
    });
    expect(code ?? result).toEqual(EXPECTED[state]![method]);
    if (state !== 'closed' && method !== 'close') expect(codeOf(() => db.stats())).toBeNull();
  });
});

describe('a full disk', () => {
  test('commits fail with store-full and give no number; when there is room again the next one works', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    db.commit([commit({ events: [draft(1, 'raised')] })]);
    fill(db);
    const large = commit({ events: [draft(2, 'raised', { advice: 'x'.repeat(9_000) })], history: minute(0, 50) });
    for (let n = 0; n < 3; n++) expect(codeOf(() => db.commit([large]))).toBe('store-full');
    expect(db.outbox(0, 10).map((e) => e.seq)).toEqual([1]);
    db.connection.pragma('max_page_count = 10000');
    expect(db.commit([large])[0]?.[0]?.seq).toBe(2);
    expect(db.connection.prepare('SELECT count(*) AS n FROM history').get()).toEqual({ n: 50 });
  });

  test('history gives way to events', () => {
    const db = openDatabase(optionsIn(tempDir()));
    for (let n = 0; n < 50; n++) db.commit([commit({ history: minute(n * 60_000, 100) })]);
    fill(db);
    let seq = 0;
    for (let n = 0; n < 20; n++) {
      const [[event] = []] = db.commit([commit({ events: [draft(n, 'raised', { advice: 'x'.repeat(3_000) })] })]);
      seq = event?.seq ?? 0;
    }
    expect(seq).toBe(20);
    expect(db.connection.prepare('SELECT min(t) > 0 AS oldest_gone FROM history').get()).toEqual({ oldest_gone: 1 });
  });
});
