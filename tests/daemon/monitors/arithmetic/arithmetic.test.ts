import { describe, expect, it } from 'vitest';
import { coldPressure } from '../../../../daemon/monitors/arithmetic/cold-pressure.js';
import { addFall, newFall } from '../../../../daemon/monitors/arithmetic/fall-since.js';
import { medianInPlace } from '../../../../daemon/monitors/arithmetic/median.js';
import { MAX_POINTS, theilSen } from '../../../../daemon/monitors/arithmetic/theil-sen.js';
import { PSI, randomFrom } from '../drive.js';

const celsius = (fahrenheit: number): number => ((fahrenheit - 32) * 5) / 9;
/** 14.7 psi, as the examples take it. */
const AIR = 14.7 * PSI;
/** What a gauge that shows `psi` at `from` °F shows at `to` °F, psi. */
const at = (psi: number, from: number, to: number): number =>
  coldPressure(psi * PSI, celsius(from), AIR, celsius(to), AIR) / PSI;

describe('coldPressure', () => {
  it.each([
    // regulations sheet, section 8
    ['W-01', 150, 70, 50, 143.78],
    ['W-02', 150, 75, 75, 150],
    ['W-03', 100, 40, 90, 111.48],
    ['W-04', 100, 90, 40, 89.57],
    ['W-05', 29, 80, 20, 24.14],
    // regulations sheet, section 8, gas-law reference set
    ['reference 1', 105, 65, 150, 124.39],
    ['reference 2', 118, 150, 65, 99.5],
    ['reference 3', 110, 65, 10, 96.93],
    ['reference 4', 100, 65, 140, 116.4],
    ['reference 5', 100, 38, 91, 112.22],
  ])('%s: %d psi at %d °F is %d °F: %d psi', (_, psi, from, to, expected) => {
    expect(Math.abs(at(psi, from, to) - expected)).toBeLessThan(0.006);
  });

  it('W-01: 144 psi found is no leak, 138 is 5.78 psi', () => {
    expect(at(150, 70, 50) - 144).toBeCloseTo(-0.22, 2);
    expect(at(150, 70, 50) - 138).toBeCloseTo(5.78, 2);
  });

  it('W-06: 65 to 125 °F raises absolute pressure 1.114 times', () => {
    expect((at(100, 65, 125) + 14.7) / 114.7).toBeCloseTo(1.114, 3);
  });

  it('slope near 65 °F for 100 psi is 2.19 psi per 10 °F (regulations sheet 4.5)', () => {
    expect(at(100, 65, 70) - at(100, 65, 60)).toBeCloseTo(2.19, 2);
  });

  it('690 kPa at sea level and 711.8 kPa at 79.5 kPa of air are the same tire within 0.1 kPa (monitors.md)', () => {
    const sea = coldPressure(690, 40, 101.325, 18, 101.325);
    const high = coldPressure(711.8, 40, 79.5, 18, 101.325);
    expect(Math.abs(sea - high)).toBeLessThan(0.1);
  });
});

/** All pairs, sorted, the middle: nothing shared with the program. */
function naiveSlope(at: number[], values: number[]): number {
  const slopes: number[] = [];
  for (let i = 0; i < at.length; i++)
    for (let j = 0; j < i; j++) if (at[i] !== at[j]) slopes.push((values[i]! - values[j]!) / (at[i]! - at[j]!));
  slopes.sort((a, b) => a - b);
  const m = slopes.length;
  return m % 2 === 1 ? slopes[(m - 1) / 2]! : (slopes[m / 2 - 1]! + slopes[m / 2]!) / 2;
}

describe('theilSen', () => {
  it('finds a line exactly, with an interval that holds it', () => {
    const x = Array.from({ length: 20 }, (_, i) => i * 10_000);
    const s = theilSen(
      x,
      x.map((v) => 700 - 0.0002 * v),
    )!;
    for (const v of [s.slope, s.low, s.high]) expect(v).toBeCloseTo(-0.0002, 12);
  });

  it('agrees with a naive implementation on noise, ties and gaps', () => {
    const random = randomFrom(20260302);
    for (let run = 0; run < 200; run++) {
      const n = 3 + Math.floor(random() * 58);
      const x: number[] = [];
      for (let i = 0, t = 0; i < n; i++) {
        t += 1 + Math.floor(random() * 30_000);
        x.push(t);
      }
      const y = x.map((t) => Math.round((700 - t * 1e-5 + random() * 20) / 4) * 4);
      const s = theilSen(x, y)!;
      expect(s.slope).toBeCloseTo(naiveSlope(x, y), 12);
      expect(s.low).toBeLessThanOrEqual(s.slope);
      expect(s.high).toBeGreaterThanOrEqual(s.slope);
    }
  });

  it('is not moved by a quarter of wild points, where least squares is', () => {
    const x = Array.from({ length: 40 }, (_, i) => i);
    const y = x.map((v) => (v % 4 === 0 ? 1000 : 2 * v));
    expect(theilSen(x, y)!.slope).toBeCloseTo(2, 1);
  });

  // The example of Sen, Journal of the American Statistical Association 63 (1968) 1379 (from memory); the median of its
  // 21 slopes worked out again by hand.
  it('known data: 4 per step', () => {
    expect(theilSen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78])!.slope).toBeCloseTo(4, 12);
  });

  it('gives the true slope within its interval in at least 90 % of noisy runs', () => {
    const random = randomFrom(7);
    let held = 0;
    for (let run = 0; run < 300; run++) {
      const x = Array.from({ length: 30 }, (_, i) => i);
      const y = x.map((v) => -0.5 * v + (random() + random() + random() - 1.5) * 4);
      const s = theilSen(x, y)!;
      if (s.low <= -0.5 && s.high >= -0.5) held++;
    }
    expect(held).toBeGreaterThanOrEqual(270);
  });

  it('is wider when neighbours are alike', () => {
    const x = Array.from({ length: 30 }, (_, i) => i);
    const noise = x.map((v) => ((v * 7919) % 13) - 6);
    const alike = x.map((_, i) => (noise[i]! + (noise[i - 1] ?? 0) + (noise[i - 2] ?? 0) + (noise[i - 3] ?? 0)) / 2);
    const width = (y: number[]): number => {
      const s = theilSen(x, y)!;
      const sorted = [...y].sort((a, b) => a - b);
      return (s.high - s.low) / (sorted[22]! - sorted[7]!);
    };
    expect(width(alike)).toBeGreaterThan(width(noise));
  });

  it('needs three points, and takes the last 60', () => {
    expect(theilSen([0, 1], [0, 1])).toBeNull();
    expect(theilSen([5, 5, 5], [1, 2, 3])).toBeNull();
    const x = Array.from({ length: MAX_POINTS + 40 }, (_, i) => i);
    expect(
      theilSen(
        x,
        x.map((v) => (v < 40 ? -v : v)),
      )!.slope,
    ).toBe(1);
  });
});

describe('addFall', () => {
  it('S = max(0, S + fall − r0·dt); a rise takes from it, a long gap or a missing value ends it', () => {
    const f = newFall();
    addFall(f, 10_000, 4, 10_000, 6, 120_000);
    expect(f).toEqual({ sumKpa: 3, runAt: 0 });
    addFall(f, 20_000, 4, 10_000, 6, 120_000);
    expect(f).toEqual({ sumKpa: 6, runAt: 0 });
    addFall(f, 30_000, -4, 10_000, 6, 120_000);
    expect(f).toEqual({ sumKpa: 1, runAt: 0 });
    addFall(f, 40_000, 0, 10_000, 6, 120_000);
    expect(f.sumKpa).toBe(0);
    addFall(f, 50_000, 10, 10_000, 6, 120_000);
    expect(f).toEqual({ sumKpa: 9, runAt: 40_000 });
    addFall(f, 170_000, 10, 120_000, 6, 120_000);
    expect(f.sumKpa).toBe(7);
    addFall(f, 290_001, 50, 120_001, 6, 120_000);
    expect(f.sumKpa).toBe(0);
    addFall(f, 300_000, 10, 10_000, 6, 120_000);
    addFall(f, 310_000, Number.NaN, 10_000, 6, 120_000);
    expect(f.sumKpa).toBe(0);
  });
});

describe('medianInPlace', () => {
  it.each([
    [[], Number.NaN],
    [[3], 3],
    [[4, 1], 2.5],
    [[10, 9, 100, -1, 2], 9],
  ])('of %j is %d', (values, expected) => {
    expect(medianInPlace([...values])).toBe(expected);
  });

  it('sorts what it was given, whatever the length', () => {
    for (let n = 1; n <= 150; n++) {
      const values = Array.from({ length: n }, (_, i) => (Math.imul(i + n, 0x9e3779b1) >>> 0) % 40);
      const sorted = [...values].sort((a, b) => a - b);
      const middle = (sorted[(n - 1) >> 1]! + sorted[n >> 1]!) / 2;
      expect(medianInPlace(values)).toBe(middle);
      expect(values).toEqual(sorted);
    }
  });

  it('leaves out what comes after the first n', () => {
    expect(medianInPlace([5, 1, 3, 100, 100], 3)).toBe(3);
  });
});
