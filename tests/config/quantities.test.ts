import { describe, expect, it } from 'vitest';
import {
  type Dimension,
  parseAnyQuantity,
  parseLocation,
  parseOf,
  parseQuantity,
  parseWhole,
  writeQuantity,
} from '../../config/quantities.js';
import fc from '../support/property.js';

const value = (text: string, dimension: Dimension): number => {
  const parsed = parseQuantity(text, dimension);
  if (parsed.complaint !== undefined) throw new Error(`${parsed.complaint.text}: ${parsed.complaint.hint}`);
  return parsed.value;
};
const complaint = (text: string, dimension: Dimension, range?: { low: number; high: number }) => {
  const parsed = parseQuantity(text, dimension, range);
  if (parsed.complaint === undefined) throw new Error(`${text} was taken as ${parsed.value}`);
  return parsed.complaint;
};

describe('units against figures that others print', () => {
  // regulations.md W-09: the table of 49 CFR 393.75(i) prints both.
  it.each([
    ['5 psi', 34.5],
    ['15 psi', 103.4],
  ])('%s is %s kPa (49 CFR 393.75(i))', (text, kPa) => {
    expect(Number(value(text, 'pressure').toFixed(1))).toBe(kPa);
  });

  // regulations.md 0: the CFR's own rounding.
  it.each([
    ['55 psi', 379],
    ['60 psi', 414],
  ])('%s is %s kPa (49 CFR 393.51, 571.121)', (text, kPa) => {
    expect(Math.round(value(text, 'pressure'))).toBe(kPa);
  });

  // regulations.md 1.2: inches and rounded millimetres of 49 CFR 393.47(e) side by side.
  it.each([
    ['1 1/4 in', 31.8],
    ['1 3/8 in', 34.9],
    ['1 3/4 in', 44.5],
    ['2 in', 50.8],
    ['2 1/4 in', 57.2],
    ['2.5 in', 63.5],
    ['2 3/4 in', 69.9],
    ['3 in', 76.2],
  ])('%s is %s mm (49 CFR 393.47(e))', (text, mm) => {
    expect(Math.abs(value(text, 'length') - mm)).toBeLessThanOrEqual(0.05 + 1e-9);
  });

  // regulations.md T-41, T-46, T-47, T-49.
  it.each([
    ['65 F', 18],
    ['200 °F', 93],
    ['250 °F', 121],
    ['270 °F', 132],
  ])('%s is %s °C', (text, celsius) => {
    expect(Math.round(value(text, 'temperature'))).toBe(celsius);
  });

  it('12.5 Pa/s is 0.75 kPa/min (monitors.md: SPN 2586 × 0.06)', () => {
    expect(value('12.5 Pa/s', 'pressureRate')).toBeCloseTo(0.75, 12);
  });

  // regulations.md D-06, D-07 as monitors.md prints them.
  it.each([
    ['2 psi/min', 13.8],
    ['3 psi/min', 20.7],
    ['5 psi/min', 34.5],
    ['6 psi/min', 41.4],
  ])('%s is %s kPa/min', (text, rate) => {
    expect(Number(value(text, 'pressureRate').toFixed(1))).toBe(rate);
  });

  it.each([
    ['41 mph', 66],
    ['55 mph', 88.5],
  ])('%s is %s km/h (49 CFR 393.75(i), T-05)', (text, kmh) => {
    expect(Math.abs(value(text, 'speed') - kmh)).toBeLessThan(0.05);
  });
});

describe('units by definition', () => {
  it.each<[string, Dimension, number]>([
    ['1 psi', 'pressure', 6.894757],
    ['1 bar', 'pressure', 100],
    ['690 kPa', 'pressure', 690],
    ['88 %', 'share', 0.88],
    ['92%', 'share', 0.92],
    ['2.25 in', 'length', 57.15],
    ['5.7 cm', 'length', 57],
    ['18 °C', 'temperature', 18],
    ['-40 °F', 'temperature', -40],
    ['-40 °C', 'temperature', -40],
    ['32 F', 'temperature', 0],
    ['30 Δ°C', 'temperatureDifference', 30],
    ['30 K', 'temperatureDifference', 30],
    ['54 Δ°F', 'temperatureDifference', 30],
    ['0 m', 'altitude', 0],
    ['1000 ft', 'altitude', 304.8],
    ['256 MB', 'size', 256e6],
    ['1 MiB', 'size', 1_048_576],
    ['90 d', 'duration', 7_776_000],
    ['600 s', 'duration', 600],
    ['10 min', 'duration', 600],
    ['1.5 h', 'duration', 5400],
    ['250 ms', 'duration', 0.25],
    ['20 kPa/min', 'pressureRate', 20],
    ['5 kPa/day', 'pressurePerDay', 5],
    ['6', 'number', 6],
    ['.5 bar', 'pressure', 50],
    ['1e2 kPa', 'pressure', 100],
    ['120 PSI', 'pressure', 827.37084],
    ['+3 kPa', 'pressure', 3],
  ])('%s as %s is %s', (text, dimension, expected) => {
    expect(value(text, dimension)).toBeCloseTo(expected, 9);
  });

  it('shares and their text are exact to and fro', () => {
    for (let percent = 0; percent <= 200; percent++) {
      expect(value(`${percent} %`, 'share')).toBe(percent / 100);
      expect(writeQuantity(percent / 100, 'share')).toBe(`${percent} %`);
    }
  });

  it('what is written is read back the same, to six places', () => {
    const dimensions: Dimension[] = [
      'pressure',
      'pressureRate',
      'temperature',
      'length',
      'duration',
      'share',
      'number',
    ];
    fc.assert(
      fc.property(fc.constantFrom(...dimensions), fc.integer({ min: -999_999, max: 999_999 }), (dimension, n) => {
        expect(value(writeQuantity(n / 100, dimension), dimension)).toBeCloseTo(n / 100, 6);
      }),
    );
  });
});

describe('refused, with what to write instead', () => {
  it('a number without a unit', () => {
    expect(complaint('120', 'pressure', { low: 200, high: 1400 })).toEqual({
      text: '"120" has no unit',
      hint: 'write "120 psi"; accepted: kPa, psi or bar',
    });
  });

  // The same bare number is another thing elsewhere: the example follows the plausible range.
  it.each([
    ['690', 'kPa'],
    ['100', 'psi'],
    ['8', 'bar'],
  ])('an example for %s that makes sense: %s', (text, unit) => {
    expect(complaint(text, 'pressure', { low: 200, high: 1400 }).hint).toContain(`"${text} ${unit}"`);
  });

  it.each<[string, Dimension, string]>([
    ['120 pis', 'pressure', '"pis" in "120 pis" is not a unit of a pressure'],
    ['18 °C', 'temperatureDifference', '"°C" in "18 °C" is not a unit of a difference of temperatures'],
    ['30 K', 'temperature', '"K" in "30 K" is not a unit of a temperature'],
    ['10 kPa', 'pressureRate', '"kPa" in "10 kPa" is not a unit of a pressure per time'],
    ['88', 'share', '"88" has no unit'],
    ['3 x', 'number', '"3 x" should be a plain number'],
    ['', 'pressure', '"" is not a pressure'],
    ['psi', 'pressure', '"psi" is not a pressure'],
    ['1 2 psi', 'pressure', '"1 2 psi" is not a pressure'],
    ['1/0 in', 'length', '"1/0 in" is not a length'],
    ['1.2.3 bar', 'pressure', '"1.2.3 bar" is not a pressure'],
    ['NaN kPa', 'pressure', '"NaN kPa" is not a pressure'],
    ['1e999 kPa', 'pressure', '"1e999 kPa" is not a pressure'],
    ['0x10 kPa', 'pressure', '"x10 kPa" in "0x10 kPa" is not a unit of a pressure'],
  ])('%s as %s', (text, dimension, message) => {
    expect(complaint(text, dimension).text).toBe(message);
  });

  it('a decimal comma', () => {
    expect(complaint('2,25 in', 'length').hint).toBe('write "2.25 in" (a point, not a comma)');
  });

  it('a value out of range, with the unit that was meant', () => {
    expect(complaint('100 kPa', 'pressure', { low: 200, high: 1400 })).toEqual({
      text: '"100 kPa" is out of range',
      hint: 'possible: 200 kPa to 1400 kPa; did you mean "100 psi"?',
    });
    expect(complaint('9999 kPa', 'pressure', { low: 200, high: 1400 }).hint).toBe('possible: 200 kPa to 1400 kPa');
  });

  it('never throws, whatever is written', () => {
    fc.assert(
      fc.property(fc.string(), (text) => {
        const parsed = parseQuantity(text, 'pressure');
        expect(parsed.complaint !== undefined || Number.isFinite(parsed.value)).toBe(true);
      }),
    );
  });
});

describe('quantities that say themselves what they are', () => {
  it.each([
    ['90 %', 'share', 0.9],
    ['12 kPa', 'pressure', 12],
    ['5 kPa/day', 'pressurePerDay', 5],
    ['30 min', 'duration', 1800],
    ['110 °C', 'temperature', 110],
    ['30 Δ°C', 'temperatureDifference', 30],
    ['6.35 mm', 'length', 6.35],
    ['3', 'number', 3],
  ])('%s', (text, dimension, expected) => {
    expect(parseAnyQuantity(text).value).toEqual({ dimension, value: expected });
  });

  it('others are refused', () => {
    expect(parseAnyQuantity('3 furlongs').complaint?.text).toContain('3 furlongs');
    expect(parseAnyQuantity('').complaint).toBeDefined();
  });
});

describe('counts, whole numbers, locations', () => {
  it('"2 of 3" counts', () => {
    expect(parseOf('2 of 3').value).toEqual({ n: 2, m: 3 });
    expect(parseOf(' 3  of 3 ').value).toEqual({ n: 3, m: 3 });
  });

  it.each(['4 of 3', '0 of 3', '2/3', '2', '2 of 21', ''])('"%s" does not', (text) => {
    expect(parseOf(text).complaint?.hint).toContain('2 of 3');
  });

  it.each([
    ['65298', 65298],
    ['0xFF12', 0xff12],
    ['0', 0],
  ])('%s is whole', (text, expected) => {
    expect(parseWhole(text, 0, 0x3ffff).value).toBe(expected);
  });

  it.each(['-1', '1.5', '262144', 'ff', ''])('"%s" is not a group number', (text) => {
    expect(parseWhole(text, 0, 0x3ffff).complaint?.text).toContain(`"${text}"`);
  });

  it.each([
    ['0x10', 0x10],
    ['0X1f', 0x1f],
    ['0x0', 0],
    ['0xFE', 0xfe],
  ])('location %s', (text, expected) => {
    expect(parseLocation(text).value).toBe(expected);
  });

  it.each([
    ['16', '0x10'],
    ['8', '0x08'],
    ['0x100', '0x10'],
    ['x', '0x10'],
  ])('location "%s" is refused with "%s"', (text, hint) => {
    expect(parseLocation(text).complaint?.hint).toContain(`"${hint}"`);
  });

  it('0xFF is no location (SPN 929: not available)', () => {
    expect(parseLocation('0xFF').complaint?.text).toContain('not available');
  });
});
