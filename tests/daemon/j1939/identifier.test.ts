import { describe, expect, it } from 'vitest';
import {
  destinationOf,
  isJ1939,
  isPdu1,
  makeId,
  pgnOf,
  priorityOf,
  sourceOf,
} from '../../../daemon/j1939/identifier.js';
import fc from '../../support/property.js';

describe('identifier', () => {
  it('falls into parts that make it again', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 0x1fffffff }), (id) => {
        const parts = {
          priority: priorityOf(id),
          pgn: pgnOf(id),
          source: sourceOf(id),
          destination: destinationOf(id),
        };
        expect(makeId(parts)).toBe(id);
        // Fact sheet 5.1: PGN = EDP<<17 | DP<<16 | PF<<8 | (PF >= 240 ? PS : 0).
        const [pf, ps] = [Math.floor(id / 65536) % 256, Math.floor(id / 256) % 256];
        expect(parts.pgn).toBe((Math.floor(id / 65536 / 256) % 4) * 65536 + pf * 256 + (pf >= 240 ? ps : 0));
        expect(isPdu1(id)).toBe(pf < 240);
        expect(isJ1939(id)).toBe(Math.floor(id / 2 ** 25) % 2 === 0);
      }),
    );
  });

  it('changes from PDU1 to PDU2 at PF 240', () => {
    expect([pgnOf(0x18ef3311), destinationOf(0x18ef3311)]).toEqual([0xef00, 0x33]);
    expect([pgnOf(0x18f03311), destinationOf(0x18f03311)]).toEqual([0xf033, 255]);
  });

  it('does not take ISO 15765-3 for J1939', () => {
    expect(isJ1939(0x1bda00f9)).toBe(false);
    expect(isJ1939(0x18dafff9)).toBe(true);
  });

  it('refuses parts that fit no identifier', () => {
    const good = { priority: 6, pgn: 65268, source: 51 };
    expect(makeId(good)).toBe(0x18fef433);
    expect(makeId({ priority: 6, pgn: 0xea00, source: 11 })).toBe(0x18eaff0b);
    for (const wrong of [
      { priority: 8 },
      { pgn: 0xea01 },
      { pgn: 0x40000 },
      { source: 256 },
      { source: -1 },
      { destination: 256 },
    ]) {
      expect(() => makeId({ ...good, ...wrong })).toThrow(RangeError);
    }
  });
});
