import { describe, expect, it } from 'vitest';
import {
  decodeComponentIdentification,
  decodeVehicleIdentification,
  MAX_TEXT,
  printableAscii,
  starFields,
} from '../../../daemon/j1939/text.js';
import fc from '../../support/property.js';

const encode = (text: string) => new TextEncoder().encode(text);

describe('texts from the bus', () => {
  it('are printable ASCII of at most 64 characters, whatever was sent', () => {
    fc.assert(
      fc.property(
        fc.uint8Array({ maxLength: 300 }),
        fc.nat(300),
        fc.integer({ min: 1, max: 6 }),
        (data, length, most) => {
          const fields = starFields(data, length, most);
          expect(fields.length).toBeLessThanOrEqual(most);
          for (const field of fields) expect(field).toMatch(/^[\x20-\x7e]{0,64}$/);
        },
      ),
    );
    expect(printableAscii(encode('x'.repeat(100)), 0, 100)).toHaveLength(MAX_TEXT);
    expect(printableAscii([0x1b, 0x5b, 0x33, 0x31, 0x6d, 0xc3, 0xa9, 0], 0, 8)).toBe('[31m');
  });

  it('vehicle identification ends at its star', () => {
    const vin = '1XX00000000000017';
    expect(decodeVehicleIdentification(encode(`${vin}*\xff\xff`), 20)).toBe(vin);
    expect(decodeVehicleIdentification(encode(vin), 17)).toBe(vin);
    expect(decodeVehicleIdentification(new Uint8Array(18).fill(0xff), 18)).toBe('');
    expect(decodeVehicleIdentification(new Uint8Array(0), 0)).toBe('');
  });

  it('component identification keeps empty fields in their place', () => {
    const data = encode('ACME**S-77*');
    expect(decodeComponentIdentification(data, data.length)).toEqual({
      make: 'ACME',
      model: '',
      serial: 'S-77',
      unit: '',
    });
  });
});
