import { createHash } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import { tripSchema } from '../../../adapters/mqtt/trip-messages.js';
import { openFile } from '../../../adapters/store/connection.js';
import { MIGRATIONS, SCHEMA_VERSION } from '../../../adapters/store/schema.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { tripMessage } from '../../../daemon/alerts/trip-rendering.js';
import { BY, brakeApplication, commit, draft, openDatabase, optionsIn, tempDir, trip, ZERO_MS } from './helpers.js';
import { ID, STORE, schema1, schema2 } from './released.js';

describe('a database of an earlier release', () => {
  test('a released step is never edited', () => {
    const hash = (sql: string): string => createHash('sha256').update(sql).digest('hex').slice(0, 16);
    expect(MIGRATIONS.slice(0, 3).map(({ sql }) => hash(sql))).toEqual([
      'f51dcfbdc8edbc0a',
      '07adaefb1ff28275',
      '07b3a3db79aa4149',
    ]);
  });

  test('schema 1 becomes the present one and keeps everything', () => {
    const options = optionsIn(tempDir());
    schema1(options.path);
    const db = openDatabase(options);
    expect(db.opened).toMatchObject({
      store: STORE,
      boot: 4,
      lastSeq: 2,
      restored: { state: '{"what":"the rules know"}', t: 61_000, run: { zeroWallMs: ZERO_MS + 7_200_000 } },
      notes: [`${options.path}: schema version 1 became ${SCHEMA_VERSION}`],
    });
    expect(db.outbox(0, 10)).toMatchObject([{ seq: 2, boot: 3, alertId: ID, draft: { change: 'unsure' }, by: null }]);
    expect(db.gaps()).toHaveLength(1);
    expect(db.open()).toMatchObject({ asOf: 2, alertIds: [ID] });
    expect(db.ordinals([ID])).toEqual([4]);
    const all = (sql: string): unknown[] => db.connection.prepare(sql).all();
    expect(all('SELECT last, at FROM readings')).toEqual([{ last: 802, at: '2026-03-02T10:00:00.000Z' }]);
    expect(all('SELECT alert, change, config, version FROM alert_events')).toEqual([
      { alert: ID, change: 'raised', config: null, version: null },
      { alert: ID, change: 'unsure', config: null, version: null },
    ]);
    // What ended before anybody could be told of trips is not told now.
    expect(db.trips(10)).toEqual([]);
    expect(all('SELECT trip, provisional, config, not_judged FROM trips')).toEqual([
      { trip: 1, provisional: 0, config: null, not_judged: null },
      { trip: 2, provisional: 1, config: null, not_judged: null },
    ]);
  });

  test('and goes on: numbers, the open alert, the trip that was under way', () => {
    const options = optionsIn(tempDir());
    schema1(options.path);
    const db = openDatabase(options);
    const [events] = db.commit([
      commit({ events: [draft(4, 'sure')], state: '{"what":"more"}', trip: trip(2, { startAt: -9, endAt: -1 }) }),
    ]);
    expect(events).toMatchObject([{ seq: 3, alertId: ID, by: BY }]);
    expect(db.trips(10)).toMatchObject([{ boot: 4, record: { trip: 2 }, by: BY }]);
    db.close();
    expect(openDatabase(options).opened.restored?.state).toBe('{"what":"more"}');
  });

  test('schema 2 becomes the present one: trips that wait are told, without what they did not keep', () => {
    const options = optionsIn(tempDir());
    schema2(options.path);
    const db = openDatabase(options);
    expect(db.opened).toMatchObject({
      boot: 4,
      lastSeq: 2,
      restored: { state: '{"what":"the rules know"}' },
      notes: [`${options.path}: schema version 2 became ${SCHEMA_VERSION}`],
    });
    const [waiting, ...more] = db.trips(10);
    expect(more).toEqual([]);
    expect(waiting).toMatchObject({ boot: 2, record: { trip: 1, distanceKm: 12.5, summary: null }, by: BY });
    expect(tripSchema.parse(tripMessage(waiting!, { config: 'x' }))).toMatchObject({ trip: 1, distanceKm: 12.5 });
    const { record } = waiting!;
    db.confirmTrip({ boot: 2, trip: record.trip });
    expect([db.trips(10), db.checks(10)]).toEqual([[], []]);
    // The provisional one gives way to its end, as before; records are kept from now on.
    db.commit([commit({ trip: trip(2, { startAt: -9, endAt: -1 }), records: [brakeApplication()] })]);
    expect(db.connection.prepare('SELECT trip, provisional FROM trips ORDER BY trip').all()).toEqual([
      { trip: 1, provisional: 0 },
      { trip: 2, provisional: 0 },
    ]);
    expect(db.connection.prepare('SELECT count(*) FROM brake_applications').pluck().get()).toBe(1);
  });

  test('a step cut off in its middle leaves schema 1 with all of its rows', () => {
    const options = optionsIn(tempDir());
    schema1(options.path);
    // Each statement but the last has been done when the step fails.
    const cut = { ...MIGRATIONS[1]!, sql: `${MIGRATIONS[1]!.sql} SELECT 1 FROM nowhere;` };
    expect(() => openFile(options.path, [], [MIGRATIONS[0]!, cut])).toThrow('nowhere');
    const db = new Database(options.path);
    expect(db.pragma('user_version', { simple: true })).toBe(1);
    expect(db.prepare('SELECT count(*) FROM pragma_table_info(?)').pluck().get('events')).toBe(10);
    expect(db.prepare('SELECT count(*) FROM alert_events').pluck().get()).toBe(2);
    db.close();
    expect(openDatabase(options).opened).toMatchObject({ store: STORE, lastSeq: 2 });
  });
});
