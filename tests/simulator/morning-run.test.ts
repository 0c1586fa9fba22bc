import { readFileSync, statSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { parseScenario } from '../../simulator/scenario.js';
import { simulateShift } from '../../simulator/shift.js';
import { simulateInto } from '../../simulator/simulation.js';
import { truthText } from '../../simulator/truth.js';
import {
  air1,
  amb,
  b1,
  ccvs1,
  meters,
  type NaiveFrame,
  parseLog,
  perMinute,
  rpm,
  strokes,
  tire1,
  vp1,
} from './naive.js';

const LOG = 'replay-logs/morning-run.log.gz';
const scenario = parseScenario(readFileSync('simulator/shifts/morning-run.yaml', 'utf8'), 'morning-run.yaml');
const logText = gunzipSync(readFileSync(LOG)).toString('latin1');
const frames = parseLog(logText.trimEnd().split('\n'));
const min = (m: number) => m * 60_000;

function of<T>(pgn: number, read: (frame: NaiveFrame) => T, from = 0, to = Infinity): (T & { t: number })[] {
  return frames
    .filter((frame) => frame.pgn === pgn && frame.t >= from && frame.t < to)
    .map((frame) => ({ t: frame.t, ...read(frame) }));
}

const tires = of(65268, tire1);
const outside = of(65269, amb);
/** Gauge pressure at 18 °C and 101.325 kPa outside, by the gas law. */
const cold = tires.map((tire) => {
  const outsideKpa = outside.findLast((a) => a.t <= tire.t)?.outsideKpa ?? 97.5;
  return { ...tire, cold: ((tire.kpa + outsideKpa) * 291.15) / (tire.celsius + 273.15) - 101.325 };
});
const LEAKING = 0x10;
const SILENT = 0x22;
const DRAGGED = [0x40, 0x41];

describe('the demonstration recording', () => {
  it('is what the scenario and its seed make', () => {
    expect(logText).toBe(`${[...simulateShift(scenario)].join('\n')}\n`);
    expect(readFileSync('replay-logs/morning-run.truth.ndjson', 'utf8')).toBe(
      truthText(simulateInto(scenario, { frame() {}, errorFrame() {} })),
    );
  }, 60_000);

  it('is at most 3 MB and about three hours long', () => {
    expect(statSync(LOG).size).toBeLessThanOrEqual(3e6);
    expect(frames.at(-1)!.t).toBeGreaterThan(min(175));
    expect(frames.at(-1)!.t).toBeLessThan(min(190));
  });

  it('knows the eighteen wheels of the truck and no other, from the tire controller', () => {
    const dual = (axle: number) => [0, 1, 2, 3].map((place) => axle * 16 + place);
    const all = [0x00, 0x01, ...dual(1), ...dual(2), ...dual(3), ...dual(4)];
    expect([...new Set(tires.map((tire) => tire.location))].sort((a, b) => a - b)).toEqual(all);
    expect(new Set(frames.filter(({ pgn }) => pgn === 65268).map(({ source }) => source))).toEqual(new Set([51]));
  });

  it('leaves what a sender does not know as ones: leak rate, verdicts, unused bits', () => {
    for (const { bytes } of frames.filter(({ pgn }) => pgn === 65268)) {
      expect(bytes.slice(5)).toEqual([255, 255, 255]);
      expect(bytes[4]).toBe(0b00_00_11_01);
    }
    for (const { codes, unused } of of(64881, strokes)) {
      expect(unused).toBe(15);
      // Tractor axles 4, 5 and trailer axles 3 to 5 are not fitted.
      expect([...codes.slice(6, 10), ...codes.slice(14)].every((code) => code === 7)).toBe(true);
    }
  });
});

describe('rates', () => {
  const seconds = { from: min(17), to: min(33) };

  it.each([
    ['EEC1, thinned', 61444, 0, 5],
    ['CCVS1', 65265, 0, 10],
    ['EBC1', 61441, 11, 10],
    ['AIR1', 65198, 48, 1],
    ['B1', 65274, 11, 1],
    ['BSA', 64881, 11, 1],
    ['AMB', 65269, 0, 1],
    ['VP1', 65267, 23, 1],
    ['VDHR', 65217, 23, 1],
    ['DM1', 65226, 0, 1],
  ])('%s (PGN %i from %i): %i a second in town', (_, pgn, source, hz) => {
    const { from, to } = seconds;
    const count = frames.filter((f) => f.pgn === pgn && f.source === source && f.t >= from && f.t < to).length;
    expect(count / ((to - from) / 1000)).toBeCloseTo(hz, 1);
  });

  it('tires: sets of frames within 200 ms of each other every 10 s, about 5 % lost', () => {
    const { from, to } = { from: min(2), to: min(80) };
    const times = tires.filter(({ t }) => t >= from && t < to);
    const gaps = times.slice(1).map(({ t }, i) => t - times[i]!.t);
    const between = gaps.filter((gap) => gap > 1000);
    // Two lost in a row still leave 3 × 49 ms.
    expect(gaps.filter((gap) => gap > 200 && gap < 5000)).toEqual([]);
    for (const gap of between) expect(gap).toBeGreaterThan(8500);
    const expected = ((to - from) / 10_000) * 18;
    const lost = 1 - times.length / expected;
    // 8,424 frames: standard error 0.24 %.
    expect(lost).toBeGreaterThan(0.04);
    expect(lost).toBeLessThan(0.06);
  });
});

describe('the story', () => {
  it('begins with the key on and the engine off, then cranks while the pressure senders dip', () => {
    const before = of(61444, (f) => ({ rpm: rpm(f) }), 0, 20_000);
    expect(before.length).toBeGreaterThan(20);
    expect(before.every((frame) => frame.rpm === 0)).toBe(true);
    const cranking = of(61444, (f) => ({ rpm: rpm(f) }), 20_000, 24_000).filter((frame) => frame.rpm > 0);
    expect(cranking[0]!.rpm).toBeGreaterThan(50);
    expect(cranking[0]!.rpm).toBeLessThan(400);
    const dip = of(65274, b1, 20_000, 24_000).map((frame) => frame.primary);
    expect(Math.min(...dip)).toBeLessThan(200);
  });

  it('charges from below 414 kPa past 620 within five minutes, parked', () => {
    const start = of(65274, b1, 24_000, min(5.3));
    expect(start[0]!.primary).toBeLessThan(414);
    const past = start.find((frame) => Math.min(frame.primary, frame.secondary) > 620)!;
    expect(past.t).toBeLessThan(min(5));
    expect(start.every((frame) => frame.parked)).toBe(true);
    expect(of(65265, ccvs1, 0, min(7)).every((frame) => frame.kmh === 0)).toBe(true);
  });

  it('starts frosty with every tire within 3 % of its target', () => {
    for (const tire of cold.filter(({ t }) => t < min(3))) {
      expect(Math.abs(tire.celsius + 4)).toBeLessThanOrEqual(2);
      const target = tire.location < 0x10 ? 827.4 : 689.5;
      expect(Math.abs(tire.cold / target - 1)).toBeLessThan(0.03);
    }
  });

  it.each([
    [36, 64, 1.2, 0.15],
    [66, 79, 5, 0.3],
    [80.5, 84.5, 28, 2],
  ])('tractor/2/left/outer loses air from minute %f to %f at %f kPa/min', (from, to, rate, tolerance) => {
    const within = ({ t }: { t: number }) => t >= min(from) && t < min(to);
    const line = (location: number) =>
      perMinute(cold.filter((c) => within(c) && c.location === location).map((c) => [c.t, c.cold] as const));
    // Against the outer tires beside it, so that what warms all of them counts for nothing.
    const peers = [0x13, 0x20, 0x23, 0x30].map(line).reduce((sum, slope) => sum + slope, 0) / 4;
    expect(Math.abs(peers - line(LEAKING) - rate)).toBeLessThan(tolerance);
  });

  it('has that tire back on target after the stop', () => {
    const after = cold.filter(({ t, location }) => location === LEAKING && t > min(111));
    for (const tire of after) expect(Math.abs(tire.cold / 689.5 - 1)).toBeLessThan(0.03);
  });

  it('keeps every other tire between 95 and 104 % of target all along', () => {
    for (const { t, location, cold: kpa } of cold) {
      if (location === LEAKING || (DRAGGED.includes(location) && t > min(124))) continue;
      const share = kpa / (location < 0x10 ? 827.4 : 689.5);
      expect(share, `0x${location.toString(16)} at ${t / 60_000} min`).toBeGreaterThan(0.95);
      expect(share).toBeLessThan(1.04);
    }
  });

  it('over-strokes at trailer/1/right only, in qualifying applications, from minute 50 to the stop', () => {
    const TRAILER_1_RIGHT = 11;
    const over = of(64881, strokes).filter(({ codes }) => codes.includes(2));
    expect(over.every(({ codes }) => codes.indexOf(2) === TRAILER_1_RIGHT && codes.lastIndexOf(2) === 11)).toBe(true);
    expect(over[0]!.t).toBeGreaterThan(min(50));
    expect(over[0]!.t).toBeLessThan(min(53));
    expect(over.at(-1)!.t).toBeLessThan(min(86));
    const pressures = of(65274, b1);
    const qualifying = over.filter(({ t }) => pressures.some((p) => Math.abs(p.t - t) < 2000 && p.application >= 140));
    expect(qualifying.length).toBeGreaterThan(30);
  });

  it('drags at trailer/2/left only, released, with both tires heating past their peers, and goes free', () => {
    const TRAILER_2_LEFT = 12;
    const drags = of(64881, strokes).filter(({ codes }) => codes.includes(3));
    expect(drags.every(({ codes }) => codes.indexOf(3) === TRAILER_2_LEFT && codes.lastIndexOf(3) === 12)).toBe(true);
    expect(drags[0]!.t).toBeGreaterThanOrEqual(min(124));
    expect(drags.at(-1)!.t).toBeLessThan(min(140));
    const hottest = (location: number) =>
      Math.max(
        ...tires.filter((x) => x.location === location && x.t > min(124) && x.t < min(150)).map((x) => x.celsius),
      );
    expect(hottest(0x40) - hottest(0x43)).toBeGreaterThan(30);
    expect(hottest(0x41) - hottest(0x42)).toBeGreaterThan(30);
  });

  it('drives on while both circuits sink below 414 kPa, stops, recovers; at no other time is air low', () => {
    const all = of(65274, b1, min(5)).filter((frame) => Math.min(frame.primary, frame.secondary) <= 414);
    // The engine is started again at minute 105, and the pressure senders dip again.
    const low = all.filter(({ t }) => t < min(105) || t > min(105) + 5000);
    expect(low[0]!.t).toBeGreaterThan(min(151));
    expect(low.at(-1)!.t).toBeLessThan(min(160));
    const moving = of(65265, ccvs1, low[0]!.t, low[0]!.t + 30_000);
    expect(moving.every((frame) => frame.kmh > 50)).toBe(true);
    expect(low.some((frame) => Math.max(frame.primary, frame.secondary) <= 414)).toBe(true);
    expect(of(65274, b1, min(164), min(165)).every((frame) => frame.primary > 800)).toBe(true);
  });

  it('shows the same circuits in both groups, within a step of each', () => {
    // Only frames within 100 ms of each other and not while the brakes draw air.
    const brakes = of(65274, b1).filter((frame) => frame.application === 0);
    for (const air of of(65198, air1)) {
      const near = brakes.find((frame) => Math.abs(frame.t - air.t) < 100);
      if (near) expect(Math.abs(near.primary - air.circuit1)).toBeLessThanOrEqual(16);
    }
  }, 20_000);

  it('tells of the low air by two codes with the amber lamp, over several frames', () => {
    const announced = frames.filter(({ pgn, bytes }) => pgn === 0xec00 && bytes[5] === 0xca && bytes[6] === 0xfe);
    expect(announced.length).toBeGreaterThan(300);
    expect(announced.every(({ source, bytes }) => source === 48 && bytes[0] === 32 && bytes[1] === 10)).toBe(true);
    const first = frames.find(({ pgn, source, t }) => pgn === 0xeb00 && source === 48 && t > min(150))!;
    // Amber on; SPN 117 = 0x75 FMI 18, once; the first byte of the next code.
    expect(first.bytes).toEqual([1, 0x04, 0xff, 0x75, 0x00, 0x12, 0x01, 0x76]);
  });

  it('hears nothing of tractor/3/right/inner from minute 95 to 172, and hears it again', () => {
    const heard = tires.filter(({ location }) => location === SILENT).map(({ t }) => t);
    expect(heard.filter((t) => t >= min(95) && t < min(172))).toEqual([]);
    expect(heard.filter((t) => t >= min(172)).length).toBeGreaterThan(30);
  });

  it('is silent on the bus while the key is off', () => {
    expect(frames.filter(({ t }) => t >= min(90) && t < min(105))).toEqual([]);
  });

  it('moves along its road as far as its odometer says', () => {
    const odometer = frames.filter(({ pgn }) => pgn === 65217).map(meters);
    const driven = odometer.at(-1)! - odometer[0]!;
    expect(driven).toBeGreaterThan(130_000);
    expect(driven).toBeLessThan(150_000);
    const places = of(65267, vp1);
    let travelled = 0;
    for (const [i, { lat, lon }] of places.slice(1).entries()) {
      const north = (lat - places[i]!.lat) * 111.195;
      const east = (lon - places[i]!.lon) * 111.195 * Math.cos((lat * Math.PI) / 180);
      travelled += Math.hypot(north, east) * 1000;
    }
    expect(Math.abs(travelled / driven - 1)).toBeLessThan(0.01);
  });
});
