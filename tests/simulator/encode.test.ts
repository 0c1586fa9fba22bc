import { describe, expect, it } from 'vitest';
import { broadcast, candumpLine, dm1Payload, encodeGroup, nameBytes, putBits } from '../../simulator/encode.js';
import fc from '../support/property.js';

const hex = (data: Uint8Array) => Buffer.from(data).toString('hex').toUpperCase();

describe('groups', () => {
  it('leaves everything not available that was not given, unused bits too', () => {
    expect(hex(encodeGroup(65268, {}))).toBe('FFFFFFFFFFFFFFFF');
    expect(hex(encodeGroup(65265, { 84: 10 }))).toBe('FF000AFFFFFFFFFF');
  });

  // Own construction from the published layout; no published frame exists for these groups.
  it('builds the tire frame of the fact sheet', () => {
    const values = { 929: 0x12, 241: 828, 242: 40, 1699: 1, 1698: 0, 1697: 0, 2586: 12.5, 2587: 3 };
    expect(hex(encodeGroup(65268, values))).toBe('12CF2027C17D007F');
  });

  it('builds the brake stroke frame of the fact sheet', () => {
    const codes = Object.fromEntries(Array.from({ length: 20 }, (_, i) => [3785 + i, 0]));
    expect(hex(encodeGroup(64881, { ...codes, 3787: 2, 3796: 3 }))).toBe('80000000060000F0');
  });

  it('builds the air frame of the fact sheet', () => {
    const data = encodeGroup(65198, { 46: 1000, 1087: 960, 1088: 944, 1351: 1 });
    expect(hex(data)).toBe('7DFF7876FFFFFDFF');
  });

  it('builds a recorded tire frame: location 0x00, 228 kPa, 27.0 °C', () => {
    // Real frame 18FEF427#00398025FFFFFFFF of the open J1939 repository ip332/J1939.
    expect(hex(encodeGroup(65268, { 929: 0, 241: 228, 242: 27 }))).toBe('00398025FFFFFFFF');
  });

  it.each([
    [687.9, 172],
    [689.9, 172],
    [690.1, 173],
    [-5, 0],
    [1000, 250],
    // Above the range there are only indicators, so the top of the range is sent.
    [1200, 250],
  ])('rounds %f kPa to the 4 kPa step %i', (kpa, raw) => {
    expect(encodeGroup(65268, { 241: kpa })[1]).toBe(raw);
  });

  it('refuses a signal that is not in the group', () => {
    expect(() => encodeGroup(65268, { 84: 1 })).toThrow(/65268/);
  });
});

describe('bits', () => {
  it('equal a big-integer shift at every place', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 63 }), fc.integer({ min: 1, max: 32 }), fc.nat(), (start, bits, value) => {
        fc.pre(start + bits <= 64);
        const raw = value % 2 ** bits;
        const data = new Uint8Array(8).fill(0xff);
        putBits(data, start, bits, raw);
        const ones = (1n << 64n) - 1n;
        const field = ((1n << BigInt(bits)) - 1n) << BigInt(start);
        const want = (ones & ~field) | (BigInt(raw) << BigInt(start));
        expect(Buffer.from(data).readBigUInt64LE()).toBe(want);
      }),
    );
  });
});

describe('longer messages', () => {
  it('sends the published 20-byte broadcast (can-utils kickstart, PGN 0x12300)', () => {
    const payload = Uint8Array.from(Buffer.from('0123456789ABCDEF0123456789ABCDEF01234567', 'hex'));
    const frames = broadcast(0, 0x80, 0x12300, payload).map(({ data }) => hex(data));
    expect(frames).toEqual(['20140003FF002301', '010123456789ABCD', '02EF0123456789AB', '03CDEF01234567FF']);
  });

  it('sends the published four codes (pretty_j1939 tests)', () => {
    const codes = [91, 92, 93, 94].map((spn, i) => ({ spn, fmi: 3 + i, count: 1 + i }));
    const payload = dm1Payload('none', codes);
    const frames = broadcast(0, 0, 65226, payload).map(({ data }) => hex(data));
    expect(frames).toEqual(['20120003FFCAFE00', '0100FF5B0003015C', '020004025D000503', '035E000604FFFFFF']);
  });

  it('keeps 50 to 200 ms between the packets', () => {
    const times = broadcast(1000, 0, 65226, new Uint8Array(18)).map(({ t }) => t);
    for (const [i, t] of times.slice(1).entries()) {
      expect(t - times[i]!).toBeGreaterThanOrEqual(50);
      expect(t - times[i]!).toBeLessThanOrEqual(200);
    }
  });

  it('says "no code" in the published form, and lamps in their bits', () => {
    expect(hex(dm1Payload('none', []))).toBe('00FF00000000FFFF');
    expect(hex(dm1Payload('amber', [{ spn: 117, fmi: 18, count: 1 }]))).toBe('04FF75001201FFFF');
    expect(dm1Payload('red', [{ spn: 520302, fmi: 17, count: 30 }])[0]).toBe(0x10);
    // Real frame 18FECA27#00FF6EF0F11EFFFF: SPN 520302 FMI 17, 30 times.
    expect(hex(dm1Payload('none', [{ spn: 520302, fmi: 17, count: 30 }]))).toBe('00FF6EF0F11EFFFF');
  });

  it('puts identity, manufacturer, function and industry group where a NAME has them', () => {
    const name = Buffer.from(nameBytes(0x1042, 37)).readBigUInt64LE();
    expect(name & 0x1fffffn).toBe(0x1042n);
    expect((name >> 40n) & 0xffn).toBe(37n);
    expect((name >> 60n) & 7n).toBe(1n);
    expect(name >> 63n).toBe(0n);
  });
});

it('writes the line that candump -L writes', () => {
  const frame = { t: 61_007, id: 0x18fef433, data: Uint8Array.of(0, 0x39, 0x80, 0x25, 255, 255, 255, 255) };
  expect(candumpLine(1772456400, 'can0', frame)).toBe('(1772456461.007000) can0 18FEF433#00398025FFFFFFFF');
});
