import { describe, expect, it } from 'vitest';
import { forecastOf, lastingSlope, slopeSince } from '../../../daemon/monitors/tire-forecast.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { Drive, gauge, randomFrom, SUBJECTS, TARGET_KPA, targetOf, truck } from './drive.js';

const WHEEL = 'tractor/2/left/outer';
const MIN_MS = 60_000;
const DAY_MS = 86_400_000;

describe('forecastOf', () => {
  it('a line tells the very moment, and nothing else', () => {
    const seed = printedSeed('forecast of a line');
    fc.assert(
      fc.property(
        fc.double({ min: 0.5, max: 60, noNaN: true }),
        fc.double({ min: 1, max: 300, noNaN: true }),
        fc.integer({ min: 6, max: 60 }),
        fc.integer({ min: 0, max: 60_000 }),
        (kpaPerMin, aboveKpa, points, sinceMs) => {
          const at = Array.from({ length: points }, (_, i) => 10_000 * i);
          const values = at.map((t) => 900 - (kpaPerMin * t) / MIN_MS);
          const f = forecastOf(0.8, aboveKpa, lastingSlope(at, values, 0), sinceMs)!;
          const truth = Math.max(0, (aboveKpa / kpaPerMin) * MIN_MS - sinceMs);
          for (const ms of [f.inMs, f.fromMs, f.toMs]) expect(Math.abs(ms - truth)).toBeLessThan(1 + truth * 1e-6);
        },
      ),
      { seed, numRuns: 200 },
    );
  });

  it('early, most likely and late come in this order, whatever the readings', () => {
    const seed = printedSeed('order of a forecast');
    const readings = fc.array(fc.integer({ min: 100, max: 250 }), { minLength: 6, maxLength: 60 });
    let told = 0;
    fc.assert(
      fc.property(readings, fc.double({ min: 1, max: 300, noNaN: true }), (steps, aboveKpa) => {
        // Mostly falling.
        const values = steps.map((v, i) => v - 3 * i);
        const f = forecastOf(
          0.5,
          aboveKpa,
          lastingSlope(
            values.map((_, i) => 10_000 * i),
            values,
            0,
          ),
          0,
        );
        if (f === null) return;
        told++;
        expect(f.what).toBe('50 % of cold pressure');
        expect(f.fromMs).toBeLessThanOrEqual(f.inMs);
        expect(f.inMs).toBeLessThanOrEqual(f.toMs);
        expect(f.toMs).toBeLessThanOrEqual(365 * DAY_MS);
      }),
      { seed, numRuns: 300 },
    );
    expect(told).toBeGreaterThan(20);
  });

  it('the interval holds the moment in at least nine of ten leaks, as 4 kPa sensors show them', () => {
    const random = randomFrom(20_261_125);
    let told = 0;
    let held = 0;
    for (let run = 0; run < 400; run++) {
      const kpaPerMin = 2 + 10 * random();
      const points = 12 + Math.floor(40 * random());
      const at = Array.from({ length: points }, (_, i) => Math.round(10_000 * i + 400 * random()));
      const step = (t: number) => 4 * Math.round((760 - (kpaPerMin * t) / MIN_MS + 1.6 * (random() - 0.5)) / 4);
      const now = at.at(-1)!;
      const aboveKpa = 760 - (kpaPerMin * now) / MIN_MS - 400;
      const f = forecastOf(0.8, aboveKpa, lastingSlope(at, at.map(step), 0), 0);
      if (f === null) continue;
      told++;
      const truth = (aboveKpa / kpaPerMin) * MIN_MS;
      if (f.fromMs <= truth && truth <= f.toMs) held++;
    }
    console.log(`forecasts: ${told} of 400 told, ${held} of them held the moment`);
    expect(told).toBeGreaterThan(300);
    expect(held / told).toBeGreaterThanOrEqual(0.9);
  });

  it('none where it is there already, does not fall, or five readings are all there is', () => {
    const falling = { slope: -0.001, low: -0.002, high: -0.0005 };
    expect(forecastOf(0.8, 0, falling, 0)).toBeNull();
    expect(forecastOf(0.8, -1, falling, 0)).toBeNull();
    expect(forecastOf(0.8, Number.NaN, falling, 0)).toBeNull();
    expect(forecastOf(0.8, 10, { ...falling, high: 0 }, 0)).toBeNull();
    expect(forecastOf(0.8, 10, null, 0)).toBeNull();
    const at = [0, 1, 2, 3, 4, 5].map((i) => 10_000 * i);
    const values = at.map((t) => 700 - t / 1000);
    expect(lastingSlope(at, values, 0)).not.toBeNull();
    expect(lastingSlope(at, values, 5_000)).toBeNull();
    expect(slopeSince(at, values, 5_000)).not.toBeNull();
    expect(lastingSlope(at, values, 60_000)).toBeNull();
  });
});

/** All warm tires right but the one that falls; t of its beginning. */
function leaking(kpaPerMin: number, from: number, seconds: number): { d: Drive; from: number } {
  const d = new Drive();
  for (const s of SUBJECTS) Object.assign(d.wheel(s), { celsius: 40, kpa: gauge(targetOf(s), 40) });
  d.wheel(WHEEL).kpa = gauge(from * TARGET_KPA, 40);
  d.run(120);
  const at = d.t;
  d.run(seconds, (s) => {
    d.wheel(WHEEL).kpa = gauge(from * TARGET_KPA - (kpaPerMin * s) / 60, 40);
  });
  return { d, from: at };
}

describe('what events forecast', () => {
  // From 97 % at 6 kPa/min: 80 % after 20 min, 50 % after 54.
  const { d, from } = leaking(6, 0.97, 2000);

  it('losing air: 80 % of the target', () => {
    const all = d.list('tire-losing-air', WHEEL).filter((e) => e.forecast !== null);
    expect(all[0]!.forecast!.what).toBe('80 % of cold pressure');
    const truth = from + ((0.17 * TARGET_KPA) / 6) * MIN_MS;
    expect(all[0]!.t + all[0]!.forecast!.fromMs).toBeLessThanOrEqual(truth);
    expect(all[0]!.t + all[0]!.forecast!.toMs).toBeGreaterThanOrEqual(truth);
  });

  it('underinflated and falling: the next worse level', () => {
    const [e] = d.list('tire-underinflated', WHEEL);
    expect(e).toMatchObject({ change: 'raised', urgency: 'next-stop' });
    expect(e!.forecast!.what).toBe('50 % of cold pressure');
    const truth = from + ((0.47 * TARGET_KPA) / 6) * MIN_MS;
    expect(Math.abs(e!.t + e!.forecast!.inMs - truth)).toBeLessThan(10 * MIN_MS);
    expect(e!.t + e!.forecast!.fromMs).toBeLessThanOrEqual(truth);
    expect(e!.t + e!.forecast!.toMs).toBeGreaterThanOrEqual(truth);
  });

  it('low and not falling: none', () => {
    const low = leaking(0, 0.85, 700).d;
    expect(low.list('tire-underinflated', WHEEL).map((e) => [e.change, e.forecast])).toEqual([['raised', null]]);
  });

  it('a slow leak: the day on which it reaches 80 %, from its cold starts', () => {
    const monday = Date.UTC(2026, 2, 2, 5);
    const d = new Drive(truck(), monday);
    for (const s of SUBJECTS) d.wheel(s).fine = true;
    const lost = [0, 8, 17, 24, 32];
    for (const [day, kpa] of lost.entries()) {
      if (day > 0) d.restart(DAY_MS - 400_000, monday + day * DAY_MS);
      d.wheel(WHEEL).kpa = Math.round(TARGET_KPA) - kpa;
      d.world.kmh = 0;
      d.run(200);
      d.world.kmh = 60;
      d.run(150);
      d.world.kmh = 0;
      d.run(30);
      d.rest(20);
    }
    const [e] = d.list('tire-losing-air', WHEEL);
    expect(e).toMatchObject({ change: 'raised', urgency: 'plan' });
    const m = e!.measured as { value: number; low: number; high: number };
    expect(m.low).toBeLessThanOrEqual(m.value);
    expect(m.value).toBeLessThanOrEqual(m.high);
    const { inMs, fromMs, toMs, what } = e!.forecast!;
    expect(what).toBe('80 % of cold pressure');
    // Raised on the fourth morning, 24 or 17 kPa below the target: some 114 kPa above 80 % of it, at 8 kPa a day.
    expect(inMs / DAY_MS).toBeGreaterThan(12.5);
    expect(inMs / DAY_MS).toBeLessThan(16.5);
    expect(fromMs).toBeLessThan(inMs);
    expect(toMs).toBeGreaterThan(inMs);
  });
});
