import { describe, expect, test } from 'vitest';
import {
  commit,
  draft,
  historyRow,
  openAlert,
  openDatabase,
  openDraft,
  optionsIn,
  tempDir,
  trip,
  ZERO_MS,
} from './helpers.js';

describe('restart', () => {
  test('a new database has nothing to restore and is boot 1', () => {
    const { opened } = openDatabase(optionsIn(tempDir()));
    expect(opened).toMatchObject({ boot: 1, lastSeq: 0, restored: null, notes: [] });
  });

  test('the last state comes back with its time and the run it belongs to; boot counts starts', () => {
    const options = optionsIn(tempDir(), { run: { zeroWallMs: 1000, synced: false } });
    const first = openDatabase(options);
    first.commit([
      commit({ t: 5_000, state: '{"n":1}' }),
      commit({ t: 6_000, state: '{"n":2}' }),
      commit({ t: 7_000 }),
    ]);
    first.clock({ zeroWallMs: ZERO_MS, synced: true });
    first.close();
    const run = { zeroWallMs: ZERO_MS + 9, synced: false };
    const second = openDatabase({ ...options, run });
    const expected = { state: '{"n":2}', t: 6_000, run: { zeroWallMs: ZERO_MS, synced: true } };
    expect(second.opened).toMatchObject({ boot: 2, restored: expected });
    second.close();
    expect(openDatabase({ ...options, run }).opened).toMatchObject({ boot: 3, restored: expected });
  });

  test('open gives the list with ids, as of the last number before it', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    expect(first.open()).toBeNull();
    const open = openDraft([openAlert(1)]);
    first.commit([commit({ events: [draft(1, 'raised')], open })]);
    first.commit([commit({ events: [draft(1, 'unsure')] })]);
    first.close();
    const second = openDatabase(options);
    expect(second.open()).toEqual({
      store: first.opened.store,
      asOf: 1,
      alertIds: [`T-1042.${first.opened.store}.1`],
      causeIds: [null],
      open,
      run: options.run,
    });
  });

  test('an event says the run it happened in, by the best clock known for it', () => {
    const options = optionsIn(tempDir(), { run: { zeroWallMs: 0, synced: false } });
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')] })]);
    expect(first.outbox(0, 1)[0]?.run).toEqual({ zeroWallMs: 0, synced: false });
    first.clock({ zeroWallMs: ZERO_MS, synced: true });
    first.close();
    const second = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 5, synced: true } });
    second.commit([commit({ events: [draft(1, 'worse')] })]);
    expect(second.outbox(0, 9).map((e) => [e.boot, e.run.zeroWallMs])).toEqual([
      [1, ZERO_MS],
      [2, ZERO_MS + 5],
    ]);
  });

  test('history of one minute that comes in parts is one row; rows without numbers are left out and counted', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([commit({ history: [historyRow(0, { min: 5, max: 9, last: 7, count: 2 })] })]);
    db.commit([
      commit({
        history: [historyRow(0, { min: 4, max: 8, last: 6, count: 3 }), historyRow(60_000, { last: Number.NaN })],
      }),
    ]);
    expect(db.connection.prepare('SELECT t, min, max, last, count FROM history').all()).toEqual([
      { t: 0, min: 4, max: 9, last: 6, count: 5 },
    ]);
    expect(db.stats().droppedRows).toBe(1);
  });

  test('a provisional trip gives way to the final one, also after a restart', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    const begun = trip(3, { provisional: true, endAt: 900, distanceKm: null });
    first.commit([commit({ trip: begun }), commit({ trip: { ...begun, endAt: 1_900 } })]);
    first.close();
    const second = openDatabase(options);
    second.commit([commit({ trip: { ...begun, provisional: false, endAt: 2_000, distanceKm: 1.5 } })]);
    expect(second.connection.prepare('SELECT boot, trip, provisional, end_t, distance_km FROM trips').all()).toEqual([
      { boot: 2, trip: 3, provisional: 0, end_t: 2_000, distance_km: 1.5 },
    ]);
  });

  test('starts that store nothing leave no rows but are counted', () => {
    const options = optionsIn(tempDir());
    for (let n = 0; n < 20; n++) openDatabase(options).close();
    const last = openDatabase(options);
    expect(last.opened.boot).toBe(21);
    expect(last.connection.prepare('SELECT boot FROM runs').all()).toEqual([{ boot: 21 }]);
  });

  test('after close there is one file, without a log beside it', async () => {
    const directory = tempDir();
    const db = openDatabase(optionsIn(directory));
    db.commit([commit({ state: '1' })]);
    db.close();
    const { readdirSync } = await import('node:fs');
    expect(readdirSync(directory)).toEqual(['axlepost.db']);
  });
});
