import { describe, expect, it } from 'vitest';
import type { EventDraft } from '../../../daemon/alerts/event.js';
import type { TripRecord } from '../../../daemon/effects.js';
import type { TripSight } from '../../../daemon/truck/trip-sight.js';
import { newSummary, type TripSummary, TripSums } from '../../../daemon/truck/trip-summary.js';
import { airCycle, brakeApplication } from '../../adapters/store/helpers.js';
import { exampleDraft } from '../alerts/drafts.js';
import { Drive, truck } from '../monitors/drive.js';

const TIRE = 'tractor/2/left/outer';
const OK = Object.fromEntries(Array.from({ length: 20 }, (_, i) => [3785 + i, 0]));

/** On the road, brakes told, never quiet. */
function driving(change: Partial<Drive['world']> = {}): Drive {
  const d = new Drive(truck());
  d.isFine = true;
  Object.assign(d.world, { pedal: null, brakeSwitch: null, strokes: { ...OK }, ...change });
  return d;
}

/** Stands for a second, and nothing more on the bus, until the trip has ended. */
function ended(d: Drive): TripRecord {
  d.world.kmh = 0;
  d.run(1);
  d.rest(30);
  expect(d.trip?.provisional).toBe(false);
  return d.trip!;
}
const summaryOf = (d: Drive): TripSummary => ended(d).summary!;

describe('the summary of a trip', () => {
  it('durations: in all, moving at 5 km/h or faster, with the engine running', () => {
    const d = driving({ kmh: 4.9 });
    d.run(60);
    d.world.kmh = 5;
    d.run(100);
    Object.assign(d.world, { kmh: 0, rpm: 0 });
    d.run(40);
    const { durationS, movingS, engineS } = summaryOf(d);
    // Begun at the first tick, parked ten seconds after the last frame; a tick more or less at each change.
    expect(durationS).toBeGreaterThanOrEqual(209);
    expect(durationS).toBeLessThanOrEqual(211);
    expect(Math.abs(movingS - 100)).toBeLessThanOrEqual(1);
    expect(Math.abs(engineS - 159)).toBeLessThanOrEqual(1);
  });

  it('brake applications: all, those that judge brakes, and the hardest', () => {
    const d = driving();
    d.run(5);
    for (const kpa of [100, 360, 200]) {
      d.world.brakeKpa = kpa;
      d.run(3);
      d.world.brakeKpa = 0;
      d.run(5);
    }
    expect(summaryOf(d).applications).toEqual({ count: 3, qualifying: 2, hardestKpa: 360 });
  });

  it('the hottest tire of all of it, not of its end; a marked sensor is none', () => {
    const d = driving();
    d.mark('tractor/3/left/outer');
    d.wheel('tractor/3/left/outer').celsius = 90;
    d.wheel(TIRE).celsius = 71.5;
    d.run(20);
    d.wheel(TIRE).celsius = 20;
    d.run(200);
    expect(summaryOf(d).hottestTire).toEqual({ subject: TIRE, celsius: 71.5 });
  });

  it('the lowest air of each circuit while moving, not while the tanks are filled', () => {
    const d = driving({ kmh: 0, parked: 1, primary: 300, secondary: 300 });
    d.run(10);
    Object.assign(d.world, { primary: 800, secondary: 792 });
    d.run(10);
    Object.assign(d.world, { kmh: 60, parked: 0 });
    d.run(10);
    d.world.primary = 640;
    d.run(10);
    d.world.primary = 700;
    d.run(10);
    expect(summaryOf(d).lowestAir).toEqual({ primaryKpa: 640, secondaryKpa: 792 });
  });

  it('no dip while the engine is cranked in a truck that rolls', () => {
    const d = driving({ primary: 800, secondary: 792 });
    d.run(10);
    Object.assign(d.world, { rpm: 190, primary: 280, secondary: 272 });
    d.run(3);
    Object.assign(d.world, { rpm: 700, primary: 796, secondary: 788 });
    d.run(30);
    expect(summaryOf(d).lowestAir).toEqual({ primaryKpa: 796, secondaryKpa: 788 });
  });

  it('what nobody told is not known: no tire, no air, no pressure of the brakes, no compressor', () => {
    const d = driving({ primary: null, secondary: null, brakeKpa: null, strokes: null });
    for (const wheel of Object.values(d.wheels)) wheel.speaks = false;
    d.run(30);
    expect(summaryOf(d)).toMatchObject({
      applications: { count: 0, qualifying: 0, hardestKpa: null },
      hottestTire: null,
      lowestAir: { primaryKpa: null, secondaryKpa: null },
      compressor: null,
      silent: [],
    });
  });

  it('compressor: as it says itself, of the time in which it was heard', () => {
    const d = driving();
    d.run(100, (s) => {
      if (Number.isInteger(s)) d.send(65198, 48, { 1351: s < 25 ? 1 : 0 });
    });
    d.run(200);
    const { compressor } = summaryOf(d);
    expect(compressor?.from).toBe('signal');
    // 25 of 100 s; its last word is fresh for three seconds more.
    expect(compressor!.share).toBeGreaterThan(0.23);
    expect(compressor!.share).toBeLessThan(0.26);
  });

  it('silent sensors: tires while moving, from a minute on, the longest first', () => {
    const d = driving();
    d.run(60);
    d.wheel(TIRE).speaks = false;
    d.run(65);
    d.wheel(TIRE).speaks = true;
    d.run(30);
    // Its last reading is of second 52, the next of second 132; it counts for 30 s: too short to be told.
    expect(d.pipeline.state.trips.summary.silentMs[TIRE]).toBeGreaterThanOrEqual(49_000);
    expect(d.pipeline.state.trips.summary.silentMs[TIRE]).toBeLessThanOrEqual(53_000);
    d.wheel(TIRE).speaks = false;
    d.wheel('trailer/1/left/inner').speaks = false;
    d.run(60);
    Object.assign(d.wheel('trailer/1/left/inner'), { speaks: true });
    d.run(60);
    Object.assign(d.world, { kmh: 0 });
    d.run(300);
    const { silent } = summaryOf(d);
    expect(silent.map((s) => s.subject)).toEqual([TIRE]);
    // Those and, from 30 s after second 152 until the truck stood at 275, another 93.
    expect(silent[0]!.seconds).toBeGreaterThanOrEqual(135);
    expect(silent[0]!.seconds).toBeLessThanOrEqual(155);
  });

  it('silent brakes and circuits: those that have ever told, while the engine runs', () => {
    const d = driving();
    d.run(30);
    Object.assign(d.world, { secondary: null, strokes: null });
    d.run(100);
    d.world.rpm = 0;
    d.run(100);
    const { silent } = summaryOf(d);
    expect(silent).toHaveLength(1 + 10);
    expect(silent[0]!.subject).toBe('air/secondary');
    expect(silent[0]!.seconds).toBeLessThanOrEqual(100);
    expect(silent[1]!.seconds).toBeGreaterThanOrEqual(88);
    expect(silent.at(-1)!.seconds).toBeLessThanOrEqual(silent[0]!.seconds);
  });

  it('while the bus is silent nobody in particular is: that is the gap', () => {
    const d = driving();
    d.run(60).rest(300);
    d.run(20);
    const trip = ended(d);
    expect(trip.summary!.silent).toEqual([]);
    expect(trip.gapS).toBeGreaterThanOrEqual(299);
  });

  it('counts alerts by the worst that they reached, and only those raised in it', () => {
    const d = driving();
    d.wheel(TIRE).kpa = 600;
    d.run(700);
    d.wheel(TIRE).kpa = 540;
    d.run(300);
    d.world.kmh = 0;
    const first = ended(d);
    const story = d.of('tire-underinflated', TIRE);
    expect(story).toEqual(['raised plan', 'worse next-stop']);
    expect(first.summary!.raised['next-stop']).toBeGreaterThanOrEqual(1);
    expect(Object.values(first.summary!.raised).reduce((a, b) => a + b, 0)).toBe(first.alerts);
    d.world.kmh = 80;
    d.run(60);
    const second = ended(d);
    expect([second.trip, second.alerts, second.summary!.raised]).toEqual([
      2,
      0,
      { plan: 0, 'next-stop': 0, 'pull-over': 0 },
    ]);
  });
});

describe('its sums', () => {
  const sums = (): TripSums => new TripSums({ summary: newSummary() }, {} as TripSight);

  it('an alert that gets better and worse again is one alert', () => {
    const it = sums();
    const event = (change: EventDraft['change'], urgency: EventDraft['urgency'], alert = 7): void =>
      it.event({ ...exampleDraft(), alert, change, urgency });
    event('raised', 'plan');
    event('worse', 'next-stop');
    event('better', 'plan');
    event('worse', 'next-stop');
    event('raised', 'plan', 8);
    event('cleared', 'next-stop');
    expect(it.summary(0, null).raised).toEqual({ plan: 1, 'next-stop': 1, 'pull-over': 0 });
  });

  it('cycles of the compressor stand in where it says nothing of itself', () => {
    const holder = { summary: { ...newSummary(), engineMs: 320_000 } };
    const it = new TripSums(holder, {} as TripSight);
    it.record(airCycle());
    it.record(airCycle());
    expect(it.summary(0, null).compressor).toEqual({ share: 0.2, from: 'cycles' });
  });

  it('an application without pressure leaves the hardest as it was', () => {
    const it = sums();
    it.record(brakeApplication({ peakKpa: 200 }));
    it.record(brakeApplication({ peakKpa: null, qualifying: false }));
    expect(it.summary(0, null).applications).toEqual({ count: 2, qualifying: 1, hardestKpa: 200 });
  });
});
