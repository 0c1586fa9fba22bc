import { describe, expect, it } from 'vitest';
import fc from '../../support/property.js';
import { frameOf, Rig } from '../../support/rig.js';
import { printedSeed } from '../../support/seed.js';
import { Drive } from './drive.js';
import { type NaiveApplication, naiveApplications, type Told } from './naive-applications.js';

/** Which frame carries it, and in which steps. */
const WIRE = {
  pedal: { pgn: 61441, spn: 521, step: 0.4 },
  switch: { pgn: 65265, spn: 597, step: 1 },
  pressure: { pgn: 65274, spn: 116, step: 4 },
  demanded: { pgn: 61712, spn: 8484, step: 4 },
} as const;

/** The same series on the wire, through the program: its records. The engine speaks all the time. */
function applications(series: readonly Told[], untilMs: number): NaiveApplication[] {
  const frames = series.map(({ t, what, value }) => {
    const { pgn, spn } = WIRE[what];
    return frameOf(t, pgn, 11, { [spn]: value });
  });
  for (let t = 50; t < untilMs; t += 500) frames.push(frameOf(t, 61444, 0, { 190: 1200 }));
  // The sort is stable: of one millisecond the engine comes last.
  frames.sort((a, b) => a.t - b.t);
  const rig = new Rig().feed(frames).advance(untilMs);
  return rig.effects
    .flatMap(({ records }) => records)
    .filter((r) => r.kind === 'brake-application')
    .map(({ startAt, endAt, values }) => ({
      beganAt: startAt,
      endedAt: endAt,
      from: values.from,
      peakKpa: values.peakKpa,
      meanKpa: values.meanKpa,
      qualifying: values.qualifying,
    }));
}

const rounded = (list: readonly NaiveApplication[]): NaiveApplication[] =>
  list.map((a) => ({ ...a, meanKpa: a.meanKpa === null ? null : Number(a.meanKpa.toFixed(1)) }));

/** What one signal says over time; null: nothing for that long. */
const piece = <T>(values: readonly T[]) =>
  fc.record({
    ms: fc.integer({ min: 1, max: 60 }).map((n) => n * 100),
    value: fc.constantFrom<(T | null)[]>(...values, null),
  });

const signal = (what: Told['what'], everyMs: number, values: readonly number[]): fc.Arbitrary<Told[]> =>
  fc.oneof(
    { weight: 2, arbitrary: fc.constant<Told[]>([]) },
    {
      weight: 2,
      arbitrary: fc
        .record({
          phase: fc.integer({ min: 0, max: everyMs - 1 }),
          pieces: fc.array(piece(values), { minLength: 1, maxLength: 7 }),
        })
        .map(({ phase, pieces }) => {
          const told: Told[] = [];
          let from = phase;
          for (const { ms, value } of pieces) {
            for (let t = from; t < from + ms; t += everyMs) if (value !== null) told.push({ t, what, value });
            from += Math.ceil(ms / everyMs) * everyMs;
          }
          return told;
        }),
    },
  );

const series = fc
  .tuple(
    signal('pedal', 100, [0, 4.8, 5.2, 30]),
    signal('switch', 100, [0, 1]),
    signal('pressure', 1000, [0, 8, 12, 16, 20, 136, 140, 300]),
    signal('demanded', 500, [0, 8, 12, 20, 160]),
  )
  .map((all) => all.flat().sort((a, b) => a.t - b.t));

describe('brake applications against a second, naive implementation', () => {
  const seed = printedSeed('brake applications');

  it('the same begin, end, peak, mean and verdict for any pedal, switch and pressure', () => {
    const seen = { pedal: 0, switch: 0, pressure: 0, qualifying: 0, unknown: 0 };
    fc.assert(
      fc.property(series, (told) => {
        const untilMs = (Math.ceil((told.at(-1)?.t ?? 0) / 1000) + 15) * 1000;
        const expected = rounded(naiveApplications(told, untilMs));
        expect(applications(told, untilMs)).toEqual(expected);
        for (const { from, qualifying, peakKpa } of expected) {
          seen[from]++;
          if (qualifying) seen.qualifying++;
          if (peakKpa === null) seen.unknown++;
        }
      }),
      { seed, numRuns: 80 },
    );
    // Each kind must have been seen, or nothing was compared.
    expect(Math.min(...Object.values(seen))).toBeGreaterThan(0);
  }, 60_000);

  it('a series by hand: a stab between two B1, a long application, one that goes on in silence', () => {
    const told: Told[] = [];
    const pedal = (from: number, to: number, value: number): void => {
      for (let t = from; t < to; t += 100) told.push({ t, what: 'pedal', value });
    };
    const pressure = (t: number, value: number): void => void told.push({ t, what: 'pressure', value });
    pedal(0, 2100, 0);
    pedal(2100, 2900, 30);
    pedal(2900, 6000, 0);
    pedal(6000, 9000, 30);
    pedal(9000, 14_000, 0);
    pedal(14_000, 16_000, 30);
    for (let t = 0; t < 16_000; t += 1000) pressure(t, t >= 7000 && t <= 9000 ? 200 : t === 10_000 ? 240 : 0);
    told.sort((a, b) => a.t - b.t);
    const shared = { from: 'pedal' } as const;
    const expected: NaiveApplication[] = [
      { ...shared, beganAt: 2100, endedAt: 2900, peakKpa: 0, meanKpa: null, qualifying: false },
      // What B1 tells within 1.5 s of the end may be its peak; it is in no mean.
      { ...shared, beganAt: 6000, endedAt: 9000, peakKpa: 240, meanKpa: 133.3, qualifying: true },
      // The bus falls silent with the foot on the pedal.
      { ...shared, beganAt: 14_000, endedAt: 15_900, peakKpa: 0, meanKpa: 0, qualifying: false },
    ];
    expect(rounded(naiveApplications(told, 30_000))).toEqual(expected);
    expect(applications(told, 30_000)).toEqual(expected);
  });
});

describe('air used by an application in which the engine is cranked', () => {
  /** Parked, the engine off, 840 kPa; the sensors read a third of it while the starter turns. 12 kPa are used by the application. */
  function standing(): Drive {
    const d = new Drive();
    Object.assign(d.world, { rpm: 0, kmh: 0, parked: 1, primary: 840, secondary: 840 });
    return d.run(5);
  }

  const press = (d: Drive, seconds: number): void => {
    Object.assign(d.world, { pedal: 40, brakeKpa: 300 });
    d.run(seconds);
    Object.assign(d.world, { pedal: 0, brakeKpa: 0 });
  };

  const crank = (d: Drive, kpa: number): void => {
    Object.assign(d.world, { rpm: 190, primary: kpa / 3, secondary: kpa / 3 });
    d.run(3);
    Object.assign(d.world, { rpm: 700, primary: kpa, secondary: kpa });
  };

  const used = (d: Drive): (number | null)[] => {
    d.run(5);
    return d.recordsOf('brake-application').map(({ values }) => values.airUsedKpa);
  };

  it('the dip at its end is none that it used', () => {
    const d = standing();
    Object.assign(d.world, { pedal: 40, brakeKpa: 300 });
    d.run(3);
    Object.assign(d.world, { pedal: 0, brakeKpa: 0 });
    crank(d, 840);
    expect(used(d)).toEqual([null]);
  });

  it('nor is it known what there was where it begins in the dip, or shortly after', () => {
    const d = standing();
    Object.assign(d.world, { rpm: 190, primary: 276, secondary: 276 });
    d.run(1);
    Object.assign(d.world, { primary: 264, secondary: 264 });
    press(d, 1);
    d.run(1);
    Object.assign(d.world, { rpm: 700, primary: 828, secondary: 828 });
    d.run(6);
    Object.assign(d.world, { primary: 816, secondary: 816 });
    press(d, 1);
    expect(used(d)).toEqual([null, null]);
  });

  it('ten seconds after it is known again, at both ends of one that goes on over it', () => {
    const d = standing();
    Object.assign(d.world, { pedal: 40, brakeKpa: 300 });
    d.run(1);
    crank(d, 828);
    press(d, 12);
    d.run(5);
    Object.assign(d.world, { primary: 816, secondary: 816 });
    press(d, 1);
    expect(used(d)).toEqual([12, 12]);
  });
});
