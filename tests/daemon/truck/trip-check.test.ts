import { describe, expect, it } from 'vitest';
import { newRecords, type RecordOf, Records } from '../../../daemon/truck/records.js';
import { newCheck, TripCheck } from '../../../daemon/truck/trip-check.js';
import type { TripSight } from '../../../daemon/truck/trip-sight.js';
import { airTest } from '../../adapters/store/helpers.js';
import { Drive, SUBJECTS, truck } from '../monitors/drive.js';

const OK = Object.fromEntries(Array.from({ length: 20 }, (_, i) => [3785 + i, 0]));
const STEER = 'tractor/1/left/single';
const TIRE = 'tractor/2/left/outer';

/** A truck that stands with its engine running and its brakes told, from second 0. */
function started(change: Partial<Drive['world']> = {}): Drive {
  const d = new Drive(truck());
  Object.assign(d.world, {
    kmh: 0,
    parked: 1,
    rpm: 700,
    pedal: null,
    brakeSwitch: null,
    strokes: { ...OK },
    ...change,
  });
  return d;
}

/** One application of three seconds, then five without. */
function brake(d: Drive, kpa = 300, codes: Record<number, number> = {}): void {
  Object.assign(d.world, { brakeKpa: kpa, strokes: { ...OK, ...codes } });
  d.run(3);
  Object.assign(d.world, { brakeKpa: 0, strokes: { ...OK } });
  d.run(5);
}

const checks = (d: Drive): RecordOf<'start-check'>['values'][] => d.recordsOf('start-check').map((r) => r.values);
const roll = { kmh: 80, parked: 0, rpm: 1200 };

describe('when the start check is told', () => {
  it('after three qualifying applications, when all tires have told and cold pressures are taken; once', () => {
    const d = started();
    for (let n = 0; n < 3; n++) brake(d);
    d.run(150);
    expect(checks(d)).toEqual([]);
    d.run(30);
    expect(checks(d)).toMatchObject([{ trip: 1, why: 'complete', brakes: { applications: 3 } }]);
    for (let n = 0; n < 4; n++) brake(d);
    Object.assign(d.world, roll);
    d.run(1000);
    expect(checks(d)).toHaveLength(1);
    const [record] = d.recordsOf('start-check');
    expect(record).toMatchObject({ subject: 'tractor', startAt: 1000 });
    expect(record!.endAt).toBe(182_000);
  });

  it('two applications and soft ones are not enough: then after 15 minutes of moving', () => {
    const d = started();
    brake(d);
    brake(d);
    for (let n = 0; n < 5; n++) brake(d, 100);
    d.run(1800);
    expect(checks(d)).toEqual([]);
    Object.assign(d.world, roll);
    d.run(898);
    expect(checks(d)).toEqual([]);
    d.run(4);
    expect(checks(d)).toMatchObject([{ why: 'time', brakes: { applications: 2 } }]);
  });

  it('a tire that has not told holds it up; one whose sensor was called bad does not', () => {
    const silent = started();
    silent.wheel(TIRE).speaks = false;
    for (let n = 0; n < 3; n++) brake(silent);
    silent.run(300);
    expect(checks(silent)).toEqual([]);
    silent.wheel(TIRE).speaks = true;
    silent.run(12);
    expect(checks(silent)).toMatchObject([{ why: 'complete' }]);

    const marked = started();
    marked.mark(TIRE);
    for (let n = 0; n < 3; n++) brake(marked);
    marked.run(300);
    expect(checks(marked)).toMatchObject([{ why: 'complete' }]);
    expect(checks(marked)[0]!.tires[TIRE]).toMatchObject({ kpa: null, coldKpa: null, share: null, sure: false });
  });

  it('at the end of a trip that was too short, and again in the next trip', () => {
    const d = started();
    d.run(30).rest(100);
    expect(checks(d)).toMatchObject([{ trip: 1, why: 'trip-end', brakes: { applications: 0 } }]);
    d.run(30).rest(100);
    expect(checks(d).map((c) => c.trip)).toEqual([1, 2]);
  });

  it('goes on over a change of configuration and a saved state', () => {
    const d = started();
    for (let n = 0; n < 2; n++) brake(d);
    d.config = truck('rules:\n  tire-hot: {enabled: no}');
    d.stepper.reload(d.t, d.config);
    d.pipeline = d.stepper.pipeline;
    brake(d);
    d.run(300);
    expect(checks(d)).toMatchObject([{ why: 'complete', brakes: { applications: 3 } }]);
  });
});

describe('what it tells', () => {
  const told = (d: Drive): RecordOf<'start-check'>['values'] => {
    for (let n = 0; n < 3; n++) brake(d);
    d.run(300);
    return checks(d)[0]!;
  };

  it('of each tire: as read, cold-equivalent, target, share and age; warm tires are less sure', () => {
    const d = started();
    Object.assign(d.wheel(TIRE), { kpa: 640, celsius: 38 });
    const { tires, stoodS } = told(d);
    expect(Object.keys(tires)).toEqual(SUBJECTS);
    // Gas law by hand: (640 + 101.5) × 291.15 / 311.15 − 101.325 = 592.5 kPa; of 689.4757 kPa 0.859.
    expect(tires[TIRE]).toEqual({
      kpa: 640,
      coldKpa: 592.5,
      targetKpa: 689.5,
      share: 0.859,
      ageS: expect.any(Number),
      sure: false,
    });
    expect(tires[TIRE]!.ageS).toBeLessThanOrEqual(10);
    expect(stoodS).toBeNull();
  });

  it.each([
    ['three hours', 3 * 3600, true],
    ['a minute less', 3 * 3600 - 60, false],
  ])('after %s of standing the cold pressures are those of the first minutes, and sure: %s', (_, stood, sure) => {
    const d = started();
    d.run(30).rest(stood + 10);
    // Standing counts from the moment at which it was taken for parked, ten seconds after the last frame.
    d.wheel(TIRE).kpa = 660;
    d.run(200);
    d.wheel(TIRE).kpa = 700;
    const last = (): RecordOf<'start-check'>['values'] => checks(d).at(-1)!;
    for (let n = 0; n < 3; n++) brake(d);
    d.run(10);
    expect(last()).toMatchObject({ trip: 2, why: 'complete', stoodS: expect.closeTo(stood, -1) });
    // (p + 101.5) − 101.325 at 18 °C.
    expect(last().tires[TIRE]).toMatchObject({ kpa: 700, coldKpa: sure ? 660.2 : 700.2, sure });
  });

  it('after a short stop they are those of now: what was read cold in the morning says nothing of a leak since', () => {
    const d = started();
    d.run(30).rest(4 * 3600);
    d.run(200).rest(600);
    d.wheel(TIRE).kpa = 640;
    told(d);
    expect(checks(d).map((c) => c.trip)).toEqual([1, 2, 3]);
    // Against its peers since the morning it is known well all the same.
    expect(checks(d).at(-1)).toMatchObject({ tires: { [TIRE]: { kpa: 640, coldKpa: 640.2, sure: true } } });
    expect(checks(d).at(-1)!.tires[TIRE]!.share).toBeCloseTo(640 / 689.5, 1);
  });

  it('of a tire that was never heard nothing but its target', () => {
    const d = started();
    d.wheel(STEER).speaks = false;
    d.run(30).rest(100);
    expect(checks(d)[0]!.tires[STEER]).toEqual({
      kpa: null,
      coldKpa: null,
      targetKpa: 827.4,
      share: null,
      ageS: null,
      sure: false,
    });
  });

  it('which brake told what, applied and released', () => {
    const d = started();
    brake(d, 300, { 3787: 2 });
    brake(d, 300, { 3788: 1 });
    brake(d);
    d.run(300);
    const { wheels } = checks(d)[0]!.brakes;
    expect(Object.keys(wheels)).toHaveLength(10);
    expect(wheels['tractor/2/left']).toEqual({ applied: 2, released: 0, strokeMm: null, restMm: null });
    expect(wheels['tractor/2/right']).toMatchObject({ applied: 1, released: 0 });
    expect(wheels['tractor/1/left']).toMatchObject({ applied: 0, released: 0 });
  });

  it('brakes that tell nothing are not in it', () => {
    expect(told(started({ strokes: null })).brakes.wheels).not.toHaveProperty(['tractor/9/left']);
    const d = started();
    d.world.strokes = null;
    d.run(30).rest(100);
    expect(checks(d)[0]!.brakes).toEqual({ applications: 0, wheels: {} });
  });

  /** Tanks that fill at 5 kPa/s from `from`, the secondary a little behind. */
  function filling(d: Drive, from: number, seconds: number): void {
    d.run(seconds, (s) => {
      const kpa = Math.min(800, from + 5 * s);
      Object.assign(d.world, { primary: kpa, secondary: Math.max(from, kpa - 4) });
    });
  }

  it('how long the low-air limit and the build-up took', () => {
    const d = started({ rpm: 1100 });
    filling(d, 300, 150);
    const { air } = told(d);
    expect(air.startKpa).toBe(300);
    // The lower circuit, 4 kPa behind, is past 414 kPa at 23.6 s, past 586 at 58 s and at 689 at 78.6 s; ticks and steps of 4 kPa.
    expect(air.lowAirS).toBeGreaterThanOrEqual(22);
    expect(air.lowAirS).toBeLessThanOrEqual(25);
    expect(air.buildUp!.meanRpm).toBe(1100);
    expect(air.buildUp!.seconds).toBeGreaterThanOrEqual(20);
    expect(air.buildUp!.seconds).toBeLessThanOrEqual(22);
  });

  it('nothing of that where the tanks were full, and no build-up from above 586 kPa', () => {
    expect(told(started()).air).toEqual({ startKpa: 800, lowAirS: null, buildUp: null, leakTests: [] });
    const d = started();
    filling(d, 592, 150);
    expect(told(d).air).toMatchObject({ startKpa: 592, lowAirS: null, buildUp: null });
  });

  /** The starter turns for three seconds: supply voltage drops, and sensors read a third of what there is, a second longer. */
  function crank(d: Drive, kpa: number): void {
    Object.assign(d.world, { rpm: 190, primary: kpa / 3, secondary: kpa / 3 });
    d.run(3);
    d.world.rpm = 700;
    d.run(1);
    Object.assign(d.world, { primary: kpa, secondary: kpa });
  }

  /** Stands with its engine off. */
  const off = (kpa: number): Drive => started({ rpm: 0, primary: kpa, secondary: kpa }).run(10);

  it('a dip while the engine is cranked is no low air, nor what the air was at the start', () => {
    const d = off(556);
    crank(d, 556);
    filling(d, 556, 150);
    const { air } = told(d);
    expect(air).toMatchObject({ startKpa: 556, lowAirS: null });
    // The lower circuit is past 586 kPa 7 s later, in the seconds that are not looked at.
    expect(air.buildUp).toBeNull();
  });

  it('a build-up that begins after those seconds is told', () => {
    const d = off(500);
    crank(d, 500);
    filling(d, 500, 150);
    const { startKpa, buildUp } = told(d).air;
    expect(startKpa).toBe(500);
    expect(buildUp!.seconds).toBeGreaterThanOrEqual(20);
    expect(buildUp!.seconds).toBeLessThanOrEqual(22);
  });

  it('of air that was not heard before the starter turned the first that is told after those seconds is the start', () => {
    const d = started({ rpm: 0, primary: null, secondary: null }).run(10);
    crank(d, 600);
    filling(d, 600, 30);
    expect(told(d).air).toMatchObject({ startKpa: expect.closeTo(640, -1), lowAirS: null, buildUp: null });
  });

  it('an engine that is started again in a trip: no low air and no build-up out of a dip', () => {
    const d = started({ primary: 640, secondary: 640 });
    d.run(20);
    crank(d, 640);
    filling(d, 640, 60);
    expect(told(d).air).toMatchObject({ startKpa: 640, lowAirS: null, buildUp: null });
  });

  it('a build-up in which the engine is started again has no length', () => {
    const d = started({ primary: 560, secondary: 560 });
    filling(d, 560, 15);
    crank(d, 632);
    filling(d, 632, 60);
    expect(told(d).air).toMatchObject({ startKpa: 560, buildUp: null });
  });

  it.each([
    [300, 23, 26],
    // Past the limit in the seconds that are not looked at: told when it is seen again.
    [404, 8, 13],
  ])('%d kPa before the engine was cranked is low air', (kpa, least, most) => {
    const d = off(kpa);
    crank(d, kpa);
    filling(d, kpa, 150);
    const { startKpa, lowAirS } = told(d).air;
    expect(startKpa).toBe(kpa);
    expect(lowAirS).toBeGreaterThanOrEqual(least);
    expect(lowAirS).toBeLessThanOrEqual(most);
  });

  it('while it builds up the check waits; what never gets there is told as not seen', () => {
    const d = started({ primary: 500, secondary: 500 });
    for (let n = 0; n < 3; n++) brake(d);
    d.run(600);
    expect(checks(d)).toEqual([]);
    d.rest(100);
    expect(checks(d)).toMatchObject([{ why: 'trip-end', air: { startKpa: 500, lowAirS: null, buildUp: null } }]);
  });

  it('a circuit that has fallen silent is no pressure', () => {
    const d = started({ primary: 300, secondary: 700 });
    d.run(20);
    d.world.primary = null;
    d.run(60).rest(100);
    // Only the secondary is heard: nobody says that the air is past the limit.
    expect(checks(d)[0]!.air).toMatchObject({ startKpa: 300, lowAirS: null });
  });

  it('the leak tests that were made in it, the latest of each state and circuit', () => {
    const records = new Records(newRecords(), { recordsDropped: 0 });
    const holder = { check: newCheck() };
    const check = new TripCheck(holder, { layout: { tires: [] }, records } as unknown as TripSight);
    const test = (circuit: string, state: 'released' | 'applied', kpaPerMin: number): void => {
      const values = { ...airTest().values, circuit, state, kpaPerMin };
      check.record({ ...airTest(), values });
    };
    test('air/primary', 'released', 1);
    check.begin(1000, -1);
    test('air/primary', 'released', 30);
    test('air/primary', 'released', 4);
    test('air/primary', 'applied', 6);
    check.finish(9000, 1, 'trip-end');
    check.finish(9000, 1, 'trip-end');
    const told = records.take();
    expect(told).toHaveLength(1);
    expect(told[0]).toMatchObject({ kind: 'start-check', startAt: 1000, endAt: 9000 });
    expect((told[0] as RecordOf<'start-check'>).values.air.leakTests).toEqual([
      { state: 'released', circuit: 'air/primary', seconds: 60, kpaPerMin: 4, limit: 20.7 },
      { state: 'applied', circuit: 'air/primary', seconds: 60, kpaPerMin: 6, limit: 20.7 },
    ]);
  });
});
