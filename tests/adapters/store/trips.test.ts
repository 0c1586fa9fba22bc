import { describe, expect, test } from 'vitest';
import { MAX_TRIPS } from '../../../adapters/store/writer.js';
import type { Mark } from '../../../config/resolved.js';
import { BY, breakUnderneath, commit, draft, openDatabase, optionsIn, tempDir, trip, ZERO_MS } from './helpers.js';

const MARK: Mark = { subject: 'tractor/2/left/outer', what: 'sensor-bad', who: 'night shift', untilMs: ZERO_MS };

describe('trips to be told', () => {
  test('an ended trip comes back whole, with who decided and when its run was; once received it does not', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const by = { config: '00c0ffee', version: '0.9.9' };
    db.commit([commit({ trip: trip(1, { notJudged: [MARK] }), by }), commit({ trip: trip(2, { distanceKm: null }) })]);
    const known = { store: db.opened.store, boot: 1, run: { zeroWallMs: ZERO_MS, synced: true } };
    expect(db.trips(10)).toEqual([
      { ...known, record: trip(1, { notJudged: [MARK] }), by },
      { ...known, record: trip(2, { distanceKm: null }), by: BY },
    ]);
    expect(db.trips(1)).toHaveLength(1);
    expect(db.trips(-1)).toEqual([]);
    expect(db.stats().trips).toBe(2);
    db.confirmTrip({ boot: 1, trip: 1 });
    db.confirmTrip({ boot: 1, trip: 1 });
    expect(db.trips(10).map((each) => each.record.trip)).toEqual([2]);
    expect(db.connection.prepare('SELECT count(*) FROM trips').pluck().get()).toBe(2);
  });

  test('a provisional trip waits for its end, which a later run may bring', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ trip: trip(7, { provisional: true }) })]);
    expect(first.trips(10)).toEqual([]);
    first.close();
    const second = openDatabase(options);
    const ended = trip(7, { startAt: -7_200_000, endAt: -3_600_000 });
    second.commit([commit({ trip: ended })]);
    expect(second.trips(10)).toMatchObject([{ boot: 2, record: ended }]);
  });

  test('the same end twice waits once, and events are confirmed without it', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([commit({ trip: trip(1), events: [draft(1, 'raised')] }), commit({ trip: trip(1) })]);
    db.confirm(1);
    expect(db.stats()).toMatchObject({ outbox: 0, trips: 1 });
  });

  test('beyond the limit the oldest goes first, and one gap counts them', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const ended = Array.from({ length: MAX_TRIPS + 3 }, (_, n) => commit({ trip: trip(n + 1) }));
    db.commit(ended);
    expect(db.stats().trips).toBe(MAX_TRIPS);
    expect(db.trips(1)[0]?.record.trip).toBe(4);
    const gap = { fromSeq: 0, toSeq: 0, what: 'trips', count: 3, why: 'more than 1000 waited' };
    expect(db.gaps()).toEqual([gap]);
    db.confirmGap(gap);
    expect(db.gaps()).toEqual([]);
  });

  test('a database that takes the place of a broken one begins without any', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    db.commit([commit({ trip: trip(1) })]);
    breakUnderneath(db, options.path);
    db.commit([commit({ trip: trip(2) })]);
    expect(db.trips(10)).toMatchObject([{ record: { trip: 2 }, store: db.opened.store }]);
  });
});

describe('ordinals', () => {
  test('of alerts by id; null for what this database never named', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const [numbered = []] = db.commit([commit({ events: [draft(5, 'raised'), draft(9, 'raised')] })]);
    const ids = numbered.map((event) => event.alertId);
    expect(db.ordinals(['T-1042.elsewhere.1', ids[1]!, '', ids[0]!])).toEqual([null, 9, null, 5]);
    expect(db.ordinals([])).toEqual([]);
  });

  test('an id whose ordinal has become that of another alert is not known any more', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const [[first] = []] = db.commit([commit({ events: [draft(1, 'raised')] })]);
    const [[second] = []] = db.commit([commit({ events: [draft(1, 'raised', { subject: 'air/service' })] })]);
    expect(db.ordinals([first!.alertId, second!.alertId])).toEqual([null, 1]);
  });
});
