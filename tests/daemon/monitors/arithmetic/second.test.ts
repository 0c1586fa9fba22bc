import { describe, expect, it } from 'vitest';
import { coldPressure } from '../../../../daemon/monitors/arithmetic/cold-pressure.js';
import { addFall, newFall } from '../../../../daemon/monitors/arithmetic/fall-since.js';
import { theilSen } from '../../../../daemon/monitors/arithmetic/theil-sen.js';
import fc from '../../../support/property.js';
import { printedSeed } from '../../../support/seed.js';
import { naiveCold, naiveFall, naiveTheilSen } from './naive.js';

const RUNS = 400;
const among = (min: number, max: number) => fc.double({ min, max, noNaN: true });

describe('against a second, naive implementation', () => {
  it('cold-equivalent pressure, by counting moles', () => {
    const seed = printedSeed('cold-equivalent pressure');
    fc.assert(
      fc.property(
        among(0, 1500),
        among(-60, 200),
        among(50, 110),
        among(-20, 40),
        among(60, 105),
        (kpa, celsius, air, reference, depot) => {
          const here = coldPressure(kpa, celsius, air, reference, depot);
          expect(Math.abs(here - naiveCold(kpa, celsius, air, reference, depot))).toBeLessThan(1e-6);
        },
      ),
      { seed, numRuns: RUNS },
    );
  });

  // Steps of 4 kPa make ties, as sensors do; more than 60 points are cut to the last 60.
  const series = fc
    .array(fc.tuple(fc.integer({ min: 500, max: 120_000 }), fc.integer({ min: 0, max: 40 })), {
      minLength: 3,
      maxLength: 75,
    })
    .map((steps) => {
      let t = 0;
      return {
        at: steps.map(([pause]) => {
          t += pause;
          return t;
        }),
        values: steps.map(([, v]) => 600 + 4 * v),
      };
    });

  it('Theil and Sen with the interval, by ranks', () => {
    const seed = printedSeed('Theil-Sen');
    fc.assert(
      fc.property(series, ({ at, values }) => {
        const { low, slope, high } = theilSen(at, values)!;
        const naive = naiveTheilSen(at, values);
        for (const [i, here] of [low, slope, high].entries()) expect(here).toBeCloseTo(naive[i]!, 9);
      }),
      { seed, numRuns: RUNS },
    );
  });

  it('Theil and Sen: the interval turns round with the series, and grows with its scale', () => {
    const seed = printedSeed('Theil-Sen, mirrored');
    fc.assert(
      fc.property(series, among(0.1, 10), ({ at, values }, scale) => {
        const s = theilSen(at, values)!;
        const mirrored = theilSen(
          at,
          values.map((v) => -scale * v),
        )!;
        expect(mirrored.slope).toBeCloseTo(-scale * s.slope, 9);
        expect(mirrored.low).toBeCloseTo(-scale * s.high, 9);
        expect(mirrored.high).toBeCloseTo(-scale * s.low, 9);
      }),
      { seed, numRuns: RUNS },
    );
  });

  it('the fall since, as the greatest sum of any run that ends now', () => {
    const seed = printedSeed('fall since');
    const readings = fc.array(fc.record({ fallKpa: among(-12, 12), minutes: among(0.02, 1.9) }), {
      minLength: 1,
      maxLength: 40,
    });
    fc.assert(
      fc.property(readings, among(1, 10), (falls, allowed) => {
        const f = newFall();
        let t = 0;
        for (const [i, { fallKpa, minutes }] of falls.entries()) {
          t += minutes * 60_000;
          addFall(f, t, fallKpa, minutes * 60_000, allowed, 120_000);
          expect(f.sumKpa).toBeCloseTo(naiveFall(falls.slice(0, i + 1), allowed), 6);
        }
      }),
      { seed, numRuns: RUNS },
    );
  });
});
