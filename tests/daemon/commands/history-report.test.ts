import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import type { StoreDatabase } from '../../../adapters/store/database.js';
import { EVERYTHING, StoreReader } from '../../../adapters/store/reader.js';
import { gatherStore } from '../../../daemon/commands/history-gather.js';
import type { ReportData } from '../../../report/data.js';
import type { Gathered } from '../../../report/gathered.js';
import { plainSql } from '../../adapters/store/files.js';
import {
  brakeApplication,
  commit,
  DAY_MS,
  draft,
  HOUR_MS,
  historyRow,
  MINUTE_MS,
  openDatabase,
  openDraft,
  optionsIn,
  tempDir,
  trip,
  ZERO_MS,
} from '../../adapters/store/helpers.js';
import { replayHere, SHIFT, TRUCK, temp } from './helpers.js';
import { history } from './history-helpers.js';

function reportIn(path: string): ReportData {
  const json = /<script type="application\/json" id="data">([^<]*)<\/script>/.exec(readFileSync(path, 'utf8'))![1]!;
  return JSON.parse(json) as ReportData;
}

describe('the demonstration shift out of its database', () => {
  const path = temp('shift.db');
  let replayed: ReportData;
  let told: ReportData;
  beforeAll(async () => {
    const html = temp('replay.html');
    expect((await replayHere([SHIFT], { store: path, report: html })).code).toBe(0);
    replayed = reportIn(html);
    const out = temp('history.html');
    const { code, err } = await history([], { store: [path], config: TRUCK, report: out });
    expect([code, err]).toEqual([0, expect.stringMatching(/^.*history\.html: \d+ KB, 10 alerts\n$/)]);
    told = reportIn(out);
  }, 60_000);

  it('tells the same alerts with the same changes, and says that it has minutes only', () => {
    expect(told.glance.alerts).toEqual(replayed.glance.alerts);
    const changes = ({ alerts }: ReportData): unknown[] => alerts.map(({ id, changes }) => [id, changes]);
    expect(changes(told)).toEqual(changes(replayed));
    expect(told.alerts.map(({ advice, judged }) => [advice, judged])).toEqual(
      replayed.alerts.map(({ advice, judged }) => [advice, judged]),
    );
    expect([told.about.fine, replayed.about.fine]).toEqual([false, true]);
    expect(told.about).toMatchObject({ truck: 'T-1042', sources: ['shift.db'], frames: null, synced: true });
  });

  it('tells every brake application, leak test, cycle and ended trip', () => {
    const { applications } = told.brakes!;
    expect(applications).toEqual(replayed.brakes!.applications);
    const plain = (tests: NonNullable<ReportData['air']>['tests']): unknown[] => tests.map(({ plot, ...test }) => test);
    expect(plain(told.air!.tests)).toEqual(plain(replayed.air!.tests));
    expect(told.air!.cycles).toEqual(replayed.air!.cycles);
    expect(told.trips).toEqual(replayed.trips.filter(({ provisional }) => !provisional));
  });

  it('draws the last reading of each minute, with its least and greatest', () => {
    const axle = told.tires!.axles.find(({ place }) => place.includes('2') && place.includes('tractor'))!;
    const rows = plainSql(
      path,
      "SELECT t, min, max, last FROM readings WHERE subject = 'tractor/2/left/outer' AND quantity = 'pressure' ORDER BY t",
    );
    const line = axle.pressures.lines.find(({ v }) => v.length === rows.length)!;
    expect(line.low).toBeDefined();
    expect(told.glance.speed!.v.length).toBeGreaterThan(100);
  });

  it('of one rule has those alerts alone, and says so', async () => {
    const out = temp('one.html');
    await history([], { store: [path], report: out, rule: ['air-low'] });
    const one = reportIn(out);
    expect(one.glance.alerts.map(({ rule }) => rule)).toEqual(['air-low']);
    expect(one.notes).toContain('Only alerts of air-low are told.');
    expect(one.trips).toHaveLength(1);
  });

  it('of a part of the time has what was in it', async () => {
    const out = temp('part.html');
    await history([], { store: [path], report: out, from: '2026-03-02T14:00', to: '2026-03-02T14:30' });
    const part = reportIn(out);
    expect([part.fromMs, part.lengthS]).toEqual([Date.parse('2026-03-02T14:00Z'), 1800]);
    const seqs = plainSql(
      path,
      "SELECT DISTINCT alert FROM alert_events WHERE at >= '2026-03-02T14:00' AND at < '2026-03-02T14:30'",
    );
    expect(part.glance.alerts.map(({ id }) => id).sort()).toEqual(seqs.map(({ alert }) => alert).sort());
    expect(part.brakes!.applications.s.every((s) => s >= 0 && s < 1800)).toBe(true);
  });
});

/** A database that is filled by hand, and what is gathered of it. */
function gathered(fill: (db: StoreDatabase) => void, span: Partial<typeof EVERYTHING> = {}): Gathered {
  const options = optionsIn(tempDir(), { keepMs: 400 * DAY_MS });
  const db = openDatabase(options);
  fill(db);
  db.close();
  const reader = new StoreReader(options.path);
  try {
    const wanted = { ...EVERYTHING, ...span };
    return gatherStore(reader, { name: 'x.db', config: null, wanted, span: wanted, notes: [] });
  } finally {
    reader.close();
  }
}

/** Minutes from … to, but for some. */
const minutes = (from: number, to: number, without: readonly number[] = []) =>
  Array.from({ length: to - from }, (_, n) => from + n)
    .filter((n) => !without.includes(n))
    .map((n) => historyRow(n * MINUTE_MS, { subject: 'tractor', quantity: 'speed' }));

const at = (minute: number): number => ZERO_MS + minute * MINUTE_MS;

describe('what was heard, as far as minutes and trips tell', () => {
  const ended = (more: object = {}) => trip(1, { startAt: 0, endAt: 60 * MINUTE_MS, gapS: 0, ...more });

  it('a hole in a trip of which silence is told is a gap; it is not joined over', () => {
    const { gaps } = gathered((db) =>
      db.commit([commit({ history: minutes(0, 60, [20, 21, 22]), trip: ended({ gapS: 185 }) })]),
    );
    expect(gaps).toEqual([{ fromMs: at(20), toMs: at(23) }]);
  });

  it('one missing minute is none: a minute has no fixed place', () => {
    const { gaps } = gathered((db) =>
      db.commit([commit({ history: minutes(0, 60, [20]), trip: ended({ gapS: 70 }) })]),
    );
    expect(gaps).toEqual([]);
  });

  it('minutes that were deleted, or without good readings on a bus that was heard, are none', () => {
    const { gaps } = gathered((db) => {
      db.commit([commit({ history: minutes(30, 60, [40, 41, 42]), trip: ended() })]);
    });
    expect(gaps).toEqual([]);
  });

  it('between two runs of the program that share a trip nothing was heard', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ history: minutes(0, 20), trip: ended({ provisional: true, endAt: 20 * MINUTE_MS }) })]);
    first.close();
    const again = openDatabase({ ...options, run: { zeroWallMs: at(30), synced: false } });
    const rest = trip(1, { startAt: -30 * MINUTE_MS, endAt: 20 * MINUTE_MS, gapS: 0 });
    again.commit([commit({ t: 20 * MINUTE_MS, history: minutes(0, 20), trip: rest })]);
    again.close();
    const reader = new StoreReader(options.path);
    const all = gatherStore(reader, { name: 'x.db', config: null, wanted: EVERYTHING, span: EVERYTHING, notes: [] });
    reader.close();
    expect(all.gaps).toEqual([{ fromMs: at(20), toMs: at(30) }]);
    expect(all.runs.map(({ fromMs, toMs, synced }) => [fromMs, toMs, synced])).toEqual([
      [at(0), at(20), true],
      [at(0), at(50), false],
    ]);
    expect(all.trips.map(({ startMs, endMs }) => [startMs, endMs])).toEqual([[at(0), at(50)]]);
  });

  it('it stood from the end of a trip until it was heard again', () => {
    const { life } = gathered((db) =>
      db.commit([
        commit({ history: [...minutes(0, 60), ...minutes(90, 120)], trip: ended({ endAt: 59.5 * MINUTE_MS }) }),
      ]),
    );
    expect(life).toEqual([
      { atMs: at(59.5), state: 'parked' },
      { atMs: at(90), state: 'awake' },
    ]);
  });

  it('of a trip whose end was not seen nobody knows', () => {
    const { life } = gathered((db) =>
      db.commit([commit({ history: minutes(0, 60), trip: ended({ provisional: true }) })]),
    );
    expect(life).toEqual([]);
  });
});

describe('what is gathered', () => {
  it('a run with another configuration from some moment on is two', () => {
    const { runs } = gathered((db) => {
      db.commit([commit({ events: [draft(1, 'raised')], history: minutes(0, 10) })]);
      const by = { config: 'aaaa0000', version: '0.2.0' };
      db.commit([commit({ t: 5 * MINUTE_MS, by, events: [draft(1, 'worse', { t: 5 * MINUTE_MS })] })]);
    });
    expect(runs).toEqual([
      { fromMs: at(0), toMs: at(5), synced: true, config: '9c1e44d0', version: '0.1.0' },
      { fromMs: at(5), toMs: at(10), synced: true, config: 'aaaa0000', version: '0.2.0' },
    ]);
  });

  it('of alerts that are asked for all events, also those of lesser urgency; of others none', () => {
    const span = { urgencies: ['next-stop', 'pull-over'] as const };
    const { events } = gathered((db) => {
      db.commit([commit({ events: [draft(1, 'raised'), draft(2, 'raised')] })]);
      db.commit([
        commit({ t: 2 * MINUTE_MS, events: [draft(2, 'worse', { t: 2 * MINUTE_MS, urgency: 'next-stop' })] }),
      ]);
    }, span);
    expect(events.map(({ atMs, draft: { alert, change } }) => [atMs, alert, change])).toEqual([
      [at(1), 2, 'raised'],
      [at(2), 2, 'worse'],
    ]);
  });

  it('records as they were stored, and what the last list of open alerts says', () => {
    const mark = { subject: 'tractor/2/left/outer', what: 'sensor-bad', who: 'J. Doe', untilMs: at(999) } as const;
    const muted = [
      { rule: 'duals-unequal', subject: 'tractor/2/left/pair', urgency: 'plan', by: 'tire-losing-air' },
    ] as const;
    const all = gathered((db) => {
      const open = { ...openDraft([], 2 * MINUTE_MS), muted: [...muted], notJudged: [mark] };
      db.commit([commit({ t: 2 * MINUTE_MS, open, records: [brakeApplication()], history: minutes(0, 10) })]);
    });
    expect(all.records).toEqual([{ startMs: ZERO_MS + 10_000, endMs: ZERO_MS + 14_000, record: brakeApplication() }]);
    expect(all.muted).toEqual([{ fromMs: at(2), toMs: at(10), ...muted[0] }]);
    expect([all.notJudged, all.trailer, all.fleet]).toEqual([[mark], 'TR-77', 'not known']);
  });

  it('the last seven days where no begin is asked for, and it says so', async () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    const late = 9 * DAY_MS + HOUR_MS;
    db.commit([
      commit({ events: [draft(1, 'raised')] }),
      commit({ t: late, events: [draft(2, 'raised', { t: late, rule: 'tire-hot' })] }),
    ]);
    db.close();
    const out = temp('week.html');
    const { code, err } = await history([], { store: [options.path], report: out });
    expect([code, err]).toEqual([
      0,
      expect.stringMatching(/: the last 7 days; --from, --to and --last take another time\n/),
    ]);
    const week = reportIn(out);
    expect(week.glance.alerts.map(({ rule }) => rule)).toEqual(['tire-hot']);
    expect(week.notes[0]).toBe(
      'Only the last 7 days are told: from 2026-03-04 09:00 UTC on. The database begins with 2026-03-02 08:00 UTC.',
    );
    await history([], { store: [options.path], report: out, from: '2026-03-01' });
    expect(reportIn(out).glance.alerts).toHaveLength(2);
  });
});
