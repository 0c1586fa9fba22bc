import { describe, expect, it } from 'vitest';
import { drive } from '../../support/drive.js';
import { type Frame, frameOf, Rig } from '../../support/rig.js';
import { Drive, truck } from '../monitors/drive.js';

/** High resolution odometer (SPN 917, 5 m), each second. */
function* odometer(from: number, to: number, metres: (second: number) => number): Generator<Frame> {
  for (let s = from; s < to; s++) yield frameOf(s * 1000 + 100, 65217, 0, { 917: metres(s) });
}

const inOrder = (...streams: Iterable<Frame>[]): Frame[] => streams.flatMap((s) => [...s]).sort((a, b) => a.t - b.t);
const standing = () => ({ kmh: 0, rpm: 0, parkingBrake: true });

describe('trips', () => {
  it('in the pipeline: provisional when the bus goes quiet, closed when parked, one trip through a silence on the road', () => {
    const rig = new Rig()
      .feed(drive(0, 60, () => ({})))
      .feed(drive(90, 120, () => ({})))
      .feed(drive(120, 150, () => ({ kmh: 0, rpm: 0, parkingBrake: true })))
      .advance(300_000);
    const trips = rig.effects.flatMap((e) =>
      e.trip === null ? [] : [[e.t, e.trip.provisional, e.trip.trip, e.flush]],
    );
    expect(trips).toEqual([
      [61_000, true, 1, true],
      [151_000, true, 1, true],
      [160_000, false, 1, false],
    ]);
    expect(rig.effects.find((e) => e.t === 160_000)!.trip).toMatchObject({ startAt: 1000, endAt: 160_000, alerts: 1 });
  });

  it('one that is blind until it sleeps ends then', () => {
    const rig = new Rig().feed(drive(0, 60, () => ({}))).advance(2_000_000);
    expect(rig.effects.filter((e) => e.trip?.provisional === false).map((e) => e.t)).toEqual([970_000]);
  });
});

describe('distance', () => {
  const ended = (rig: Rig) => rig.effects.flatMap((e) => (e.trip === null ? [] : [e.trip])).at(-1)!;

  it('is what the odometer says, where there is one', () => {
    const rig = new Rig()
      .feed(
        inOrder(
          drive(0, 100, () => ({})),
          odometer(0, 100, (s) => 5_000 + 20 * s),
        ),
      )
      .feed(drive(100, 110, standing))
      .advance(200_000);
    // From the first tick of the trip, which knows what it said at 0.1 s, to what it said last.
    expect(ended(rig)).toMatchObject({ distanceKm: 1.98, summary: { distanceFrom: 'odometer' } });
  });

  it('is speed added up where nobody tells an odometer: 90 km/h for 100 s are 2.5 km', () => {
    const rig = new Rig()
      .feed(drive(0, 100, () => ({ kmh: 90 })))
      .feed(drive(100, 110, standing))
      .advance(200_000);
    const { distanceKm, summary } = ended(rig);
    expect(summary?.distanceFrom).toBe('speed');
    // A second more or less at both ends, and while the last speed is fresh.
    expect(distanceKm).toBeGreaterThan(2.44);
    expect(distanceKm).toBeLessThan(2.56);
  });

  it('is not known where neither is told', () => {
    const engine = [...drive(0, 100, () => ({}))].filter((f) => ((f.id >>> 8) & 0xffff) !== 65265);
    const rig = new Rig().feed(engine).advance(200_000);
    expect(ended(rig)).toMatchObject({ distanceKm: null, summary: { distanceFrom: null, movingS: 0 } });
  });
});

describe('a restart inside a trip', () => {
  it('ends it with what was added up before, and begins the next from nothing', () => {
    const d = new Drive(truck());
    // Ten times a second, so that the bus is never quiet.
    d.isFine = true;
    Object.assign(d.world, { pedal: null, brakeSwitch: null });
    d.run(120);
    d.world.brakeKpa = 300;
    d.run(4);
    d.world.brakeKpa = 0;
    d.run(10);
    d.restart(60_000);
    d.run(30);
    expect(d.trip).toMatchObject({
      trip: 1,
      provisional: false,
      startAt: -60_000 - 134_000 + 1000,
      summary: { applications: { count: 1, qualifying: 1, hardestKpa: 300 }, distanceFrom: 'speed' },
    });
    // 133 ticks of it had passed.
    expect(d.trip!.summary!.movingS).toBeGreaterThan(130);
    // The trip that goes on knows nothing of the application.
    expect(d.pipeline.state.trips).toMatchObject({ trip: 2, summary: { applications: 0, movingMs: 28_000 } });
  });

  it('tells the start check that had not been told, with what was seen, and once', () => {
    const d = new Drive(truck());
    d.run(120);
    d.restart(60_000);
    d.run(10);
    const checks = d.recordsOf('start-check');
    expect(checks.map((c) => [c.values.trip, c.values.why])).toEqual([[1, 'trip-end']]);
    expect(checks[0]!.endAt).toBeLessThan(0);
    expect(checks[0]!.values.tires['tractor/2/left/outer']).toMatchObject({ kpa: 688, coldKpa: 688.2 });
    d.restart(60_000);
    d.run(10);
    expect(d.recordsOf('start-check').map((c) => c.values.trip)).toEqual([1, 2]);
  });
});
