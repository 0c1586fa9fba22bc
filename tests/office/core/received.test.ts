import { describe, expect, it } from 'vitest';
import type { SeqRanges, StoreSeen } from '../../../office/core/model.js';
import {
  confirmable,
  joined,
  newStoreSeen,
  SETTLE_MS,
  UNKNOWN_MS,
  withGap,
  withSeq,
  withStore,
} from '../../../office/core/received.js';
import fc from '../../support/property.js';
import { STORE, T0 } from './messages.js';

const LATER = T0 + SETTLE_MS;
/** Of a database whose beginning was not heard. */
const MUCH_LATER = T0 + UNKNOWN_MS;
const having = (...seqs: number[]): StoreSeen =>
  seqs.reduce((seen, seq) => withSeq(seen, seq, T0), newStoreSeen(STORE, T0));

describe('numbers as ranges', () => {
  it.each<[string, number[], SeqRanges]>([
    ['in order', [1, 2, 3], [[1, 3]]],
    [
      'with a hole',
      [1, 2, 4],
      [
        [1, 2],
        [4, 4],
      ],
    ],
    ['a hole is filled', [1, 3, 2], [[1, 3]]],
    [
      'before all',
      [5, 4, 2],
      [
        [2, 2],
        [4, 5],
      ],
    ],
    ['twice', [1, 2, 2, 1], [[1, 2]]],
    [
      'one in the middle of nothing',
      [1, 9, 5],
      [
        [1, 1],
        [5, 5],
        [9, 9],
      ],
    ],
  ])('%s', (_name, seqs, ranges) => {
    expect(having(...seqs).ranges).toEqual(ranges);
  });

  it('are the set of numbers that were put in, whatever the order', () => {
    const piece = fc.tuple(fc.nat(40), fc.nat(5));
    fc.assert(
      fc.property(fc.array(piece, { maxLength: 40 }), (pieces) => {
        let ranges: SeqRanges = [];
        const set = new Set<number>();
        for (const [from, more] of pieces) {
          ranges = joined(ranges, from, from + more);
          for (let n = from; n <= from + more; n++) set.add(n);
        }
        const listed = ranges.flatMap(([a, b]) => Array.from({ length: b - a + 1 }, (_, i) => a + i));
        expect(listed).toEqual([...set].sort((a, b) => a - b));
        for (const [i, range] of ranges.entries()) if (i > 0) expect(range[0]).toBeGreaterThan(ranges[i - 1]![1] + 1);
      }),
    );
  });

  it('beyond 512 pieces the oldest hole counts as filled', () => {
    const seen = having(...Array.from({ length: 513 }, (_, i) => 2 * i + 1));
    expect(seen.ranges).toHaveLength(512);
    expect(seen.ranges[0]).toEqual([1, 3]);
    expect(seen.ranges.at(-1)).toEqual([1025, 1025]);
  });

  it('one list does not change when another is made from it', () => {
    const seen = having(1, 2);
    withSeq(seen, 3, T0);
    expect(seen.ranges).toEqual([[1, 2]]);
  });
});

describe('what may be confirmed', () => {
  it.each<[string, StoreSeen, number, number | null]>([
    ['nothing before ten seconds have passed', having(1, 2), LATER - 1, null],
    ['then all without a hole', having(1, 2), LATER, 2],
    ['up to the first hole', having(1, 2, 4, 5), LATER, 2],
    ['from the first that was seen', having(300, 301), MUCH_LATER, 301],
    ['not before the truck has said again what is not confirmed', having(300, 301), MUCH_LATER - 1, null],
    ['none, when none has come', newStoreSeen(STORE, T0), LATER, null],
    ['none of a store that is no store', withSeq(newStoreSeen('~a1b2', T0), 1, T0), LATER, null],
  ])('%s', (_name, seen, nowMs, seq) => {
    expect(confirmable(seen, nowMs)).toBe(seq);
  });

  it('lower numbers that come within that time are waited for, later ones are history', () => {
    expect(confirmable(withSeq(having(20), 18, MUCH_LATER - 1), MUCH_LATER)).toBe(18);
    const late = withSeq(withSeq(having(20), 18, MUCH_LATER), 21, MUCH_LATER);
    expect(confirmable(late, MUCH_LATER)).toBe(21);
  });

  it('an office that begins to listen while a truck sends its first events does not confirm those that it missed', () => {
    const began = having(18, 19, 20);
    expect(confirmable(began, LATER)).toBe(null);
    // The truck says all of them again after a minute.
    const again = Array.from({ length: 17 }, (_, i) => i + 1).reduce(
      (seen, seq) => withSeq(seen, seq, T0 + 60_000),
      began,
    );
    expect(confirmable(again, T0 + 60_000)).toBe(20);
  });

  it('the time begins with the first event, though the store was known before', () => {
    const seen = withSeq(newStoreSeen(STORE, T0 - 60_000), 7, T0);
    expect(confirmable(seen, T0)).toBe(null);
    expect(confirmable(seen, MUCH_LATER)).toBe(7);
  });
});

describe('a gap', () => {
  const passed = LATER + SETTLE_MS;

  it('whose numbers are all the ones that are missing fills them, ten seconds after the truck has gone past it', () => {
    const seen = withGap(having(1, 2, 6), 3, 5, 3, T0);
    expect(confirmable(seen, LATER - 1)).toBe(null);
    expect(confirmable(seen, LATER)).toBe(6);
  });

  it('of which some still come is waited for', () => {
    // 3 and 5 will never come, 4 will.
    const seen = withGap(having(1, 2, 6), 3, 5, 2, T0);
    expect(confirmable(seen, passed)).toBe(2);
    expect(confirmable(withSeq(seen, 4, LATER), passed)).toBe(6);
  });

  it('that counts some which had arrived before does not stand for those that are still to come', () => {
    // Five were thinned, three of them had been received: 6 and 8 never come, 7, 9, 10 do.
    const told = withGap(having(1, 2, 3, 4, 5), 2, 10, 5, T0);
    expect(confirmable(told, passed)).toBe(5);
    let seen = told;
    for (const seq of [7, 9, 10, 11]) seen = withSeq(seen, seq, LATER);
    expect(confirmable(seen, LATER + 1)).toBe(5);
    expect(confirmable(seen, LATER + SETTLE_MS)).toBe(11);
  });

  it('that comes before or after its neighbours is the same', () => {
    const first = withSeq(withGap(having(1), 2, 3, 2, T0), 4, T0);
    const last = withGap(having(1, 4), 2, 3, 2, T0);
    expect(confirmable(first, LATER)).toBe(4);
    expect(confirmable(last, LATER)).toBe(4);
  });

  it('two that overlap explain each other', () => {
    const seen = withGap(withGap(having(1, 9), 2, 6, 3, T0), 4, 8, 4, T0);
    expect(confirmable(seen, LATER)).toBe(9);
    const less = withGap(withGap(having(1, 9), 2, 6, 3, T0), 4, 8, 3, T0);
    expect(confirmable(less, passed)).toBe(1);
  });

  it.each([
    ['of trips has no numbers', 0, 0, 5],
    ['of nothing', 3, 5, 0],
    ['upside down', 5, 3, 2],
  ])('%s changes nothing', (_name, from, to, count) => {
    expect(withGap(having(1, 2), from, to, count, T0)).toEqual(having(1, 2));
  });

  it('below what was first seen is not waited for', () => {
    expect(confirmable(withGap(having(300, 301), 101, 200, 50, T0), MUCH_LATER)).toBe(301);
    expect(confirmable(withGap(having(300, 303), 101, 302, 150, T0), MUCH_LATER)).toBe(303);
  });

  it('that is settled is forgotten with the next event', () => {
    const seen = withSeq(withGap(having(1, 4), 2, 3, 2, T0), 5, LATER);
    expect(seen.gaps).toEqual([]);
    expect(seen.ranges).toEqual([[1, 5]]);
  });

  it('there are never more than sixteen that wait', () => {
    let seen = having(1);
    for (let i = 1; i <= 40; i++) seen = withGap(seen, 10 * i, 10 * i + 3, 2, T0);
    expect(seen.gaps).toHaveLength(16);
    expect(seen.gaps.reduce((sum, { count }) => sum + count, 0)).toBe(80);
  });

  it('nothing is confirmed that still comes, and in the end everything, whatever was thinned and whatever comes when', () => {
    const order = fc.array(fc.nat(1_000), { minLength: 60, maxLength: 60 });
    fc.assert(
      fc.property(
        fc.uniqueArray(fc.integer({ min: 2, max: 39 })),
        fc.integer({ min: 0, max: 20 }),
        order,
        (thinned, had, keys) => {
          let seen = newStoreSeen(STORE, T0);
          // Up to here all had come before, and those that were thinned too.
          for (let seq = 1; seq <= had; seq++) seen = withSeq(seen, seq, T0);
          const gone = new Set(thinned.filter((seq) => seq > had));
          if (thinned.length > 0) seen = withGap(seen, Math.min(...thinned), Math.max(...thinned), thinned.length, T0);
          const coming = Array.from({ length: 40 - had }, (_, i) => had + 1 + i).filter((seq) => !gone.has(seq));
          // What instances mix up is seconds apart at most.
          const mixed = coming
            .map((seq, i) => ({ seq, key: i * 10 + (keys[seq]! % 60) }))
            .sort((a, b) => a.key - b.key);
          const missing = new Set(coming);
          let ms = T0 + 60_000;
          for (const { seq } of mixed) {
            seen = withSeq(seen, seq, ms);
            missing.delete(seq);
            ms += 1_000;
            const least = Math.min(...missing, 41);
            expect(confirmable(seen, ms) ?? 0).toBeLessThan(least);
          }
          expect(confirmable(seen, ms + SETTLE_MS)).toBe(40);
        },
      ),
      { numRuns: 300 },
    );
  });
});

describe('the databases of a truck', () => {
  it('are at most eight; the one heard last stands last, the one not heard for longest goes first', () => {
    let stores: StoreSeen[] = [];
    for (let i = 1; i <= 9; i++) stores = withStore(stores, `s${i}`, T0 + i, (seen) => seen);
    stores = withStore(stores, 's2', T0 + 20, (seen) => ({ ...seen, floor: 5 }));
    expect(stores.map(({ store }) => store)).toEqual(['s3', 's4', 's5', 's6', 's7', 's8', 's9', 's2']);
    expect(stores.at(-1)).toMatchObject({ firstMs: T0 + 2, lastMs: T0 + 20, floor: 5 });
  });
});
