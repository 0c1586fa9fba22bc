import { describe, expect, it } from 'vitest';
import { decodeDm1, faultArea, faultText, fmiText } from '../../../daemon/j1939/dm1.js';
import { faultRows } from '../../../daemon/j1939/fault-areas.js';
import fc from '../../support/property.js';
import { bytes } from './helpers.js';

describe('trouble codes', () => {
  it('never throw, and are at most (length − 2) / 4', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), fc.nat(250), (data, length) => {
        const { codes } = decodeDm1(data, length);
        expect(codes.length).toBeLessThanOrEqual(Math.max(0, Math.floor((Math.min(length, data.length) - 2) / 4)));
        for (const { spn, fmi } of codes) {
          expect(spn).toBeLessThan(2 ** 19);
          expect(fmi).toBeLessThan(32);
          expect(spn === 0 && fmi === 0).toBe(false);
        }
      }),
    );
  });

  it('are found again after any packing (fact sheet 4.4)', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 2 ** 19 - 1 }), fc.nat(31), fc.nat(126), (spn, fmi, oc) => {
        const data = [0x10, 0xff, spn & 255, (spn >> 8) & 255, ((spn >> 16) << 5) | fmi, oc];
        const { codes, lamps } = decodeDm1(data, 6);
        expect(codes).toEqual([{ spn, fmi, oc, cm: 0 }]);
        expect(lamps).toEqual({ mil: 'off', redStop: 'on', amber: 'off', protect: 'off' });
      }),
    );
  });

  it('of a message too short for lamps say nothing', () => {
    const silent = { mil: 'absent', redStop: 'absent', amber: 'absent', protect: 'absent' };
    expect(decodeDm1([], 0)).toMatchObject({ lamps: silent, codes: [] });
    expect(decodeDm1(bytes('10FF5B00'), 4).codes).toEqual([]);
  });
});

/** Fact sheet, section 9, row by row. */
const SECTION_9: [area: string, spns: (number | [number, number])[]][] = [
  ['tire-pressure', [241, [7113, 7152]]],
  ['tire-temperature', [242, [7153, 7192]]],
  ['tire-sensor', [1697, [7273, 7312]]],
  ['tire-leak', [1698, 2586, [7233, 7272]]],
  ['tire-size', [1069]],
  ['brake-stroke', [[3785, 3804]]],
  ['brake-stroke-monitor', [3805, 3806]],
  ['brake-adjustment', [[819, 828]]],
  ['brake-lining', [[1060, 1065], [1099, 1106], 2620]],
  ['brake-temperature', [3839]],
  ['air-pressure', [46, 116, 117, 118, [1086, 1090], 2649]],
  [
    'abs',
    [
      [789, 800],
      [813, 818],
    ],
  ],
  [
    'brake-switch',
    [
      [1045, 1058],
      [1066, 1068],
    ],
  ],
  ['tire-inflation', [[843, 853]]],
  ['network', [639, [2000, 2253]]],
];

describe('areas of faults', () => {
  it('are those of the fact sheet and no others', () => {
    const expected = new Map<number, string>();
    for (const [area, spns] of SECTION_9) {
      for (const entry of spns) {
        const [first, last] = typeof entry === 'number' ? [entry, entry] : entry;
        for (let spn = first; spn <= last; spn++) expected.set(spn, area);
      }
    }
    for (let spn = 0; spn <= 8000; spn++) expect([spn, faultArea(spn)]).toEqual([spn, expected.get(spn) ?? null]);
    expect(faultArea(520302)).toBeNull();
  });

  it('overlap nowhere and have words for each SPN', () => {
    const rows = faultRows().toSorted((a, b) => a.first - b.first);
    for (const [i, row] of rows.entries()) {
      expect(row.first).toBeLessThanOrEqual(row.last);
      if (i > 0) expect(row.first).toBeGreaterThan(rows[i - 1]!.last);
      for (let spn = row.first; spn <= row.last; spn++) expect(faultText(spn)).toMatch(/^[\x20-\x7e]{3,64}$/);
    }
  });

  it('name the wheel and the missing unit', () => {
    expect(faultText(3785)).toBe('brake stroke, tractor axle 1 left');
    expect(faultText(3804)).toBe('brake stroke, trailer axle 5 right');
    expect(faultText(1100)).toBe('brake lining, front axle right');
    expect(faultText(1101)).toBe('brake lining, rear axle 1 left');
    expect(faultText(1106)).toBe('brake lining, rear axle 3 right');
    expect(faultText(7113)).toBe('pressure of tire 1');
    expect(faultText(2051)).toBe('no messages from tire pressure controller (address 51)');
    expect(faultText(91)).toBeNull();
  });

  it('have words for every failure mode', () => {
    for (let fmi = 0; fmi <= 31; fmi++) expect(fmiText(fmi)).not.toBe('');
    expect(fmiText(22)).toBe('failure mode 22');
  });
});
