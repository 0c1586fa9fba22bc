import { describe, expect, it } from 'vitest';
import {
  ALONE_MS,
  apart,
  inTime,
  type Matched,
  matchNearest,
  type Placed,
} from '../../../daemon/commands/expect-match.js';
import fc from '../../support/property.js';

const at = (seconds: number, urgency = 'plan', run = 1): Placed => ({
  ...{ run, at: seconds * 1000, urgency, line: `${seconds} ${urgency}` },
});

/** Of every way to pair them, the least that it costs. Nothing clever. */
function least(expected: readonly Placed[], got: readonly Placed[]): number {
  const [first, ...rest] = expected;
  if (first === undefined) return got.length * ALONE_MS;
  const alone = ALONE_MS + least(rest, got);
  const ways = got.map((g, i) => apart(first, g) + least(rest, [...got.slice(0, i), ...got.slice(i + 1)]));
  return Math.min(alone, ...ways);
}

const costOf = ({ pairs, missing, extra }: Matched<Placed>): number =>
  pairs.reduce((sum, [e, g]) => sum + apart(e, g), 0) + (missing.length + extra.length) * ALONE_MS;

const told = ({ pairs, missing, extra }: Matched<Placed>) => ({
  pairs: pairs.map(([e, g]) => `${e.line} -> ${g.line}`),
  missing: missing.map(({ line }) => line),
  extra: extra.map(({ line }) => line),
});

const URGENCY = fc.constantFrom('plan', 'next-stop', 'pull-over');
/** Few places, so that many things coincide; both sides of what still counts as moved. */
const PLACED = fc.record({
  s: fc.integer({ min: 0, max: 9 }).map((n) => n * 650),
  urgency: URGENCY,
  run: fc.constantFrom(1, 2),
});
const EVENTS = fc.array(PLACED, { maxLength: 5 }).map((list) => list.map(({ s, urgency, run }) => at(s, urgency, run)));

describe('matching', () => {
  it('costs as little as the best of all ways to pair them', () => {
    fc.assert(
      fc.property(EVENTS, EVENTS, (expected, got) => {
        expect(costOf(matchNearest(expected, got))).toBe(least(expected, got));
      }),
      { numRuns: 1500 },
    );
  });

  it('loses nobody and uses nobody twice; a pair lies at most an hour apart', () => {
    fc.assert(
      fc.property(EVENTS, EVENTS, (expected, got) => {
        const { pairs, missing, extra } = matchNearest(expected, got);
        expect([...pairs.map(([e]) => e), ...missing].sort(inTime)).toEqual([...expected].sort(inTime));
        expect([...pairs.map(([, g]) => g), ...extra].sort(inTime)).toEqual([...got].sort(inTime));
        expect(pairs.filter(([e, g]) => apart(e, g) > 2 * ALONE_MS)).toEqual([]);
      }),
    );
  });

  it('is the same for any order of the events', () => {
    const shuffled = EVENTS.chain((list) =>
      fc.tuple(fc.constant(list), fc.shuffledSubarray(list, { minLength: list.length })),
    );
    fc.assert(
      fc.property(shuffled, shuffled, ([a, b], [c, d]) => {
        expect(told(matchNearest(a, c))).toEqual(told(matchNearest(b, d)));
      }),
    );
  });

  it('what has changed sides is told from the other side', () => {
    fc.assert(
      fc.property(EVENTS, EVENTS, (a, b) => {
        expect(costOf(matchNearest(a, b))).toBe(costOf(matchNearest(b, a)));
      }),
    );
  });
});

describe('a person would say the same', () => {
  const match = (expected: Placed[], got: Placed[]) => told(matchNearest(expected, got));

  it('all moved a little: each to its own, none past another', () => {
    expect(match([at(100), at(701), at(1302)], [at(1904), at(702), at(1303)]).pairs).toEqual([
      '100 plan -> 702 plan',
      '701 plan -> 1303 plan',
      '1302 plan -> 1904 plan',
    ]);
  });

  it('one that is where it was is that one, even where all could have moved', () => {
    const pairs = ['100 plan -> 1900 plan', '700 plan -> 700 plan', '1300 plan -> 1300 plan'];
    expect(match([at(100), at(700), at(1300)], [at(700), at(1300), at(1900)]).pairs).toEqual(pairs);
  });

  it('one that is gone leaves the others where they were', () => {
    expect(match([at(100), at(200), at(300)], [at(100), at(300)])).toEqual({
      ...{ pairs: ['100 plan -> 100 plan', '300 plan -> 300 plan'], missing: ['200 plan'], extra: [] },
    });
  });

  it('a level that was left out is missing, and the next one came earlier', () => {
    expect(match([at(100, 'next-stop'), at(200, 'pull-over')], [at(100, 'pull-over')])).toEqual({
      ...{ pairs: ['200 pull-over -> 100 pull-over'], missing: ['100 next-stop'], extra: [] },
    });
  });

  it('the same moment with another urgency is the same event', () => {
    expect(match([at(100)], [at(100, 'pull-over')]).pairs).toEqual(['100 plan -> 100 pull-over']);
  });

  it('an hour apart is one that moved, more is not', () => {
    expect(match([at(0)], [at(3600)]).pairs).toEqual(['0 plan -> 3600 plan']);
    expect(match([at(0)], [at(3601)])).toEqual({ pairs: [], missing: ['0 plan'], extra: ['3601 plan'] });
  });

  it('of two at one moment the one that is the same to the byte is that one', () => {
    const [a, b] = [
      { ...at(10), line: 'a' },
      { ...at(10), line: 'b' },
    ];
    expect(told(matchNearest([a, b], [b])).pairs).toEqual(['b -> b']);
  });

  it('thousands of one kind are matched too', () => {
    const many = Array.from({ length: 3000 }, (_, i) => at(i * 10));
    const moved = Array.from({ length: 3000 }, (_, i) => at(i * 10 + 1));
    const { pairs, missing, extra } = matchNearest(many, moved);
    expect({ pairs: pairs.length, missing, extra }).toEqual({ pairs: 3000, missing: [], extra: [] });
    expect(pairs.filter(([e, g]) => g.at - e.at !== 1000)).toEqual([]);
  });
});
