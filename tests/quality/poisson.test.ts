import { describe, expect, it } from 'vitest';
import { rateOf } from '../../quality/goals.js';
import { boundsOf } from '../../quality/poisson.js';
import { Random } from '../../simulator/random.js';

describe('95 % bounds of a count', () => {
  // Exact limits of a Poisson mean as statistical tables have them (Garwood 1936; Pearson and Hartley, table 40).
  it.each([
    [1, 0.0253, 5.572],
    [2, 0.2422, 7.225],
    [5, 1.623, 11.668],
    [10, 4.795, 18.39],
    [30, 20.241, 42.827],
    [100, 81.364, 121.627],
  ])('of %i', (count, low, high) => {
    const bounds = boundsOf(count);
    expect(bounds.low).toBeCloseTo(low, 3);
    expect(bounds.high).toBeCloseTo(high, 2);
  });

  it('of none: the rule of three', () => {
    expect(boundsOf(0).low).toBe(0);
    expect(boundsOf(0).high).toBeCloseTo(3, 1);
  });

  it('hold the true mean at least 95 times of 100 (seed 7)', () => {
    const random = new Random(7);
    const draw = (mean: number): number => {
      // Events a unit of time apart on average, counted until `mean` units have passed.
      let t = -Math.log(1 - random.next());
      let count = 0;
      for (; t < mean; count += 1) t -= Math.log(1 - random.next());
      return count;
    };
    // Near 3 it is a little less: there the bound of none is one-sided, and that of one is not.
    for (const mean of [0.7, 5, 12]) {
      let held = 0;
      for (let i = 0; i < 2000; i += 1) {
        const { low, high } = boundsOf(draw(mean));
        if (low <= mean && mean <= high) held += 1;
      }
      expect(held / 2000, `mean ${mean}`).toBeGreaterThan(0.94);
    }
  });

  it('are shown beside the rate', () => {
    expect(rateOf(0, 2000)).toBe('0 (< 1.50)');
    expect(rateOf(2, 2000)).toBe('1.00 (0.12-3.61)');
    expect(rateOf(0, 0)).toBe('-');
  });
});
