import { describe, expect, it } from 'vitest';
import { drawn } from '../../../report/story/lines.js';
import type { Points } from '../../../report/story/series.js';
import { thin } from '../../../report/story/thin.js';
import fc from '../../support/property.js';
import { run, ZERO_MS } from '../support/by-hand.js';

const GAP_MS = 5_000;

/** Readings some seconds apart, with a gap here and there. */
const series = fc
  .array(
    fc.tuple(
      fc.oneof(
        { weight: 60, arbitrary: fc.integer({ min: 200, max: 4_900 }) },
        { weight: 1, arbitrary: fc.integer({ min: 5_001, max: 90_000 }) },
      ),
      fc.integer({ min: -50, max: 900 }),
    ),
    {
      minLength: 1,
      maxLength: 900,
      size: 'max',
    },
  )
  .map((steps): Points => {
    let at = ZERO_MS;
    const atMs = steps.map(([step]) => {
      at += step;
      return at;
    });
    return { atMs, value: steps.map(([, value]) => value), gapMs: GAP_MS };
  });

/** Stretches without a gap, each as the instants in it: counted one by one. */
function naiveStretches({ atMs }: Points): Set<number>[] {
  const found: Set<number>[] = [];
  for (const [i, at] of atMs.entries()) {
    if (i === 0 || at - atMs[i - 1]! > GAP_MS) found.push(new Set());
    found.at(-1)!.add(at);
  }
  return found;
}

const most = fc.integer({ min: 10, max: 300 });

describe('thinning', () => {
  it('keeps the first and the last reading of every stretch, and its least and greatest value', () => {
    fc.assert(
      fc.property(series, most, (points, n) => {
        const kept = thin(points, n);
        for (const stretch of naiveStretches(points)) {
          const of = (p: Points): number[] => p.value.filter((_, i) => stretch.has(p.atMs[i]!));
          const instants = kept.atMs.filter((at) => stretch.has(at));
          expect(instants[0]).toBe(Math.min(...stretch));
          expect(instants.at(-1)).toBe(Math.max(...stretch));
          expect([Math.min(...of(kept)), Math.max(...of(kept))]).toEqual([
            Math.min(...of(points)),
            Math.max(...of(points)),
          ]);
        }
      }),
    );
  });

  it('invents nothing: what is kept stood there, in its order', () => {
    fc.assert(
      fc.property(series, most, (points, n) => {
        const kept = thin(points, n);
        const all = new Map(points.atMs.map((at, i) => [at, points.value[i]]));
        expect(kept.atMs.every((at, i) => all.get(at) === kept.value[i])).toBe(true);
        expect(kept.atMs.every((at, i) => i === 0 || at > kept.atMs[i - 1]!)).toBe(true);
      }),
    );
  });

  it('keeps at most about as many as it may, and four more for each stretch', () => {
    fc.assert(
      fc.property(series, most, (points, n) => {
        expect(thin(points, n).atMs.length).toBeLessThanOrEqual(n + 4 * naiveStretches(points).length);
      }),
    );
  });

  it('keeps the extremes of minutes by their least and greatest, not by their last', () => {
    const n = 400;
    const low = Array.from({ length: n }, (_, i) => (i === 123 ? 100 : 690));
    const high = Array.from({ length: n }, (_, i) => (i === 321 ? 900 : 710));
    const points: Points = {
      atMs: Array.from({ length: n }, (_, i) => ZERO_MS + i * 1_000),
      value: new Array(n).fill(700),
      low,
      high,
      gapMs: GAP_MS,
    };
    const kept = thin(points, 40);
    expect(kept.atMs.length).toBeLessThan(60);
    expect(Math.min(...kept.low!)).toBe(100);
    expect(Math.max(...kept.high!)).toBe(900);
  });
});

describe('a line', () => {
  it('is joined within a stretch and nowhere else, thinned or not', () => {
    const gathered = run(60 * 24);
    fc.assert(
      fc.property(series, most, (points, n) => {
        const line = drawn(gathered, points, 'kPa', { label: 'x', role: 'judged', most: n });
        const stretches = naiveStretches(points);
        const kept = thin(points, n);
        const stretchOf = (i: number): number => stretches.findIndex((s) => s.has(kept.atMs[i]!));
        for (let i = 1; i < line.s.length; i++) {
          const isJoined = line.s[i]! - line.s[i - 1]! <= line.gapS && !(line.breaks ?? []).includes(i);
          // Instants are told to a tenth: a step that long is one or the other.
          const isClose = Math.abs(kept.atMs[i]! - kept.atMs[i - 1]! - GAP_MS) <= 100;
          if (!isClose) expect(isJoined).toBe(stretchOf(i) === stretchOf(i - 1));
        }
      }),
    );
  });

  it('has values to the step of their unit, and low and high where a minute stands behind a point', () => {
    const points: Points = {
      atMs: [ZERO_MS, ZERO_MS + 60_000],
      value: [651.44, 651.46],
      low: [640.04, 1],
      high: [2, 700.06],
      gapMs: 90_000,
    };
    expect(drawn(run(5), points, 'kPa', { label: 'x', role: 'raw', axis: 1 })).toEqual({
      label: 'x',
      role: 'raw',
      axis: 1,
      s: [0, 60],
      v: [651.4, 651.5],
      low: [640, 1],
      high: [2, 700.1],
      gapS: 90.05,
    });
  });
});
