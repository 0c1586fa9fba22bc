import { describe, expect, it } from 'vitest';
import { pgnOf } from '../../../daemon/j1939/identifier.js';
import { BASE_PGNS, interestTable, kernelFilters } from '../../../daemon/j1939/interest.js';
import fc from '../../support/property.js';

/** linux/can.h: a filter matches when received & mask == id & mask; bit 31 of the received id marks a 29-bit frame. */
function passes(filters: ReturnType<typeof kernelFilters>, id: number, extended: boolean): boolean {
  const received = (extended ? id | 0x80000000 : id) >>> 0;
  return filters.some(({ id: wanted, mask }) => (received & mask) >>> 0 === (wanted & mask) >>> 0);
}

const anyPgn = fc.integer({ min: 0, max: 0x3ffff }).map((wide) => pgnOf(wide << 8));
const anyId = fc.integer({ min: 0, max: 0x1fffffff });

describe('of interest', () => {
  it('is what the table, the kernel filters and the list of groups agree on', () => {
    fc.assert(
      fc.property(fc.uniqueArray(anyPgn, { maxLength: 30 }), fc.array(anyId, { maxLength: 50 }), (extra, ids) => {
        const pgns = [...BASE_PGNS, ...extra];
        const table = interestTable(pgns);
        const filters = kernelFilters(pgns);
        const near = pgns.flatMap((pgn) => [
          pgn << 8,
          (pgn + 1) << 8,
          (6 << 26) | (pgn << 8) | 0x33,
          (pgn << 8) | (1 << 25),
        ]);
        for (const id of [...ids, ...near].map((one) => one & 0x1fffffff)) {
          const listed = pgns.includes(pgnOf(id));
          expect(table[(id >>> 8) & 0x3ffff] === 1).toBe(listed);
          expect(passes(filters, id, true)).toBe(listed);
        }
      }),
    );
  });

  it('agrees on every group there can be', () => {
    const table = interestTable(BASE_PGNS);
    const filters = kernelFilters(BASE_PGNS);
    const wanted = new Set(BASE_PGNS);
    for (let wide = 0; wide < 0x40000; wide++) {
      const listed = wanted.has(pgnOf(wide << 8));
      if ((table[wide] === 1) !== listed) expect.fail(`table at ${wide.toString(16)}`);
      if (wide % 37 === 0 && passes(filters, wide << 8, true) !== listed) expect.fail(`filter at ${wide.toString(16)}`);
    }
  });

  it('lets no 11-bit frame through', () => {
    const filters = kernelFilters(BASE_PGNS);
    for (let id = 0; id < 0x800; id++) expect(passes(filters, id, false)).toBe(false);
  });

  it('includes trouble codes, claims and transport, whatever their destination', () => {
    const table = interestTable(BASE_PGNS);
    for (const id of [0x18feca00, 0x18eeff33, 0x18ecff00, 0x18ec2700, 0x18ebff00, 0x18eb0001, 0x18fef433]) {
      expect(table[(id >>> 8) & 0x3ffff]).toBe(1);
    }
    for (const id of [0, 0x18eaff0b, 0x0cf00300, 0x18ef1100, 0x1aecff00]) expect(table[(id >>> 8) & 0x3ffff]).toBe(0);
  });

  it('fits the kernel’s limit of 512 filters (linux/can.h)', () => {
    expect(kernelFilters(BASE_PGNS).length).toBeLessThanOrEqual(512);
    expect(kernelFilters([65268, 65268])).toHaveLength(1);
  });

  it('refuses numbers that are no PGN: our own mistake', () => {
    for (const wrong of [-1, 0x40000, 1.5, 0xec01]) {
      expect(() => interestTable([wrong])).toThrow(RangeError);
      expect(() => kernelFilters([wrong])).toThrow(RangeError);
    }
  });
});
