import { describe, expect, it } from 'vitest';
import { Drive, gauge, LOCATIONS, SUBJECTS, TARGET_KPA, targetOf, truck } from './drive.js';

const WHEEL = 'tractor/2/left/outer';
const TWIN = 'tractor/2/left/inner';
const PAIR = 'tractor/2/left/pair';
const state = (d: Drive, subject = WHEEL) => d.pipeline.state.tires[subject]!;

describe('tire-hot', () => {
  const hot = (celsius: number, seconds: number, peers = 100): Drive => {
    const d = new Drive();
    for (const s of SUBJECTS) Object.assign(d.wheel(s), { celsius: peers, kpa: gauge(targetOf(s), peers) });
    d.run(60);
    Object.assign(d.wheel(WHEEL), { celsius, kpa: gauge(TARGET_KPA, celsius) });
    return d.run(seconds);
  };

  it.each([
    [109.9, 400, []],
    [110, 195, ['raised next-stop']],
    [110, 170, []],
    [119.9, 400, ['raised next-stop']],
    [120, 75, ['raised pull-over']],
    [120, 50, []],
  ])('%d °C for %d s: %j', (celsius, seconds, expected) => {
    expect(hot(celsius, seconds).of('tire-hot')).toEqual(expected);
  });

  it.each([
    [99.9, 200, ['raised next-stop', 'cleared next-stop']],
    [99.9, 170, ['raised next-stop']],
    [101, 200, ['raised next-stop']],
    [110.1, 250, ['raised pull-over']],
    [109.9, 75, ['raised pull-over', 'better next-stop']],
    [109.9, 55, ['raised pull-over']],
  ])('cooled to %d °C for %d s: %j', (celsius, seconds, expected) => {
    const d = hot(expected[0] === 'raised pull-over' ? 121 : 112, 400);
    d.wheel(WHEEL).celsius = celsius;
    d.run(seconds);
    expect(d.of('tire-hot')).toEqual(expected);
  });

  it.each([
    [75, 45, 320, ['raised next-stop']],
    [74.9, 45, 320, []],
    [75, 45, 290, []],
    // Below 70 °C nothing is hot.
    [69.9, 20, 400, []],
    [70, 20, 320, ['raised next-stop']],
  ])('%d °C where the peers have %d °C, %d s: %j', (celsius, peers, seconds, expected) => {
    const d = hot(celsius, seconds, peers);
    expect(d.of('tire-hot')).toEqual(expected);
    if (expected.length > 0) {
      const m = d.list('tire-hot')[0]!.measured as { value: number; limit: number; unit: string };
      expect(m).toMatchObject({ value: celsius, limit: Math.max(70, peers + 30), unit: '°C' });
    }
  });

  it('above the peers is left at 22 °C above them, not at 23', () => {
    for (const [above, left] of [
      [23, false],
      [22, true],
    ] as const) {
      const d = hot(80, 400, 45);
      d.wheel(WHEEL).celsius = 45 + above;
      d.run(330);
      expect(d.of('tire-hot')).toEqual(left ? ['raised next-stop', 'cleared next-stop'] : ['raised next-stop']);
    }
  });

  it('needs three peers to be above them: a steer tire has one', () => {
    const d = new Drive();
    d.wheel('tractor/1/left/single').celsius = 90;
    d.run(400);
    expect(d.of('tire-hot')).toEqual([]);
  });

  it('no temperature, impossible ones and −273 °C are no reading', () => {
    const d = hot(125, 70);
    for (const celsius of [null, 201, -273, -61]) {
      d.wheel(WHEEL).celsius = celsius;
      d.run(100);
      expect(state(d).temperatureC).toBe(125);
    }
    expect(d.of('tire-hot').filter((e) => e.startsWith('cleared'))).toEqual([]);
  });
});

describe('duals-unequal', () => {
  const apart = (outerLess: number, seconds: number, celsius: [number, number] = [18, 18]): Drive => {
    const d = new Drive();
    d.wheel(WHEEL).celsius = celsius[0];
    d.wheel(TWIN).celsius = celsius[1];
    d.wheel(WHEEL).kpa = 688 - Math.max(0, outerLess);
    d.wheel(TWIN).kpa = 688 - Math.max(0, -outerLess);
    return d.run(seconds);
  };

  it.each([
    [44, []],
    [48, ['raised plan']],
    [-44, []],
    [-48, ['raised plan']],
  ])('outer %d kPa below inner: %j', (less, expected) => {
    const d = apart(less, 660);
    expect(d.of('duals-unequal')).toEqual(expected);
    if (expected.length > 0) {
      const [e] = d.list('duals-unequal');
      expect(e).toMatchObject({ subject: PAIR, place: 'tractor axle 2, left dual pair', kind: 'equipment' });
      expect(e!.measured).toMatchObject({ value: 48, limit: 48, unit: 'kPa', window: '15 min' });
      expect(e!.evidence!.points.length).toBeLessThanOrEqual(12);
      expect(e!.evidence!.points.at(-1)![0]).toBeLessThanOrEqual(15_000);
    }
  });

  it('not before 10 min; cleared at 34 kPa, not at 36, once the window has turned', () => {
    expect(apart(60, 590).of('duals-unequal')).toEqual([]);
    for (const [left, expected] of [
      [36, ['raised plan']],
      [32, ['raised plan', 'cleared plan']],
    ] as const) {
      const d = apart(60, 700);
      d.wheel(WHEEL).kpa = 688 - left;
      d.run(1800);
      expect(d.of('duals-unequal')).toEqual(expected);
    }
  });

  it('both pressures must say so: a hot outer tire with the same gauge pressure, or twins of different heat, are equal', () => {
    // Same raw pressure, cold-equivalent 60 kPa apart.
    expect(apart(0, 700, [42, 18]).of('duals-unequal')).toEqual([]);
    // Raw 60 kPa apart by heat alone.
    const d = new Drive();
    Object.assign(d.wheel(WHEEL), { celsius: 42, kpa: gauge(688, 42) });
    Object.assign(d.wheel(TWIN), { celsius: 18, kpa: 688 });
    d.run(700);
    expect(d.of('duals-unequal')).toEqual([]);
  });

  it('is the median of 15 min: 7 min of difference are not enough to hold', () => {
    const d = apart(0, 900);
    d.wheel(WHEEL).kpa = 688 - 80;
    d.run(420);
    d.wheel(WHEEL).kpa = 688;
    d.run(900);
    expect(d.of('duals-unequal')).toEqual([]);
  });

  it('without temperatures raw pressure alone is judged', () => {
    const d = new Drive();
    Object.assign(d.wheel(WHEEL), { kpa: 688 - 60, celsius: null });
    d.run(660);
    expect(d.of('duals-unequal')).toEqual(['raised plan']);
  });

  it('is not judged on a twin that has fallen silent', () => {
    const d = apart(60, 100);
    d.wheel(TWIN).speaks = false;
    d.run(1000);
    expect(d.of('duals-unequal')).toEqual([]);
  });

  describe('at a cold start', () => {
    const morning = (outerLess: number, fine: boolean): Drive => {
      const d = new Drive();
      d.run(60);
      d.rest(5 * 3600);
      for (const s of [WHEEL, TWIN]) Object.assign(d.wheel(s), { fine, kpa: 688 });
      d.wheel(WHEEL).kpa = 688 - outerLess;
      d.world.kmh = 0;
      return d.run(200);
    };

    it.each([
      [40, false, []],
      [44, false, ['raised plan']],
      [34, true, []],
      [35, true, ['raised plan']],
    ])('%d kPa apart, TIRE2 %s: %j', (less, fine, expected) => {
      const d = morning(less, fine);
      expect(d.of('duals-unequal')).toEqual(expected);
      if (expected.length > 0) {
        const m = d.list('duals-unequal')[0]!.measured as { value: number; limit: number; window: string };
        expect(m).toMatchObject({ limit: fine ? 34.5 : 41, window: 'cold start' });
        expect(m.value).toBeCloseTo(less, 0);
      }
    });

    it('holds until the next one finds less: 28 kPa, not 32', () => {
      for (const [less, expected] of [
        [32, ['raised plan']],
        [28, ['raised plan', 'cleared plan']],
      ] as const) {
        const d = morning(44, false);
        d.rest(5 * 3600);
        d.wheel(WHEEL).kpa = 688 - less;
        d.run(220);
        expect(d.of('duals-unequal')).toEqual(expected);
      }
    });
  });
});

describe('tire-sensor-silent', () => {
  it('UN R141 5.4 (T-13): a sensor that dies is told within 10 min of driving, not before 5', () => {
    const d = new Drive();
    d.run(300);
    d.wheel(WHEEL).speaks = false;
    const from = d.t;
    d.run(600);
    const [e] = d.list('tire-sensor-silent');
    expect(e).toMatchObject({ change: 'raised', urgency: 'plan', kind: 'system', subject: WHEEL });
    expect(e!.t - from).toBeGreaterThan(290_000);
    expect(e!.t - from).toBeLessThanOrEqual(600_000);
    expect((e!.measured as { silentS: number }).silentS).toBeGreaterThanOrEqual(300);
    expect(d.list('tire-sensor-silent').length).toBe(1);
  });

  it('a sender that reports every 100 s has at most 9 min', () => {
    const d = new Drive();
    d.wheel(WHEEL).everyS = 100;
    d.run(904);
    d.wheel(WHEEL).speaks = false;
    const from = d.t;
    d.run(530);
    expect(d.of('tire-sensor-silent')).toEqual([]);
    d.run(70);
    expect(d.list('tire-sensor-silent')[0]!.t - from).toBeLessThanOrEqual(600_000);
  });

  it('one that never reported is told as well', () => {
    const d = new Drive();
    d.wheel(WHEEL).speaks = false;
    d.run(600);
    expect(d.list('tire-sensor-silent').map((e) => [e.change, e.subject])).toEqual([['raised', WHEEL]]);
  });

  it('counts moving time alone, over stops', () => {
    const d = new Drive();
    d.run(60);
    d.wheel(WHEEL).speaks = false;
    d.run(200);
    d.world.kmh = 0;
    d.run(1200);
    expect(d.of('tire-sensor-silent')).toEqual([]);
    d.world.kmh = null;
    d.run(1200);
    expect(d.of('tire-sensor-silent')).toEqual([]);
    d.world.kmh = 50;
    d.run(150);
    expect(d.of('tire-sensor-silent')).toEqual(['raised plan']);
  });

  it('clears with the first readings', () => {
    const d = new Drive();
    d.wheel(WHEEL).speaks = false;
    d.run(400);
    d.wheel(WHEEL).speaks = true;
    d.run(30);
    expect(d.of('tire-sensor-silent')).toEqual(['raised plan', 'cleared plan']);
  });

  it.each([
    ['not available', { 241: Number.NaN }],
    ['0 kPa with 0 °C', { 241: 0, 242: 0 }],
    ['0 kPa with −273 °C', { 241: 0, 242: -273 }],
  ])('%s is a frame, not a reading', (_, also) => {
    const d = new Drive();
    d.run(60);
    // NaN is encoded as all ones below.
    const raw = Object.values(also).some(Number.isNaN);
    d.wheel(WHEEL).speaks = false;
    d.run(400, (s) => {
      if (s % 10 !== 0) return;
      if (raw) d.send(65268, 51, Uint8Array.of(LOCATIONS[WHEEL]!, 0xff, 0x00, 0x24, 0xff, 0xff, 0xff, 0xff));
      else d.tire(WHEEL, also);
    });
    expect(d.story).toEqual([`tire-sensor-silent raised plan ${WHEEL}`]);
    expect(state(d).heardAt).toBeGreaterThan(d.t - 11_000);
    expect(state(d).pressureKpa).toBe(688);
  });

  it('0 kPa with a temperature is a flat tire', () => {
    const d = new Drive();
    d.run(60);
    d.wheel(WHEEL).kpa = 0;
    d.run(20);
    expect(d.of('tire-losing-air')).toEqual(['raised pull-over']);
  });

  it('location 0xFF and one that the truck has not are no tire', () => {
    const d = new Drive();
    d.send(65268, 51, Uint8Array.of(0xff, 10, 0x00, 0x24, 0xff, 0xff, 0xff, 0xff));
    expect(d.pipeline.state.counters.strangeLocations).toBe(0);
    d.send(65268, 51, Uint8Array.of(0x4f, 10, 0x00, 0x24, 0xff, 0xff, 0xff, 0xff));
    expect(d.pipeline.state.counters.strangeLocations).toBe(1);
    expect(Object.values(d.pipeline.state.tires).every((s) => s.pressureKpa === 0)).toBe(true);
  });
});

describe('TIRE2', () => {
  it('gives the pressure where SPN 6990 says so, in steps of 1 kPa', () => {
    const d = new Drive();
    Object.assign(d.wheel(WHEEL), { fine: true, kpa: 679 });
    d.run(100);
    expect(state(d)).toMatchObject({ pressureKpa: 679, stepKpa: 1 });
    // One reading each 10 s, not two.
    expect(state(d).intervalsMs.slice(2)).toEqual(new Array(state(d).intervalsMs.length - 2).fill(10_000));
  });

  it('is not waited for when it stops', () => {
    const d = new Drive();
    Object.assign(d.wheel(WHEEL), { fine: true, kpa: 679 });
    d.run(100);
    Object.assign(d.wheel(WHEEL), { fine: false, also: { 6990: 1 } });
    d.run(50);
    expect(state(d)).toMatchObject({ pressureKpa: 680, stepKpa: 4 });
    expect(d.events).toEqual([]);
  });

  it('is not taken when SPN 6990 denies it; is when nothing is said', () => {
    for (const [said, step] of [
      [0, 4],
      [3, 1],
    ] as const) {
      const d = new Drive();
      d.wheel(WHEEL).also = { 6990: said };
      d.run(60, (s) => {
        if (s % 10 === 5) d.send(64578, 51, { 6987: LOCATIONS[WHEEL]!, 6988: 679 });
      });
      expect(state(d).stepKpa).toBe(step);
    }
  });

  it('0 kPa of a sender that has heard nothing is no flat tire', () => {
    const d = new Drive();
    d.wheel(WHEEL).fine = true;
    d.run(100);
    Object.assign(d.wheel(WHEEL), { speaks: false, fine: false });
    d.run(60, (s) => {
      if (s % 10 !== 0) return;
      d.send(64578, 51, { 6987: LOCATIONS[WHEEL]!, 6988: 0 });
      d.tire(WHEEL, { 241: 0, 242: 0 });
    });
    expect(d.story).toEqual([]);
  });
});

describe('0 kPa in TIRE2', () => {
  /** A sensor of which TIRE1 tells the temperature alone, TIRE2 the pressure; `first` of the two, as senders differ. */
  const flat = (celsius: number, first: 'TIRE1' | 'TIRE2', seconds: number): Drive => {
    const d = new Drive();
    d.wheel(WHEEL).fine = true;
    d.run(100);
    d.wheel(WHEEL).speaks = false;
    const temperature = Math.round((celsius + 273) * 32);
    const tire1 = Uint8Array.of(LOCATIONS[WHEEL]!, 0xff, temperature & 0xff, temperature >> 8, 0xff, 0xff, 0xff, 0x7f);
    return d.run(seconds, (s) => {
      if (s % 10 !== 2) return;
      if (first === 'TIRE1') d.send(65268, 51, tire1);
      d.send(64578, 51, { 6987: LOCATIONS[WHEEL]!, 6988: 0 });
      if (first === 'TIRE2') d.send(65268, 51, tire1);
    });
  };

  it.each(['TIRE1', 'TIRE2'] as const)(
    'with a temperature in TIRE1 is a flat tire, told in half a minute (%s first)',
    (first) => {
      expect(flat(-3, first, 30).of('tire-losing-air', WHEEL)).toEqual(['raised pull-over']);
    },
  );

  it.each([0, -273])('with %d °C it is an idle sender', (celsius) => {
    const d = flat(celsius, 'TIRE1', 120);
    expect(d.story).toEqual([]);
    expect(state(d).pressureKpa).toBe(Math.round(TARGET_KPA));
  });

  it('one that goes idle in both has a temperature of before, and is not flat', () => {
    const d = new Drive();
    d.wheel(WHEEL).fine = true;
    d.run(100);
    Object.assign(d.wheel(WHEEL), { speaks: false, fine: false });
    d.run(100, (s) => {
      if (s % 10 !== 2) return;
      d.send(64578, 51, { 6987: LOCATIONS[WHEEL]!, 6988: 0 });
      d.tire(WHEEL, { 241: 0, 242: 0 });
    });
    expect(d.story).toEqual([]);
  });
});

describe('senders', () => {
  it('a second sender of a tire is not heard until the first is past its age limit', () => {
    const d = new Drive();
    d.run(60);
    d.run(60, (s) => {
      if (s % 10 === 4) d.tire(WHEEL, { 241: 100 }, 77);
    });
    expect(state(d).pressureKpa).toBe(688);
    d.wheel(WHEEL).speaks = false;
    d.run(20, (s) => {
      if (s % 10 === 4) d.tire(WHEEL, { 241: 640 }, 77);
    });
    expect(state(d).pressureKpa).toBe(688);
    d.run(30, (s) => {
      if (s % 10 === 4) d.tire(WHEEL, { 241: 640 }, 77);
    });
    expect(state(d)).toMatchObject({ pressureKpa: 640, source: 77 });
    expect(d.events).toEqual([]);
  });

  it('positions that one sender numbers differently (tirePositions)', () => {
    const d = new Drive(
      truck('tirePositions: {main/77: {"0x10": tractor/2/left/inner, "0x11": tractor/2/left/outer}}'),
    );
    d.send(65268, 77, { 929: 0x10, 241: 600, 242: 20 });
    expect(state(d, TWIN).pressureKpa).toBe(600);
    d.send(65268, 51, { 929: 0x10, 241: 500, 242: 20 });
    expect(state(d, WHEEL).pressureKpa).toBe(500);
  });

  it('pressure from an extra signal of the truck file', () => {
    const yaml = `signals: [{pgn: 65400, source: 90, byte: 3, length: 16, scale: 0.5 kPa, quantity: pressure, subject: ${WHEEL}}]`;
    const d = new Drive(truck(yaml));
    d.send(65400, 90, Uint8Array.of(0, 0, 0x61, 0x05, 0, 0, 0, 0));
    expect(state(d)).toMatchObject({ pressureKpa: 688.5, stepKpa: 0.5, source: 90 });
    d.send(65400, 90, Uint8Array.of(0, 0, 0xff, 0xff, 0, 0, 0, 0));
    d.send(65400, 91, Uint8Array.of(0, 0, 0x00, 0x05, 0, 0, 0, 0));
    expect(state(d).pressureKpa).toBe(688.5);
  });

  it('an impossible pressure that a sender calls good is counted and not taken', () => {
    const yaml = `signals: [{pgn: 65400, byte: 3, length: 16, scale: 1 kPa, quantity: pressure, subject: ${WHEEL}}]`;
    const d = new Drive(truck(yaml));
    d.send(65400, 90, Uint8Array.of(0, 0, 0xdd, 0x05, 0, 0, 0, 0));
    expect(state(d).source).toBe(90);
    expect(state(d).pressureKpa).toBe(0);
    expect(d.pipeline.state.counters.implausible).toBe(1);
  });

  it('a flood of tire frames in the first three minutes of a cold start stays bounded', () => {
    const d = new Drive();
    d.run(30);
    d.rest(4 * 3600);
    d.run(60, () => {
      for (let i = 0; i < 20; i++) d.tire(WHEEL);
    });
    expect(state(d).startColds.length).toBeLessThanOrEqual(60);
  });
});
