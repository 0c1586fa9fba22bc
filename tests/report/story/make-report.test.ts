import { describe, expect, it } from 'vitest';
import type { ReportData } from '../../../report/data.js';
import type { Gathered } from '../../../report/gathered.js';
import { MOST_ALERTS, makeReport } from '../../../report/story/make-report.js';
import { truckOf } from '../../support/truck-file.js';
import { byMinute, event, run, sample, text, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';
const report = (gathered: Gathered): ReportData => makeReport(gathered, { version: '1.2.3' });

/** A tire that loses 10 kPa a minute from minute 60 on, until it is 300 kPa down; all others as they should be. */
function leak(): Gathered {
  const gathered = run(180, truckOf());
  for (const tire of [
    'tractor/2/left/outer',
    'tractor/2/left/inner',
    'tractor/2/right/inner',
    'tractor/2/right/outer',
  ]) {
    const lost = (s: number): number => (tire === TIRE ? Math.min(300, Math.max(0, (s - 3600) / 6)) : 0);
    sample(gathered, tire, 'pressure', 10, (s) => Math.round((690 - lost(s)) / 4) * 4);
    sample(gathered, tire, 'temperature', 10, () => 18);
  }
  sample(gathered, 'tractor', 'speed', 1, () => 80);
  byMinute(gathered, 'tractor', 'speed', () => [80, 80, 80]);
  gathered.events = [
    event('T.s.1', 'tire-losing-air', TIRE, [3780, 'raised', 'next-stop'], {
      measured: {
        quantity: 'leak rate',
        window: 'steady',
        value: 10,
        low: 9,
        high: 11,
        limit: 1.75,
        unit: 'kPa/min',
        quality: 'good',
      },
      evidence: {
        quantity: 'cold pressure',
        unit: 'kPa',
        points: [
          [300_000, 690],
          [0, 660],
        ],
      },
      forecast: { what: '80 % of cold pressure', inMs: 600_000, fromMs: 500_000, toMs: 700_000 },
    }),
    event('T.s.2', 'tire-underinflated', TIRE, [4700, 'raised', 'next-stop'], {
      explainedBy: 'T.s.1',
      measured: { quantity: 'cold pressure', value: 500, limit: 551.6, unit: 'kPa', quality: 'good' },
    }),
    event('T.s.1', 'tire-losing-air', TIRE, [7000, 'taken', 'next-stop'], { who: 'Dana', note: 'van is on its way' }),
    event('T.s.1', 'tire-losing-air', TIRE, [9000, 'closed', 'next-stop'], { reason: 'said-repaired', who: 'Dana' }),
  ];
  return gathered;
}

describe('a report', () => {
  it('is the same for the same data, and survives JSON', () => {
    const made = report(leak());
    expect(JSON.parse(JSON.stringify(made))).toEqual(made);
    expect(JSON.stringify(report(leak()))).toBe(JSON.stringify(made));
  });

  it('tells each alert with what was said of it, and how it ended', () => {
    const [losing, low] = report(leak()).alerts;
    expect(losing).toMatchObject({
      id: 'T.s.1',
      cause: null,
      what: 'losing air',
      place: 'tractor axle 2, left outer tire',
      worst: 'next-stop',
      fromS: 3780,
      toS: 9000,
      end: 'closed, not cleared: somebody said that it was repaired',
      advice: 'next-stop advice',
    });
    expect(losing!.changes.map(({ s, change, words, who, note }) => [s, change, words, who, note])).toEqual([
      [
        3780,
        'raised',
        'leak rate 10.0 kPa/min (limit 1.8 kPa/min); 80 % of cold pressure expected in 10 min',
        null,
        null,
      ],
      [7000, 'taken', '', 'Dana', 'van is on its way'],
      [9000, 'closed', 'somebody said that it was repaired', 'Dana', null],
    ]);
    expect(low).toMatchObject({ id: 'T.s.2', cause: 'T.s.1', toS: null, end: 'still open where these data end' });
    expect(low!.checks.length).toBeGreaterThan(0);
    expect(low!.judged.map(({ name }) => name)).toContain('next-stop');
  });

  it('says what judged it, with how sure that was', () => {
    const said = report(leak()).alerts[0]!.saw.map(text);
    expect(said[0]).toBe(
      'At <3780> it was judged by its leak rate: 10.0 kPa/min (between 9.0 kPa/min and 11.0 kPa/min); the limit was 1.8 kPa/min.',
    );
  });

  it('has an alert in the units that the truck file asks for, and in SI where there is none', () => {
    const gathered = leak();
    gathered.config = { ...gathered.config!, show: { pressure: 'psi', temperature: '°F', position: 'exact' } };
    expect(report(gathered).alerts[0]!.changes[0]!.words).toContain('leak rate 1.5 psi/min');
    expect(report(gathered).about.show).toEqual({ pressure: 'psi', temperature: '°F' });
    gathered.config = null;
    expect(report(gathered).about.show).toEqual({ pressure: 'kPa', temperature: '°C' });
  });

  it('draws the slope through the readings that it was found in, and the forecast', () => {
    const plot = report(leak()).alerts[0]!.plots[0]!;
    const slope = plot.lines.find(({ label }) => label === 'slope of 10.0 kPa/min')!;
    // 690 kPa at second 3600, 10 kPa a minute.
    for (const [i, s] of slope.s.entries()) expect(slope.v[i]! - (690 - (s - 3600) / 6)).toBeCloseTo(0, -1);
    expect(slope.s.at(-1)).toBe(3780);
    const forecast = plot.lines.find(({ label }) => label === 'forecast')!;
    // 80 % of 100 psi
    expect([forecast.s, forecast.v.at(-1)]).toEqual([[3780, 4380], 551.6]);
  });

  it('draws a slope by minutes only through what lies on it', () => {
    const gathered = run(120, truckOf());
    const at = (minute: number): number => 690 - 20 * Math.max(0, Math.min(10, minute - 60));
    byMinute(gathered, TIRE, 'pressure', (minute) => [at(minute + 1), at(minute), at(minute + 1)]);
    byMinute(gathered, TIRE, 'temperature', () => [18, 18, 18]);
    const measured = { quantity: 'leak rate', window: 'rapid', value: 20, unit: 'kPa/min', quality: 'good' } as const;
    const evidence = {
      quantity: 'cold pressure',
      unit: 'kPa',
      points: [
        [600_000, 690],
        [0, 610],
      ] as [number, number][],
    };
    gathered.events = [event('a', 'tire-losing-air', TIRE, [3840, 'raised', 'pull-over'], { measured, evidence })];
    const slope = report(gathered).alerts[0]!.plots[0]!.lines.find(({ label }) => label.startsWith('slope'))!;
    // The ten minutes of evidence reach back to second 3240; it fell from 3600 on.
    expect(slope.s[0]).toBeGreaterThanOrEqual(3570);
    expect(slope.v[0]!).toBeLessThan(700);
  });

  it('sums up what a tire lost beyond a harmless rate, as the rule judges it', () => {
    const plot = report(leak()).alerts[0]!.plots.find(({ title }) => title === 'Air lost beyond a harmless rate')!;
    const steady = plot.lines[0]!;
    // Of 10 kPa a minute 1.75 are harmless: 49.5 kPa in the six minutes to second 3960, less than a step of the sensor off.
    expect(steady.v[steady.s.indexOf(3960)]).toBeGreaterThan(44);
    expect(steady.v[steady.s.indexOf(3960)]).toBeLessThan(54);
    expect(steady.v[steady.s.indexOf(3500)]).toBe(0);
    expect(plot.limits.map(({ kind, urgency, value }) => [kind, urgency, value])).toEqual([
      ['raise', 'next-stop', 12],
      ['clear', 'next-stop', 4],
      ['raise', 'pull-over', 7],
      ['clear', 'pull-over', 4],
    ]);
  });

  it('shows the later changes of a long alert in plots of their own', () => {
    const gathered = run(600, truckOf());
    sample(gathered, TIRE, 'pressure', 10, () => 600);
    const changes = [
      [3600, 'raised', 'plan'],
      [18_000, 'worse', 'next-stop'],
      [32_400, 'cleared', 'next-stop'],
    ] as const;
    gathered.events = changes.map((change) => event('a', 'tire-underinflated', TIRE, change));
    const { plots, saw } = report(gathered).alerts[0]!;
    expect(plots.map(({ title, fromS, toS }) => [title, fromS, toS])).toEqual([
      ['Pressure: tractor axle 2, left outer tire', 2700, 4200],
      ['Pressure: tractor axle 2, left outer tire, when it got worse', 16_800, 18_600],
      ['Pressure: tractor axle 2, left outer tire, when it cleared', 31_200, 33_000],
    ]);
    expect(saw).toHaveLength(1);
  });

  it('of what was raised before the data says so', () => {
    const gathered = run(60, truckOf());
    gathered.events = [
      event('a', 'tire-underinflated', TIRE, [600, 'worse', 'pull-over'], { was: 'plan', sinceAgoMs: 7_200_000 }),
    ];
    const [alert] = report(gathered).alerts;
    expect(alert!.fromS).toBe(0);
    expect(text(alert!.saw[0]!)).toBe('It was raised 2 h before <600>, and its raise is not among these data.');
  });

  it('tells everything about a recording of which nothing is known', () => {
    const bare = report({ ...run(0), runs: [], truck: 'T-9' });
    expect(bare).toMatchObject({
      lengthS: 0,
      alerts: [],
      tires: null,
      brakes: null,
      air: null,
      trips: [],
      about: { synced: false, fine: false },
    });
  });
});

describe('what a reader must know of the data', () => {
  it('a clock that was not known to be right, minutes only, no truck file, several configurations', () => {
    const gathered = leak();
    expect(report(gathered).notes).toEqual([]);
    expect(report(gathered).about).toMatchObject({ synced: true, fine: true, configs: ['abcdef01'], version: '1.2.3' });
    const { runs, minutes } = gathered;
    const poor = report({
      ...gathered,
      notes: ['3 lines were no CAN frames.'],
      config: null,
      samples: new Map(),
      minutes,
      runs: [...runs, { ...runs[0]!, synced: false, config: '12345678' }, runs[0]!],
    });
    expect(poor.about).toMatchObject({ synced: false, fine: false, configs: ['abcdef01', '12345678'] });
    expect(poor.notes[0]).toBe('3 lines were no CAN frames.');
    for (const word of ['clock', 'minutes', 'truck file', 'configurations'])
      expect(poor.notes.filter((note) => note.includes(word)).length, word).toBeGreaterThan(0);
  });

  it('alerts that are too many are counted, and all of them are at a glance', () => {
    const gathered = leak();
    const many = Array.from({ length: 70 }, (_, i) => event(`m${i}`, 'tire-hot', TIRE, [100 + i, 'raised', 'plan']));
    gathered.events = [...many, ...gathered.events];
    const made = report(gathered);
    expect([made.alerts.length, made.alertsLeftOut, made.glance.alerts.length]).toEqual([MOST_ALERTS, 12, 72]);
    // The worst are among those that are told.
    expect(made.alerts.map(({ id }) => id)).toContain('T.s.1');
    expect(made.notes.join(' ')).toContain('12 alerts');
  });

  it('trips, gaps, what was withheld and why, sensors that were called bad', () => {
    const gathered = leak();
    const span = { fromMs: ZERO_MS + 60_000, toMs: ZERO_MS + 900_000 };
    gathered.gaps = [span];
    gathered.muted = [
      { ...span, rule: 'duals-unequal', subject: 'tractor/2/left/pair', urgency: 'plan', by: 'tire-losing-air' },
    ];
    gathered.notJudged = [{ subject: TIRE, what: 'sensor-bad', who: 'Dana', untilMs: ZERO_MS + 9e9 }];
    gathered.trips = [
      {
        startMs: ZERO_MS,
        endMs: ZERO_MS + 600_000,
        record: {
          trip: 7,
          provisional: true,
          startAt: 0,
          endAt: 600_000,
          distanceKm: 9.5,
          alerts: 2,
          gapS: 3,
          notJudged: [],
          summary: null,
        },
      },
    ];
    const made = report(gathered);
    expect(made.gaps).toEqual([{ fromS: 60, toS: 900, what: 'nothing heard on any bus for 14 min' }]);
    expect(made.muted[0]).toMatchObject({ place: 'tractor axle 2, left dual pair', fromS: 60, toS: 900 });
    expect(made.muted[0]!.why).toContain('losing air');
    expect(made.notJudged).toEqual([
      { subject: TIRE, place: 'tractor axle 2, left outer tire', who: 'Dana', untilMs: ZERO_MS + 9e9 },
    ]);
    expect(made.trips[0]).toMatchObject({
      trip: 7,
      toS: 600,
      provisional: true,
      distanceKm: 9.5,
      movingS: null,
      hottest: null,
    });
  });
});

describe('the tires of a whole shift', () => {
  it('are one plot for each axle and one row for each tire', () => {
    const gathered = leak();
    // The right inner sensor is silent for ten minutes.
    sample(gathered, 'tractor/2/right/inner', 'pressure', 10, (s) => (s < 1800 || s >= 2400 ? 690 : null));
    const { axles, table } = report(gathered).tires!;
    expect(axles.map(({ place }) => place)).toEqual(['tractor axle 2']);
    expect(axles[0]!.pressures.lines).toHaveLength(4);
    expect(axles[0]!.pressures.limits.map(({ value }) => value)).toEqual([689.5]);
    expect(table).toHaveLength(18);
    const of = (subject: string) => table.find((row) => row.subject === subject);
    // The same air at 18 °C: what is sent is cold-equivalent. 690 − 300 kPa is 390, in steps of 4: 392.
    expect(of(TIRE)).toMatchObject({
      targetKpa: 689.5,
      firstKpa: 692,
      lastKpa: 392,
      hottestC: 18,
      readings: 1081,
      silentS: 0,
    });
    // From the last reading before to the first one after.
    expect(of('tractor/2/right/inner')).toMatchObject({ silentS: 610 });
    // Never heard: silent for as long as the truck moved.
    expect(of('tractor/1/left/single')).toMatchObject({ firstKpa: null, readings: 0, silentS: 10_800 });
  });
});
