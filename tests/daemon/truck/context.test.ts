import { describe, expect, it } from 'vitest';
import { Context } from '../../../daemon/truck/context.js';
import { Drive } from '../monitors/drive.js';

/** The context of a drive, through real frames. */
const contextOf = (d: Drive): Context => new Context(d.pipeline.state.context);

/** Nothing but what the test sends. */
function silent(): Drive {
  const d = new Drive();
  for (const key of Object.keys(d.world)) Object.assign(d.world, { [key]: null });
  for (const wheel of Object.values(d.wheels)) wheel.speaks = false;
  return d;
}

describe('unknown is not false', () => {
  it('before anything was heard', () => {
    const c = contextOf(silent());
    expect(c.moving(0)).toBeUndefined();
    expect(c.engineRunning(0)).toBeUndefined();
    expect(c.parkingBrake(0)).toBeUndefined();
    expect(c.speed(0)).toBeNaN();
    expect(c.cranking(0)).toBe(false);
    expect(c.vehicle(0)).toEqual({ speed: null, lat: null, lon: null, ageS: null });
  });

  it('when what was heard is old', () => {
    const d = new Drive().run(20);
    const c = contextOf(d);
    expect([c.moving(d.t), c.engineRunning(d.t), c.parkingBrake(d.t)]).toEqual([true, true, false]);
    const later = d.t + 10_001;
    expect([c.moving(later), c.engineRunning(later), c.parkingBrake(later)]).toEqual([undefined, undefined, undefined]);
  });
});

describe('engine and movement', () => {
  it.each([
    [399.5, false],
    [400, true],
  ])('%d rpm: running %s (monitors.md, Context)', (rpm, running) => {
    const d = new Drive();
    d.world.rpm = rpm;
    d.run(3);
    expect(contextOf(d).engineRunning(d.t)).toBe(running);
  });

  it.each([
    [4.99, false],
    [5, true],
  ])('%d km/h: moving %s', (kmh, moving) => {
    const d = new Drive();
    d.world.kmh = kmh;
    d.run(3);
    expect(contextOf(d).moving(d.t)).toBe(moving);
  });

  it('cranking from 50 to 400 rpm and 10 s after', () => {
    for (const [rpm, cranking] of [
      [49, false],
      [50, true],
      [399, true],
      [400, false],
    ] as const) {
      const d = new Drive();
      d.world.rpm = rpm;
      d.run(2);
      expect(contextOf(d).cranking(d.t)).toBe(cranking);
    }
    const d = new Drive();
    d.world.rpm = 200;
    d.run(1);
    d.world.rpm = 700;
    d.run(15);
    expect(contextOf(d).cranking(10_000)).toBe(true);
    expect(contextOf(d).cranking(10_001)).toBe(false);
  });

  it('the parking brake by its switch (SPN 70), else by its actuator (SPN 619)', () => {
    const d = silent();
    d.run(3, () => d.send(65274, 11, { 619: 1 }));
    expect(contextOf(d).parkingBrake(d.t)).toBe(true);
    d.run(3, () => d.send(65265, 0, { 70: 0 }));
    expect(contextOf(d).parkingBrake(d.t)).toBe(false);
    // 2 is an error, 3 is not available: no reading.
    d.run(30, () => d.send(65265, 0, { 70: 3 }));
    expect(contextOf(d).parkingBrake(d.t)).toBeUndefined();
  });
});

describe('speed: SPN 84, else wheels (1592–1595), else tachograph (1624), else odometer (917)', () => {
  const SENDERS: [string, (d: Drive, s: number) => void, number][] = [
    ['odometer', (d, s) => d.send(65217, 23, { 917: 1_000_000 + 20 * s }), 72],
    ['tachograph', (d) => d.send(65132, 238, { 1624: 61 }), 61],
    ['wheels', (d) => d.send(65134, 11, { 1592: 50, 1593: 52, 1594: 51, 1595: 51 }), 51],
    ['SPN 84', (d) => d.send(65265, 0, { 84: 40 }), 40],
  ];

  it('each takes the place of the ones before it, and gives it back when it stops', () => {
    const d = silent();
    for (let n = 1; n <= SENDERS.length; n++) {
      d.run(10, () => {
        for (const [, send] of SENDERS.slice(0, n)) send(d, d.t / 1000);
      });
      expect(contextOf(d).speed(d.t - 1)).toBeCloseTo(SENDERS[n - 1]![2], 0);
    }
    for (let n = SENDERS.length - 1; n >= 1; n--) {
      d.run(11, () => {
        for (const [, send] of SENDERS.slice(0, n)) send(d, d.t / 1000);
      });
      expect(contextOf(d).speed(d.t - 1)).toBeCloseTo(SENDERS[n - 1]![2], 0);
    }
  });

  it.each(SENDERS)('%s alone makes the truck move', (_, send) => {
    const d = silent();
    d.run(10, () => send(d, d.t / 1000));
    expect(contextOf(d).moving(d.t - 1)).toBe(true);
    // It was moving when the bus fell silent.
    d.rest(12);
    expect(d.of('bus-silent')).toEqual(['raised plan']);
  });

  it('wheels that tell nothing are left out of the mean', () => {
    const d = silent();
    d.run(3, () => d.send(65134, 11, { 1592: 50, 1594: 54 }));
    expect(contextOf(d).speed(d.t - 1)).toBe(52);
  });

  it('two odometers are no speed', () => {
    const d = silent();
    d.run(5, () => d.send(65217, 23, { 917: 1_000_000 }));
    d.run(4);
    // The first is past its age limit of about 3 s.
    d.send(65217, 24, { 917: 1_200_000 });
    d.t += 1000;
    expect(contextOf(d).speed(d.t)).toBeNaN();
  });

  it('an odometer that goes back, jumps, or comes after a gap is no speed', () => {
    const d = silent();
    d.run(3, () => d.send(65217, 23, { 917: 1_000_000 }));
    d.send(65217, 23, { 917: 500_000 });
    expect(contextOf(d).speed(d.t)).toBeLessThan(5);
    d.t += 6000;
    d.send(65217, 23, { 917: 600_000 });
    expect(contextOf(d).speed(d.t)).toBeNaN();
    d.t += 1000;
    d.send(65217, 23, { 917: 600_100 });
    expect(contextOf(d).speed(d.t)).toBeNaN();
    d.t += 1000;
    d.send(65217, 23, { 917: 600_120 });
    expect(contextOf(d).speed(d.t)).toBe(72);
  });
});

it('two senders of the same signal: the first is believed', () => {
  const d = new Drive().run(3);
  d.run(30, () => d.send(65265, 99, { 84: 0, 70: 1 }));
  const c = contextOf(d);
  expect(c.speed(d.t - 1)).toBe(80);
  expect(c.parkingBrake(d.t - 1)).toBe(false);
});

it.each([
  ['ambient', 171, -273, 20],
  ['ambient', 171, 71, 70],
  ['barometer', 108, 0, 101.5],
  ['barometer', 108, 120, 79.5],
] as const)('%s: SPN %d = %d is no reading, %d is', (name, spn, impossible, possible) => {
  const d = silent();
  const sample = d.pipeline.state.context[name];
  d.send(65269, 0, { [spn]: impossible });
  expect(sample.source).toBe(-1);
  expect(d.pipeline.state.counters.implausible).toBe(1);
  d.send(65269, 0, { [spn]: possible });
  expect(sample.value).toBe(possible);
});

it('position with its age', () => {
  const d = new Drive().run(3);
  d.send(65267, 23, { 584: 41.2, 585: -96.1 });
  const v = contextOf(d).vehicle(d.t + 5000);
  expect(v.lat).toBeCloseTo(41.2, 6);
  expect(v.lon).toBeCloseTo(-96.1, 6);
  expect(v.ageS).toBe(5);
});
