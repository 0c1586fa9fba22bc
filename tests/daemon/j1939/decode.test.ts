import { describe, expect, it } from 'vitest';
import { decodeGroup, reader, readerFor } from '../../../daemon/j1939/decode.js';
import { GROUPS, signalOf } from '../../../daemon/j1939/signals.js';
import fc from '../../support/property.js';
import { bytes } from './helpers.js';

const payload = fc.uint8Array({ minLength: 0, maxLength: 64 });
const pgn = fc.constantFrom(...GROUPS.map((group) => group.pgn));

/** The field as the fact sheet defines it: shift the payload as one little-endian integer. */
function naiveRaw(data: Uint8Array, startBit: number, bits: number): number {
  const all = data.reduceRight((sum, byte) => (sum << 8n) | BigInt(byte), 0n);
  return Number((all >> BigInt(startBit)) & ((1n << BigInt(bits)) - 1n));
}

describe('signal readers', () => {
  it('read any field of 1 to 32 bits as the definition does', () => {
    fc.assert(
      fc.property(
        fc.uint8Array({ minLength: 8, maxLength: 8 }),
        fc.integer({ min: 0, max: 63 }),
        fc.integer({ min: 1, max: 32 }),
        (data, startBit, bits) => {
          fc.pre(startBit + bits <= 64);
          const field = readerFor({ startBit, bits, scale: 1, offset: 0 });
          const value = field.read(data, 8);
          expect(field.raw).toBe(naiveRaw(data, startBit, bits));
          if (field.quality === 'good') expect(value).toBe(field.raw);
          else expect(value).toBeNaN();
        },
      ),
    );
  });

  it('give a number from a valid field only, whatever the frame', () => {
    fc.assert(
      fc.property(pgn, payload, fc.nat(70), (group, data, length) => {
        for (const field of decodeGroup(group, data, length)) {
          if (field.quality !== 'good' || signalOf(field.spn)!.kind === 'text') expect(field.value).toBeNaN();
          else expect(field.value).toBeTypeOf('number');
        }
      }),
    );
  });

  it('call a field absent that the data do not reach', () => {
    for (const { length, signals } of GROUPS) {
      if (length === null) continue;
      for (const { spn, startBit, bits } of signals) {
        const field = reader(spn);
        const needed = Math.ceil((startBit + bits) / 8);
        const zeros = new Uint8Array(8);
        field.read(zeros, needed - 1);
        expect([spn, field.quality, field.raw]).toEqual([spn, 'absent', Number.NaN]);
        field.read(zeros, needed);
        expect([spn, field.raw]).toEqual([spn, 0]);
        field.read(zeros.subarray(0, needed - 1), 8);
        expect([spn, field.quality]).toEqual([spn, 'absent']);
      }
    }
  });

  it('give the double nearest to the decimal of every step', () => {
    for (const [step, digits] of [
      [0.1, 1],
      [0.4, 1],
      [0.05, 2],
      [0.5, 1],
      [0.03125, 5],
      [0.00390625, 8],
    ] as const) {
      const field = readerFor({ startBit: 0, bits: 16, scale: step, offset: 0 });
      for (let raw = 0; raw <= 0xfaff; raw += 7) {
        const value = field.read(Uint8Array.of(raw & 255, raw >> 8), 2);
        const decimal = (BigInt(raw) * BigInt(Math.round(step * 10 ** digits))).toString().padStart(digits + 1, '0');
        expect(value).toBe(Number(`${decimal.slice(0, -digits)}.${decimal.slice(-digits)}`));
      }
    }
    expect(readerFor({ startBit: 0, bits: 8, scale: 0.1, offset: 0 }).read(Uint8Array.of(3), 1)).toBe(0.3);
    expect(readerFor({ startBit: 0, bits: 8, scale: 0.1, offset: -12.5 }).read(Uint8Array.of(3), 1)).toBe(-12.2);
  });

  it('read a position to the step of 1e-7 degrees', () => {
    // 41.2 and -96.1 degrees: (deg + 210) × 10^7.
    const data = new Uint8Array(8);
    const view = new DataView(data.buffer);
    view.setUint32(0, 2_512_000_000, true);
    view.setUint32(4, 1_139_000_000, true);
    expect([reader(584).read(data, 8), reader(585).read(data, 8)]).toEqual([41.2, -96.1]);
  });

  it('take a scale that is no decimal', () => {
    expect(readerFor({ startBit: 0, bits: 8, scale: 1 / 3, offset: 0 }).read(Uint8Array.of(6), 1)).toBeCloseTo(2, 12);
  });

  it('refuse what no payload has: our own mistake, not the bus', () => {
    expect(() => reader(1)).toThrow(RangeError);
    expect(() => reader(237)).toThrow(RangeError);
    expect(() => readerFor({ startBit: 0, bits: 33, scale: 1, offset: 0 })).toThrow(RangeError);
    expect(() => readerFor({ startBit: -1, bits: 8, scale: 1, offset: 0 })).toThrow(RangeError);
  });

  it('are not shared: one read does not change another holder’s quality', () => {
    const [a, b] = [reader(241), reader(241)];
    a.read(bytes('00FF'), 2);
    b.read(bytes('0039'), 2);
    expect([a.quality, b.quality]).toEqual(['absent', 'good']);
  });
});

describe('decodeGroup', () => {
  it('gives texts of states', () => {
    const fields = decodeGroup(65268, bytes('12CF2027C17D007F'), 8);
    expect(fields.find((field) => field.spn === 2587)).toMatchObject({ raw: 3, value: 3, text: 'too low' });
    expect(fields.find((field) => field.spn === 1699)).toMatchObject({ text: 'polled' });
  });

  it('splits component identification at its stars (field order: fact sheet 4.3)', () => {
    const data = new TextEncoder().encode('ACME*M1*S-77*');
    expect(decodeGroup(65259, data, data.length).map(({ spn, text, quality }) => [spn, text, quality])).toEqual([
      [586, 'ACME', 'good'],
      [587, 'M1', 'good'],
      [588, 'S-77', 'good'],
      [233, null, 'absent'],
    ]);
  });

  it('knows no group that is not in the table', () => {
    expect(decodeGroup(65280, new Uint8Array(8), 8)).toEqual([]);
  });
});
