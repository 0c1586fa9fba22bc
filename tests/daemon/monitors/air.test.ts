import { describe, expect, it } from 'vitest';
import { Drive, PSI, truck } from './drive.js';

const LOW = 'air-low';
const UNEQUAL = 'circuits-unequal';

/** Driving with full tanks, then these pressures for so many seconds. */
function air(primary: number, secondary: number, seconds: number, change: (d: Drive) => void = () => {}): Drive {
  const d = new Drive();
  change(d);
  d.run(30);
  Object.assign(d.world, { primary, secondary });
  return d.run(seconds);
}

/** Service circuits in AIR1 alone, in steps of 8 kPa. */
const coarse = (primary: number, secondary: number, seconds: number): Drive => {
  const d = new Drive();
  Object.assign(d.world, { primary: null, secondary: null, coarsePrimary: 800, coarseSecondary: 800 });
  d.run(30);
  Object.assign(d.world, { coarsePrimary: primary, coarseSecondary: secondary });
  return d.run(seconds);
};

describe('air-low: 49 CFR 571.121 S5.1.5 (A-04), 60 psi = 414 kPa, in either circuit (A-05)', () => {
  it.each([
    ['primary', 412, 800, true],
    ['secondary', 800, 412, true],
    ['primary', 416, 800, false],
    ['secondary', 800, 416, false],
    ['primary', 60 * PSI, 800, true],
  ])('%s, B1 in steps of 4 kPa: %d and %d kPa', (circuit, primary, secondary, told) => {
    const d = air(primary, secondary, 40);
    expect(d.of(LOW)).toEqual(told ? ['raised pull-over'] : []);
    if (told) {
      const [e] = d.list(LOW);
      expect(e).toMatchObject({ subject: 'air/service', place: 'service air', kind: 'equipment' });
      expect(e!.measured).toEqual({
        quantity: `${circuit} circuit pressure`,
        value: 412,
        limit: 414,
        unit: 'kPa',
        quality: 'good',
      });
      expect(e!.basis).toContain('571.121 S5.1.5');
      expect(e!.evidence!.points.length).toBeLessThanOrEqual(12);
    }
  });

  it('in steps of 1 kPa (extra signals): 414 is low, 415 and 418 are not', () => {
    const signals = (['primary', 'secondary'] as const)
      .map(
        (c, i) => `{pgn: 65402, byte: ${1 + 2 * i}, length: 16, scale: 1 kPa, quantity: pressure, subject: air/${c}}`,
      )
      .join(', ');
    for (const [kpa, told] of [
      [414, true],
      [415, false],
      [418, false],
    ] as const) {
      const d = new Drive(truck(`signals: [${signals}]`));
      Object.assign(d.world, { primary: null, secondary: null });
      d.run(10, () => d.send(65402, 40, Uint8Array.of(kpa & 0xff, kpa >> 8, 0x20, 0x03, 0xff, 0xff, 0xff, 0xff)));
      expect(d.of(LOW)).toEqual(told ? ['raised pull-over'] : []);
    }
  });

  it('AIR1 alone, steps of 8 kPa: 408 is low, 416 is not', () => {
    expect(coarse(408, 800, 20).of(LOW)).toEqual(['raised pull-over']);
    expect(coarse(800, 408, 20).of(LOW)).toEqual(['raised pull-over']);
    expect(coarse(416, 416, 20).of(LOW)).toEqual([]);
  });

  it('after 2 s, not after one reading', () => {
    const d = air(400, 800, 1);
    Object.assign(d.world, { primary: 800 });
    d.run(20);
    expect(d.of(LOW)).toEqual([]);
    const e = air(400, 800, 20).list(LOW)[0]!;
    expect(e.t).toBeGreaterThanOrEqual(32_000);
    expect(e.t).toBeLessThanOrEqual(33_000);
  });

  it('clears at 448 kPa after 10 s, not at 444', () => {
    const d = air(400, 800, 20);
    d.world.primary = 444;
    d.run(60);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    d.world.primary = 448;
    const from = d.t;
    d.run(9);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    d.run(4);
    expect(d.of(LOW)).toEqual(['raised pull-over', 'cleared pull-over']);
    expect(d.list(LOW)[1]!.t - from).toBeGreaterThanOrEqual(10_000);
  });

  it('not judged with the engine off and the truck at rest; rolling without engine it is', () => {
    expect(air(100, 100, 60, (d) => Object.assign(d.world, { rpm: 0, kmh: 0, parked: 1 })).of(LOW)).toEqual([]);
    expect(air(100, 100, 60, (d) => Object.assign(d.world, { rpm: null, kmh: null })).of(LOW)).toEqual([]);
    expect(air(400, 800, 20, (d) => Object.assign(d.world, { rpm: 0 })).of(LOW)).toEqual(['raised pull-over']);
  });

  it('a circuit that falls silent clears nothing and becomes unsure', () => {
    const d = air(400, 800, 20);
    Object.assign(d.world, { primary: null });
    d.run(120);
    expect(d.of(LOW)).toEqual(['raised pull-over', 'unsure pull-over']);
    Object.assign(d.world, { primary: 800 });
    d.run(20);
    expect(d.of(LOW)).toEqual(['raised pull-over', 'unsure pull-over', 'sure pull-over', 'cleared pull-over']);
  });

  it('a truck that tells one circuit alone is judged on it, both ways', () => {
    const d = new Drive();
    d.world.secondary = null;
    d.run(20);
    d.world.primary = 400;
    d.run(20);
    d.world.primary = 800;
    d.run(20);
    expect(d.of(LOW)).toEqual(['raised pull-over', 'cleared pull-over']);
  });
});

describe('filling the tanks', () => {
  /** Started at 0 kPa, parked, rising by so many kPa a second. */
  function start(perS: number, seconds: number, change: (d: Drive, s: number) => void = () => {}, from = 0): Drive {
    const d = new Drive();
    Object.assign(d.world, { rpm: 0, kmh: 0, parked: 1, primary: from, secondary: from });
    d.run(5);
    d.world.rpm = 800;
    return d.run(seconds, (s) => {
      const kpa = Math.min(820, from + perS * s);
      Object.assign(d.world, { primary: kpa, secondary: kpa });
      change(d, s);
    });
  }

  it('from empty, parked, rising: silent', () => {
    expect(start(4, 300).of(LOW)).toEqual([]);
    expect(start(1.5, 290).of(LOW)).toEqual([]);
  });

  it('still below after 5 min: told', () => {
    const d = start(1, 340);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    expect(d.list(LOW)[0]!.t).toBeGreaterThanOrEqual(305_000);
    expect(d.list(LOW)[0]!.t).toBeLessThanOrEqual(310_000);
  });

  it.each([
    ['the parking brake is released', (d: Drive) => Object.assign(d.world, { parked: 0 })],
    ['the truck moves', (d: Drive) => Object.assign(d.world, { kmh: 6 })],
    ['nobody knows of the parking brake', (d: Drive) => Object.assign(d.world, { parked: null })],
  ])('told when %s', (_, change) => {
    const d = start(1, 60, (x, s) => s >= 30 && change(x));
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    expect(d.list(LOW)[0]!.t).toBeGreaterThanOrEqual(35_000);
  });

  it('told when it does not rise', () => {
    // Found by a simulated truck on a cold morning: its supply reservoir took the first half minute for itself.
    expect(start(0, 58, () => {}, 200).of(LOW)).toEqual([]);
    expect(start(0, 70, () => {}, 200).of(LOW)).toEqual(['raised pull-over']);
  });

  it('charged once (620 kPa), a fall is told though it is still within 5 min', () => {
    const d = start(8, 90);
    expect(d.of(LOW)).toEqual([]);
    Object.assign(d.world, { primary: 400 });
    d.run(10, (s) => Object.assign(d.world, { primary: 380 + 4 * s }));
    expect(d.of(LOW)).toEqual(['raised pull-over']);
  });

  it('circuits that fill one after the other are not unequal', () => {
    const d = start(4, 200, (x, s) => Object.assign(x.world, { secondary: Math.max(0, 4 * s - 200) }));
    expect(d.of(UNEQUAL)).toEqual([]);
  });

  it('while the engine is cranked, and 10 s after, and 30 s more: nothing is announced', () => {
    const d = new Drive();
    Object.assign(d.world, { rpm: 200, kmh: 0, parked: 0, primary: 300, secondary: 300 });
    d.run(5);
    d.world.rpm = 800;
    d.run(38);
    expect(d.of(LOW)).toEqual([]);
    d.run(10);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
  });
});

describe('senders that disagree', () => {
  const both = (fine: number, coarsely: number): Drive => {
    const d = new Drive();
    Object.assign(d.world, { coarsePrimary: 800, coarseSecondary: 800 });
    d.run(30);
    Object.assign(d.world, { primary: fine, coarsePrimary: coarsely });
    return d.run(40);
  };

  it('by more than 24 kPa for 10 s: the lower is judged, said to be disputed', () => {
    const d = both(800, 400);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    expect(d.list(LOW)[0]!.measured).toMatchObject({ value: 400, quality: 'disputed' });
    expect(d.list(LOW)[0]!.t).toBeGreaterThanOrEqual(42_000);
  });

  it('by 24 kPa: the finer one is believed', () => {
    // 416 by B1, 392 by AIR1.
    expect(both(416, 392).of(LOW)).toEqual([]);
    expect(both(424, 392).of(LOW)).toEqual(['raised pull-over']);
  });

  it('never clears while disputed', () => {
    const d = both(400, 400);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    Object.assign(d.world, { primary: 700, coarsePrimary: 600 });
    d.run(120);
    expect(d.of(LOW)).toEqual(['raised pull-over']);
    Object.assign(d.world, { primary: 700, coarsePrimary: 704 });
    d.run(20);
    expect(d.of(LOW)).toEqual(['raised pull-over', 'cleared pull-over']);
  });

  it('a second sender of the same SPN is not heard while the first is fresh', () => {
    const d = new Drive();
    d.run(30);
    d.run(30, () => d.send(65274, 99, { 117: 300, 118: 300 }));
    expect(d.story).toEqual([]);
  });
});

describe('circuits-unequal', () => {
  it.each([
    [100, false],
    [104, true],
  ])('%d kPa apart (15 psi is 103): %s, either way round', (apart, told) => {
    for (const [primary, secondary] of [
      [800 - apart, 800],
      [800, 800 - apart],
    ] as const) {
      const d = air(primary, secondary, 70);
      expect(d.of(UNEQUAL)).toEqual(told ? ['raised next-stop'] : []);
      if (told) {
        const lower = primary < secondary ? 'primary' : 'secondary';
        expect(d.list(UNEQUAL)[0]!.measured).toMatchObject({
          quantity: `circuit difference, ${lower} lower`,
          value: apart,
          limit: 103,
          unit: 'kPa',
        });
      }
    }
  });

  it('after 60 s; clears at 69 kPa after 60 s, not at 72', () => {
    expect(air(680, 800, 58).of(UNEQUAL)).toEqual([]);
    const d = air(680, 800, 70);
    d.world.primary = 728;
    d.run(120);
    expect(d.of(UNEQUAL)).toEqual(['raised next-stop']);
    d.world.primary = 732;
    d.run(58);
    expect(d.of(UNEQUAL)).toEqual(['raised next-stop']);
    d.run(10);
    expect(d.of(UNEQUAL)).toEqual(['raised next-stop', 'cleared next-stop']);
  });

  it('is not judged while braking nor within 20 s after, be the stab ever so short', () => {
    const d = new Drive();
    d.isFine = true;
    d.run(10);
    d.world.primary = 660;
    // A stab of 0.3 s, between two ticks, every 20 s.
    d.run(180, (s) => {
      d.world.pedal = s % 20 >= 1.3 && s % 20 < 1.6 ? 20 : 0;
    });
    expect(d.of(UNEQUAL)).toEqual([]);
    d.world.pedal = 0;
    d.run(85);
    expect(d.of(UNEQUAL)).toEqual(['raised next-stop']);
  });

  it('says nothing while the air is low: that explains it', () => {
    const d = air(400, 800, 200);
    expect(d.story).toEqual(['air-low raised pull-over air/service']);
  });

  it('is not judged with the engine off', () => {
    expect(air(600, 800, 200, (d) => Object.assign(d.world, { rpm: 0, kmh: 0, parked: 1 })).of(UNEQUAL)).toEqual([]);
  });
});
