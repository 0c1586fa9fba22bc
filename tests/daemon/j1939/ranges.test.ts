import { describe, expect, it } from 'vitest';
import { classify, type Quality } from '../../../daemon/j1939/ranges.js';
import { signalOf } from '../../../daemon/j1939/signals.js';

/* Fact sheet, section 6: the bands by the most significant byte, both edges of each; the codes of short fields. */

const BANDS: [raw: number, bits: number, quality: Quality][] = [
  [0x00, 8, 'good'],
  [0xfa, 8, 'good'],
  [0xfb, 8, 'specific'],
  [0xfc, 8, 'reserved'],
  [0xfd, 8, 'reserved'],
  [0xfe, 8, 'error'],
  [0xff, 8, 'absent'],
  [0xfaff, 16, 'good'],
  [0xfb00, 16, 'specific'],
  [0xfbff, 16, 'specific'],
  [0xfc00, 16, 'reserved'],
  [0xfdff, 16, 'reserved'],
  [0xfe00, 16, 'error'],
  [0xfeff, 16, 'error'],
  [0xff00, 16, 'absent'],
  [0xffff, 16, 'absent'],
  [0xfaffffff, 32, 'good'],
  [0xfb000000, 32, 'specific'],
  [0xfc000000, 32, 'reserved'],
  [0xfdffffff, 32, 'reserved'],
  [0xfe000000, 32, 'error'],
  [0xfeffffff, 32, 'error'],
  [0xff000000, 32, 'absent'],
  [0xffffffff, 32, 'absent'],
];

describe('value ranges', () => {
  it.each(BANDS)('number %i of %i bits is %s', (raw, bits, quality) => {
    expect(classify(raw, bits, 'number')).toBe(quality);
  });

  it.each([
    [2, 2, 3],
    [3, 6, 7],
    [4, 14, 15],
    [5, 30, 31],
  ])('codes of %i bits: %i is an error, %i is not available, the rest are good', (bits, error, absent) => {
    for (let raw = 0; raw < error; raw++) expect(classify(raw, bits, 'state')).toBe('good');
    expect(classify(error, bits, 'state')).toBe('error');
    expect(classify(absent, bits, 'state')).toBe('absent');
  });

  it('one bit has no room for an indicator', () => {
    expect([classify(0, 1, 'state'), classify(1, 1, 'state')]).toEqual(['good', 'good']);
  });

  it('of a location only FF is special, and any address may control', () => {
    for (let raw = 0; raw < 255; raw++) expect(classify(raw, 8, 'location')).toBe('good');
    for (let raw = 0; raw <= 253; raw++) expect(classify(raw, 8, 'address')).toBe('good');
    expect(classify(255, 8, 'location')).toBe('absent');
    expect(classify(254, 8, 'address')).toBe('specific');
    expect(classify(255, 8, 'address')).toBe('absent');
  });

  /* Fact sheet 1.1, 2.1, 2.4, 3.5 and 4.1: what a signal's own text says wins. */
  it.each<[spn: number, qualities: Partial<Record<number, Quality>>]>([
    [1699, { 0: 'good', 1: 'good', 2: 'reserved', 3: 'absent' }],
    [1698, { 0: 'good', 1: 'good', 2: 'error', 3: 'absent' }],
    [1697, { 0: 'good', 1: 'reserved', 2: 'error', 3: 'absent' }],
    [2587, { 0: 'good', 1: 'good', 2: 'good', 3: 'good', 4: 'good', 5: 'reserved', 6: 'error', 7: 'absent' }],
    [3785, { 0: 'good', 1: 'good', 2: 'good', 3: 'good', 4: 'reserved', 5: 'reserved', 6: 'error', 7: 'absent' }],
    [1438, { 0: 'good', 1: 'good', 2: 'reserved', 3: 'absent' }],
    [1439, { 2: 'reserved', 3: 'absent' }],
    [1792, { 2: 'reserved', 3: 'absent' }],
    [1793, { 2: 'reserved', 3: 'absent' }],
    [563, { 2: 'reserved', 3: 'absent' }],
    [3839, { 2: 'reserved', 3: 'absent' }],
    [2917, { 2: 'good', 3: 'absent' }],
    [899, { 11: 'good', 12: 'reserved', 14: 'good', 15: 'absent' }],
    [4154, { 7: 'good', 8: 'reserved', 13: 'reserved', 14: 'error', 15: 'absent' }],
    [1481, { 0: 'good', 251: 'good', 253: 'good', 254: 'specific', 255: 'absent' }],
    [1483, { 251: 'good', 255: 'absent' }],
    [929, { 251: 'good', 254: 'good', 255: 'absent' }],
    [962, { 0: 'specific', 1: 'good' }],
  ])('SPN %i has its own', (spn, qualities) => {
    const { bits, kind, exceptions } = signalOf(spn)!;
    for (const [raw, quality] of Object.entries(qualities)) {
      expect([raw, classify(Number(raw), bits, kind, exceptions)]).toEqual([raw, quality]);
    }
  });
});
