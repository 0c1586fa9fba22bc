import { describe, expect, it } from 'vitest';
import { ageLimit, isFresh, newSample, take, valueAt } from '../../../daemon/truck/samples.js';

const [A, B] = [11, 48];

describe('age limit: 3 × the learned interval, within 2 to 10 s (design.md, Evidence)', () => {
  it.each([
    [20, 2_000],
    [100, 2_000],
    [1_000, 3_000],
    [2_000, 6_000],
    [5_000, 10_000],
  ])('sent each %d ms: %d ms', (interval, limit) => {
    const s = newSample(100);
    for (let i = 0; i < 100; i++) take(s, i * interval, A, 1);
    const last = 99 * interval;
    // Learned by a moving mean: within a per mille.
    expect(Math.abs(ageLimit(s) - limit)).toBeLessThanOrEqual(limit / 1000);
    expect(isFresh(s, last + limit - 10)).toBe(true);
    expect(isFresh(s, last + limit + 10)).toBe(false);
  });

  it('an old value is unknown', () => {
    const s = newSample(100);
    expect(valueAt(s, 0)).toBeNaN();
    take(s, 1000, A, 7);
    expect(valueAt(s, 3000)).toBe(7);
    expect(valueAt(s, 3001)).toBeNaN();
  });
});

describe('one source is believed', () => {
  it('until it is past its age limit; then the other, and it stays', () => {
    const s = newSample(1000);
    expect(take(s, 0, A, 1)).toBe(true);
    expect(take(s, 500, B, 2)).toBe(false);
    expect(take(s, 1000, A, 3)).toBe(true);
    expect(valueAt(s, 1000)).toBe(3);
    expect(take(s, 4000, B, 4)).toBe(false);
    expect(take(s, 4001, B, 5)).toBe(true);
    expect(take(s, 4100, A, 6)).toBe(false);
    expect(s).toMatchObject({ value: 5, source: B });
  });

  it('a pause does not become the learned interval', () => {
    const s = newSample(1000);
    for (let t = 0; t <= 10_000; t += 1000) take(s, t, A, 1);
    take(s, 200_000, A, 1);
    expect(s.intervalMs).toBe(1000);
  });
});
