import { describe, expect, it } from 'vitest';
import { CHAMBER_ROWS, chamberNote, strokeExceeds, strokeLimit } from '../../config/chambers.js';

const IN = 25.4;

/**
 * Section 1.2 of the regulation sheet, written down a second time: type, rated stroke in inches (null: no mark), limit in
 * inches and as printed in millimetres, and M where the figure is from memory.
 */
const SHEET: [type: string, rated: number | null, limit: number, printedMm: number, memory: '' | 'M'][] = [
  ['6', null, 1 + 1 / 4, 31.8, 'M'],
  ['9', null, 1 + 3 / 8, 34.9, 'M'],
  ['12', null, 1 + 3 / 8, 34.9, ''],
  ['12', 2.25, 1 + 3 / 4, 44.5, ''],
  ['16', null, 1 + 3 / 4, 44.5, ''],
  ['16', 2.5, 2, 50.8, ''],
  ['20', null, 1 + 3 / 4, 44.5, ''],
  ['20', 2.5, 2, 50.8, ''],
  ['20', 3, 2 + 1 / 2, 63.5, 'M'],
  ['24', null, 1 + 3 / 4, 44.5, ''],
  ['24', 2.5, 2, 50.8, ''],
  ['24', 3, 2 + 1 / 2, 63.5, ''],
  ['30', null, 2, 50.8, ''],
  ['30', 3, 2 + 1 / 2, 63.5, ''],
  ['36', null, 2 + 1 / 4, 57.2, ''],
  ['DD3-30', null, 2 + 1 / 4, 57.2, 'M'],
  ['BOLT-A', null, 1 + 3 / 8, 34.9, 'M'],
  ['BOLT-B', null, 1 + 3 / 4, 44.5, 'M'],
  ['BOLT-C', null, 1 + 3 / 4, 44.5, 'M'],
  ['BOLT-D', null, 1 + 1 / 4, 31.8, 'M'],
  ['BOLT-E', null, 1 + 3 / 8, 34.9, 'M'],
  ['BOLT-F', null, 2 + 1 / 4, 57.2, 'M'],
  ['BOLT-G', null, 2, 50.8, 'M'],
  ['ROTO-9', null, 1 + 1 / 2, 38.1, 'M'],
  ['ROTO-12', null, 1 + 1 / 2, 38.1, 'M'],
  ['ROTO-16', null, 2, 50.8, 'M'],
  ['ROTO-20', null, 2, 50.8, 'M'],
  ['ROTO-24', null, 2, 50.8, 'M'],
  ['ROTO-30', null, 2 + 1 / 4, 57.2, 'M'],
  ['ROTO-36', null, 2 + 3 / 4, 69.9, 'M'],
  ['ROTO-50', null, 3, 76.2, 'M'],
];

describe('49 CFR 393.47(e), every row of the sheet', () => {
  it('has as many rows', () => {
    expect(CHAMBER_ROWS).toHaveLength(SHEET.length);
  });

  describe.each(SHEET)('type %s, rated %s in, limit %s in, %s mm %s', (type, rated, limitIn, printed, memory) => {
    const limit = strokeLimit({ type, ratedStrokeMm: rated === null ? null : rated * IN });
    // By the inch and by the rounded millimetres beside it.
    it.each([limitIn * IN, printed])('at %s mm', (at) => {
      expect(strokeExceeds(limit.limitMm, at - 0.1)).toBe(false);
      expect(strokeExceeds(limit.limitMm, at)).toBe(false);
      expect(strokeExceeds(limit.limitMm, at + 0.1)).toBe(true);
    });

    it(memory === 'M' ? 'is marked as from memory' : 'is not from memory', () => {
      expect(limit.certainty === 'M').toBe(memory === 'M');
      expect(limit.basis.includes('memory')).toBe(memory === 'M');
    });
  });
});

describe('which row a chamber has', () => {
  const limitOf = (type: string, ratedIn: number | null) =>
    strokeLimit({ type, ratedStrokeMm: ratedIn === null ? null : ratedIn * IN }).limitMm;

  it.each([
    ['30', 2.5, 50.8],
    ['20', 2.25, 44.5],
    ['16', 2.25, 44.5],
    ['12', 1.75, 34.925],
  ])('type %s with its ordinary rated stroke of %s in has the standard limit', (type, rated, limit) => {
    expect(limitOf(type, rated)).toBe(limit);
  });

  it('rated stroke decides, and may be written in rounded millimetres', () => {
    expect(strokeLimit({ type: '30', ratedStrokeMm: 76 }).limitMm).toBe(63.5);
    expect(strokeLimit({ type: '24', ratedStrokeMm: 64 }).limitMm).toBe(50.8);
    expect(strokeLimit({ type: '24', ratedStrokeMm: 75 }).limitMm).toBe(50.8);
  });

  it('without a rated stroke the shorter, standard limit holds', () => {
    for (const type of ['12', '16', '20', '24', '30']) {
      const all = CHAMBER_ROWS.filter((r) => r.type === type).map((r) => r.limitIn);
      expect(limitOf(type, null)).toBeCloseTo(Math.min(...all) * IN, 0);
    }
  });

  it('regulations.md W-15: 1.75 in is legal for 24 and 30, 1.80 in is not for 24', () => {
    expect(strokeExceeds(limitOf('30', null), 1.75 * IN)).toBe(false);
    expect(strokeExceeds(limitOf('24', null), 1.75 * IN)).toBe(false);
    expect(strokeExceeds(limitOf('24', null), 1.8 * IN)).toBe(true);
  });

  it('a type that the table lacks has 80 % of its rated stroke (49 CFR 396 App. A 1.a(5)(b))', () => {
    const limit = strokeLimit({ type: 'X9', ratedStrokeMm: 2.5 * IN });
    expect(limit.limitMm).toBeCloseTo(2 * IN, 9);
    expect(limit.basis).toContain('80 %');
  });

  it('a chamber of which nothing is known has the shorter standard limit of heavy axles, 1 3/4 in', () => {
    for (const chamber of [null, { type: 'X9', ratedStrokeMm: null }]) {
      expect(strokeLimit(chamber).limitMm).toBe(44.5);
      expect(strokeLimit(chamber).basis).toContain('common practice');
    }
  });

  it('types are found however they are written', () => {
    expect(limitOf('dd3 30', null)).toBe(limitOf('DD3-30', null));
    expect(limitOf(' bolt_f', null)).toBe(57.2);
  });
});

describe('notes', () => {
  it('none for a type of the table', () => {
    expect(chamberNote({ type: '30', ratedStrokeMm: null })).toBeNull();
  });

  it('a letter is answered with the bare type and its rated stroke', () => {
    const note = chamberNote({ type: '24L', ratedStrokeMm: null });
    expect(note?.text).toContain('44.5 mm');
    expect(note?.hint).toContain('"type: 24"');
  });

  it('an unknown type is answered with the known ones', () => {
    expect(chamberNote({ type: 'X9', ratedStrokeMm: null })?.hint).toContain('DD3-30');
  });
});
