import { describe, expect, it } from 'vitest';
import { Intervals } from '../../../daemon/survey/intervals.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';

/** The plainest way: all numbers in order, the one at the rank. */
function naive(list: readonly number[], share: number): number {
  const sorted = [...list].sort((a, b) => a - b);
  return sorted[Math.max(1, Math.ceil(share * sorted.length)) - 1]!;
}

function of(list: readonly number[]): Intervals {
  const intervals = new Intervals();
  for (const ms of list) intervals.add(ms);
  return intervals;
}

describe('intervals', () => {
  it('below 2,048 ms are exact, and above within 0.2 %', () => {
    const any = fc.oneof(fc.nat(3000), fc.nat(20_000), fc.nat(2 ** 30));
    const parameters = { seed: printedSeed('intervals'), numRuns: 500 };
    fc.assert(
      fc.property(
        fc.array(any, { minLength: 1, maxLength: 60 }),
        fc.constantFrom(0, 0.05, 0.5, 0.95, 1),
        (list, share) => {
          const expected = naive(list, share);
          const found = of(list).quantile(share)!;
          if (expected < 2048) expect(found).toBe(expected);
          else expect(Math.abs(found - expected) / expected).toBeLessThanOrEqual(0.002);
        },
      ),
      parameters,
    );
  });

  it('none give none', () => {
    expect(new Intervals().quantile(0.5)).toBeNull();
  });

  it('know the shortest and the longest as they were', () => {
    const { leastMs, mostMs, count } = of([1003, 987_654, 1001]);
    expect({ leastMs, mostMs, count }).toEqual({ leastMs: 1001, mostMs: 987_654, count: 3 });
  });
});
