import { describe, expect, test } from 'vitest';
import { MAX_TRIPS } from '../../../adapters/store/writer.js';
import type { TripSummary } from '../../../daemon/truck/trip-summary.js';
import {
  airCycle,
  airTest,
  BY,
  brakeApplication,
  breakUnderneath,
  commit,
  DAY_MS,
  HOUR_MS,
  historyRow,
  openDatabase,
  optionsIn,
  startCheck,
  tempDir,
  trip,
  ZERO_MS,
} from './helpers.js';

const count = (db: ReturnType<typeof openDatabase>, where = '1'): number =>
  db.connection.prepare<[], number>(`SELECT count(*) FROM records WHERE ${where}`).pluck().get()!;

describe('records', () => {
  test('every kind is there with its wall times and values', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const records = [brakeApplication(), airTest(), airCycle(), startCheck(7)];
    db.commit([commit({ records })]);
    const all = (sql: string): unknown[] => db.connection.prepare(sql).all();
    expect(all('SELECT kind, subject, body, start_t, end_t, boot FROM records ORDER BY id')).toEqual(
      records.map(({ kind, subject, values, startAt, endAt }) => {
        return { kind, subject, body: JSON.stringify(values), start_t: startAt, end_t: endAt, boot: 1 };
      }),
    );
    expect(all('SELECT at, ended, synced, kind FROM truck_records LIMIT 1')).toEqual([
      { at: '2026-03-02T08:00:10.000Z', ended: '2026-03-02T08:00:14.000Z', synced: 1, kind: 'brake-application' },
    ]);
    expect(
      all('SELECT duration_s, peak_kpa, mean_kpa, told_by, qualifying, air_used_kpa FROM brake_applications'),
    ).toEqual([{ duration_s: 4, peak_kpa: 240, mean_kpa: 212.5, told_by: 'pedal', qualifying: 1, air_used_kpa: 12 }]);
    expect(all('SELECT at, state, circuit, kpa_per_min, limit_kpa_per_min, thirds FROM air_tests')).toEqual([
      {
        at: '2026-03-02T08:01:40.000Z',
        state: 'released',
        circuit: 'air/primary',
        kpa_per_min: 16,
        limit_kpa_per_min: 20.7,
        thirds: '[16,16,16]',
      },
    ]);
    expect(all('SELECT cut_in_kpa, cut_out_kpa, pumping_s, revolutions_per_100_kpa AS revs FROM air_cycles')).toEqual([
      { cut_in_kpa: 700, cut_out_kpa: 860, pumping_s: 32, revs: 410 },
    ]);
    expect(all("SELECT trip, why, stood_s, air ->> '$.lowAirS' AS low FROM start_checks")).toEqual([
      { trip: 7, why: 'complete', stood_s: 41_200, low: 21 },
    ]);
  });

  test('past their half the oldest go with the history of their time, start checks stay', () => {
    const db = openDatabase(optionsIn(tempDir(), { maxBytes: 2 * 1024 * 1024 }));
    const application = (n: number) => ({ ...brakeApplication(), startAt: n * 1000, endAt: n * 1000 + 500 });
    db.commit([commit({ records: [startCheck(1)] })]);
    for (let n = 0; n < 6000; n += 50) {
      const records = Array.from({ length: 50 }, (_, k) => application(n + k));
      const history = [historyRow(n * 1000, { subject: `x/${n % 7}` })];
      db.commit([commit({ t: 60_000 * (n + 1), records, history })]);
      db.maintain();
    }
    const kept = count(db, "kind = 'brake-application'");
    expect(kept).toBeGreaterThan(500);
    expect(kept).toBeLessThan(4000);
    expect(count(db, "kind = 'start-check'")).toBe(1);
    const min = (sql: string): number => db.connection.prepare<[], number>(sql).pluck().get()!;
    const oldest = min("SELECT min(end_t) FROM records WHERE kind <> 'start-check'");
    // What is left is the newest, and history reaches as far back.
    expect(min('SELECT max(end_t) FROM records')).toBe(5_999_500);
    expect(kept).toBe((5_999_500 - oldest) / 1000 + 1);
    expect(Math.abs(min('SELECT min(t) FROM history') - oldest)).toBeLessThan(51_000);
    expect(db.stats().bytes).toBeLessThanOrEqual(2 * 1024 * 1024);
  });

  test('past keepMs they go, start checks only when they have been told', () => {
    const keepMs = 10 * DAY_MS;
    const options = optionsIn(tempDir(), { keepMs });
    const first = openDatabase(options);
    first.commit([commit({ records: [brakeApplication(), startCheck(1), startCheck(2)] })]);
    first.confirmCheck({ boot: 1, trip: 1 });
    first.close();
    const db = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 11 * DAY_MS, synced: true } });
    db.commit([commit({ t: 0, records: [airCycle()] })]);
    db.maintain();
    expect(count(db)).toBe(4);
    for (let hour = 1; hour < 4; hour++) {
      db.commit([commit({ t: hour * HOUR_MS })]);
      db.maintain();
    }
    expect(db.connection.prepare('SELECT kind FROM records ORDER BY id').pluck().all()).toEqual([
      'start-check',
      'air-cycle',
    ]);
    expect(db.checks(10)).toMatchObject([{ record: { values: { trip: 2 } } }]);
  });

  test('those of a run whose clock was not right stay', () => {
    const options = optionsIn(tempDir(), { keepMs: DAY_MS, run: { zeroWallMs: ZERO_MS, synced: false } });
    const first = openDatabase(options);
    first.commit([commit({ records: [brakeApplication()] })]);
    first.close();
    const db = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 9 * DAY_MS, synced: true } });
    for (const hour of [0, 1, 2, 3]) {
      db.commit([commit({ t: hour * HOUR_MS })]);
      db.maintain();
    }
    expect(count(db)).toBe(1);
  });

  test('a start that stored nothing but records keeps its run', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ records: [brakeApplication()] })]);
    first.close();
    const second = openDatabase(options);
    expect(second.connection.prepare('SELECT boot FROM runs').pluck().all()).toEqual([1, 2]);
    expect(second.connection.prepare('SELECT count(*) FROM brake_applications').pluck().get()).toBe(1);
  });
});

describe('start checks to be told', () => {
  test('come back whole, with who decided and when their run was, until they are confirmed', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const by = { config: '00c0ffee', version: '0.9.9' };
    db.commit([commit({ records: [startCheck(1)], by }), commit({ records: [brakeApplication(), startCheck(2)] })]);
    const known = { store: db.opened.store, boot: 1, run: { zeroWallMs: ZERO_MS, synced: true } };
    expect(db.checks(10)).toEqual([
      { ...known, record: startCheck(1), by },
      { ...known, record: startCheck(2), by: BY },
    ]);
    expect([db.checks(1).length, db.checks(-1), db.stats().trips]).toEqual([1, [], 2]);
    db.confirmCheck({ boot: 2, trip: 1 });
    db.confirmCheck({ boot: 1, trip: 1 });
    db.confirmCheck({ boot: 1, trip: 1 });
    expect(db.checks(10).map((check) => check.record.values.trip)).toEqual([2]);
    expect(count(db, "kind = 'start-check'")).toBe(2);
  });

  test('wait beside the trip of the same number', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([commit({ records: [startCheck(3)] }), commit({ trip: trip(3) })]);
    db.confirmTrip({ boot: 1, trip: 3 });
    expect([db.trips(10).length, db.checks(10).length]).toEqual([0, 1]);
  });

  test('beyond the limit the oldest goes first, and a gap of their own counts them', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit(Array.from({ length: MAX_TRIPS + 2 }, (_, n) => commit({ records: [startCheck(n + 1)] })));
    expect(db.checks(1)[0]?.record.values.trip).toBe(3);
    const gap = { fromSeq: 0, toSeq: 0, what: 'start checks', count: 2, why: 'more than 1000 waited' };
    expect(db.gaps()).toEqual([gap]);
  });

  test('a database that takes the place of a broken one begins without any', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    db.commit([commit({ records: [startCheck(1)] })]);
    breakUnderneath(db, options.path);
    db.commit([commit({ records: [startCheck(2)] })]);
    expect(db.checks(10)).toMatchObject([{ record: { values: { trip: 2 } }, store: db.opened.store }]);
  });
});

describe('the summary of a trip', () => {
  const summary: TripSummary = {
    durationS: 3600,
    movingS: 3000,
    engineS: 3500,
    distanceFrom: 'odometer',
    applications: { count: 12, qualifying: 3, hardestKpa: null },
    hottestTire: { subject: 'tractor/2/left/outer', celsius: 61.5 },
    lowestAir: { primaryKpa: 640, secondaryKpa: null },
    compressor: null,
    raised: { plan: 1, 'next-stop': 0, 'pull-over': 0 },
    silent: [],
  };

  test('comes back as it was given, also of a trip that is told after a restart', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ trip: trip(1, { summary }) })]);
    expect(first.connection.prepare("SELECT summary ->> '$.hottestTire.celsius' FROM trips").pluck().get()).toBe(61.5);
    first.close();
    expect(openDatabase(options).trips(10)).toMatchObject([{ record: { trip: 1, summary } }]);
  });

  test('of a trip that an earlier version began is none', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const { summary: _, ...earlier } = trip(1);
    db.commit([commit({ trip: earlier as ReturnType<typeof trip> })]);
    expect(db.trips(10)[0]!.record.summary).toBeNull();
  });
});
