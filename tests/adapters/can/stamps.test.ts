import { describe, expect, test } from 'vitest';
import { Stamps } from '../../../adapters/can/stamps.js';
import fc from '../../support/property.js';

/** What is checked here is stated in the design under "Inputs and time" and "Stamps of foreign logs". */
function recorded(zeroMs: number | null = null) {
  const steps: (string | number)[][] = [];
  const stamps = new Stamps(zeroMs, {
    onZero: (zero) => steps.push(['zero', zero]),
    onSeam: (t, zero) => steps.push(['seam', t, zero]),
    onGap: (from, to) => steps.push(['gap', from, to]),
  });
  return { stamps, steps };
}

describe('zero', () => {
  test('is the first stamp cut to a whole second', () => {
    const { stamps, steps } = recorded();
    expect(stamps.zeroMs).toBeNull();
    expect(stamps.at(1772456400, 999_999)).toBe(999);
    expect(stamps.zeroMs).toBe(1_772_456_400_000);
    expect(steps).toEqual([['zero', 1_772_456_400_000]]);
    expect(stamps.at(1772456401, 0)).toBe(1000);
  });

  test('can be given, in the middle of a second too', () => {
    const { stamps, steps } = recorded(1_772_456_400_250);
    expect(stamps.zeroMs).toBe(1_772_456_400_250);
    expect(stamps.at(1772456400, 250_999)).toBe(0);
    expect(stamps.at(1772456412, 249_999)).toBe(11_999);
    expect(stamps.at(1772456412, 250_000)).toBe(12_000);
    expect(steps).toEqual([]);
  });

  test('a first stamp up to a second before the given zero is at 0, earlier ones move zero', () => {
    const early = recorded(10_000_000);
    expect(early.stamps.at(9999, 500_000)).toBe(0);
    expect(early.stamps.clamped).toBe(1);
    const tooEarly = recorded(10_000_000);
    expect(tooEarly.stamps.at(5000, 0)).toBe(1);
    expect(tooEarly.steps).toEqual([['seam', 1, 4_999_999]]);
  });

  test('must be a whole millisecond', () => {
    expect(() => new Stamps(0.5)).toThrow(RangeError);
    expect(() => new Stamps(-1)).toThrow(RangeError);
  });
});

describe('stamps that go back', () => {
  test('by exactly a second are clamped, by a microsecond more are a seam', () => {
    const { stamps, steps } = recorded();
    stamps.at(100, 0);
    expect(stamps.at(105, 123_456)).toBe(5123);
    expect(stamps.at(104, 123_456)).toBe(5123);
    expect([stamps.clamped, stamps.seams]).toEqual([1, 0]);
    expect(stamps.at(104, 123_455)).toBe(5124);
    expect([stamps.clamped, stamps.seams]).toEqual([1, 1]);
    expect(steps.slice(1)).toEqual([['seam', 5124, 104_123 - 5124]]);
    expect(stamps.at(104, 123_456)).toBe(5124);
    expect(stamps.at(105, 123_455)).toBe(6124);
  });

  test('within one second and one millisecond are counted as well', () => {
    const { stamps } = recorded();
    stamps.at(100, 500_300);
    expect(stamps.at(100, 500_299)).toBe(500);
    expect(stamps.at(100, 500_300)).toBe(500);
    expect(stamps.clamped).toBe(1);
  });

  test('are measured from the newest stamp, so that small steps do not add up unseen', () => {
    const { stamps } = recorded();
    stamps.at(100, 0);
    stamps.at(99, 500_000);
    stamps.at(99, 100_000);
    expect([stamps.clamped, stamps.seams]).toEqual([2, 0]);
    expect(stamps.at(98, 900_000)).toBe(1);
    expect([stamps.clamped, stamps.seams]).toEqual([2, 1]);
  });
});

describe('stamps that leap forward', () => {
  test('by exactly 60 s do not, by a microsecond more are a gap', () => {
    const { stamps, steps } = recorded();
    stamps.at(100, 0);
    expect(stamps.at(160, 0)).toBe(60_000);
    expect(steps.slice(1)).toEqual([]);
    expect(stamps.at(220, 1)).toBe(120_000);
    expect(stamps.gaps).toBe(1);
    expect(steps.slice(1)).toEqual([['gap', 60_000, 120_000]]);
  });

  test('by a day and back again are a gap and a seam; time never goes back', () => {
    const { stamps, steps } = recorded();
    stamps.at(1000, 0);
    expect(stamps.at(87_400, 5000)).toBe(86_400_005);
    expect(stamps.at(1000, 2000)).toBe(86_400_006);
    expect(stamps.at(1001, 2000)).toBe(86_401_006);
    expect(steps.slice(1)).toEqual([
      ['gap', 0, 86_400_005],
      ['seam', 86_400_006, 1_000_002 - 86_400_006],
    ]);
  });

  test('to the last stamp of ten digits are exact', () => {
    const { stamps } = recorded();
    stamps.at(0, 0);
    expect(stamps.at(9_999_999_999, 999_999)).toBe(9_999_999_999_999);
    expect(stamps.at(9_999_999_999, 0)).toBe(9_999_999_999_999);
    expect(stamps.clamped).toBe(1);
  });
});

test('the same as a plain reading of the rules in whole microseconds', () => {
  /** BigInt and no state but zero, time and newest stamp. */
  const naive = (all: [number, number][]) => {
    let [zero, newest, t] = [0n, -1n, 0n];
    return all.map(([sec, us]) => {
      const stamp = BigInt(sec) * 1_000_000n + BigInt(us);
      if (newest < 0n) zero = BigInt(sec) * 1000n;
      else if (newest - stamp > 1_000_000n) zero = stamp / 1000n - (t + 1n);
      else if (stamp < newest) return Number(t);
      newest = stamp;
      t = stamp / 1000n - zero;
      return Number(t);
    });
  };
  const near = fc.tuple(fc.integer({ min: 1000, max: 1010 }), fc.integer({ min: 0, max: 999_999 }));
  const far = fc.tuple(fc.integer({ min: 0, max: 9_999_999_999 }), fc.integer({ min: 0, max: 999_999 }));
  const mostlyNear = fc.array(fc.oneof({ weight: 9, arbitrary: near }, far), { maxLength: 200 });
  fc.assert(
    fc.property(mostlyNear, (all) => {
      const stamps = new Stamps();
      expect(all.map(([sec, us]) => stamps.at(sec, us))).toEqual(naive(all));
    }),
  );
});
