import { makeId } from '../../daemon/j1939/identifier.js';
import { listSubjects } from '../../daemon/truck/subjects.js';
import { dm1Payload } from '../../simulator/encode.js';
import { type Frame, frameOf } from './rig.js';
import { truckOf } from './truck-file.js';

/** What a truck is like in one second. */
export interface Second {
  /** Nothing at all on the bus. */
  silent: boolean;
  rpm: number;
  kmh: number;
  parkingBrake: boolean;
  /** Application pressure, kPa. */
  brakeKpa: number;
  primaryKpa: number;
  secondaryKpa: number;
  /** By index in the layout: kPa and °C; null: the sensor is silent. */
  tire: (i: number) => [kpa: number, celsius: number] | null;
  /** BSA code by wheel end in the layout. */
  stroke: (i: number) => number;
  /** DM1 of the air controller: SPN and FMI. */
  codes: [spn: number, fmi: number][];
  redLamp: boolean;
}

const { tires, wheelEnds } = listSubjects(truckOf().units);
export const TIRES = tires.map((tire) => tire.subject);
export const WHEEL_ENDS = wheelEnds.map((end) => end.subject);

export const target = (i: number): number => tires[i]!.coldPressureKpa!;

/** A healthy truck on the road: engine running, 80 km/h, everything as it should be. */
export const healthy = (): Second => ({
  silent: false,
  rpm: 1300,
  kmh: 80,
  parkingBrake: false,
  brakeKpa: 0,
  primaryKpa: 800,
  secondaryKpa: 800,
  tire: (i) => [target(i), 18],
  stroke: () => 0,
  codes: [],
  redLamp: false,
});

const dm1 = (t: number, source: number, data: Uint8Array): Frame => ({
  t,
  id: makeId({ priority: 6, pgn: 65226, source }),
  data,
});

/**
 * Frames of seconds [from, to): engine and speed twice a second, brakes and air once, each tire every ten seconds, DM1 once
 * a second; spread over the second. Every tenth second a tire frame is no whole number of milliseconds later than the last.
 */
export function* drive(from: number, to: number, at: (second: number) => Partial<Second>): Generator<Frame> {
  for (let second = from; second < to; second++) {
    const s = { ...healthy(), ...at(second) };
    if (s.silent) continue;
    const t = second * 1000;
    const context = function* (later: number): Generator<Frame> {
      yield frameOf(t + later, 61444, 0, { 190: s.rpm });
      yield frameOf(t + later + 3, 65265, 0, { 84: s.kmh, 70: s.parkingBrake ? 1 : 0, 597: s.brakeKpa > 0 ? 1 : 0 });
    };
    yield* context(17);
    yield frameOf(t + 120, 65274, 11, { 116: s.brakeKpa, 117: s.primaryKpa, 118: s.secondaryKpa });
    const codes = Object.fromEntries(Array.from({ length: 20 }, (_, field) => [3785 + field, 7]));
    for (const [i, end] of wheelEnds.entries()) codes[3785 + end.bsaField] = s.stroke(i);
    yield frameOf(t + 210, 64881, 11, codes);
    if (s.codes.length > 0 || s.redLamp || second % 5 === 0) {
      const list = s.codes.slice(0, 1).map(([spn, fmi]) => ({ spn, fmi, count: 1 }));
      yield dm1(t + 300, 48, dm1Payload(s.redLamp ? 'red' : list.length > 0 ? 'amber' : 'none', list));
    }
    yield* context(517);
    for (let i = second % 10; i < tires.length; i += 10) {
      const value = s.tire(i);
      if (value === null) continue;
      const [kpa, celsius] = value;
      yield frameOf(t + 600 + 13 * i, 65268, 51, { 929: tires[i]!.location, 241: kpa, 242: celsius, 6990: 0 });
    }
    yield frameOf(t + 950, 65269, 0, { 108: 101, 171: 18 });
  }
}

const between = (s: number, from: number, to: number): boolean => s >= from && s < to;
const ramp = (s: number, from: number, perMinute: number): number => (Math.max(0, s - from) / 60) * perMinute;

/** Forty minutes in which every rule that is judged has something to say. */
export function troubled(s: number): Partial<Second> {
  const parked = s < 60 || s >= 2300;
  const braking = !parked && s % 60 < 4;
  const airLost = between(s, 1500, 1760);
  return {
    silent: between(s, 1800, 1830) || s >= 2360,
    rpm: between(s, 20, 22) ? 200 : s < 20 ? 0 : parked ? 600 : 1300,
    kmh: parked ? 0 : 80,
    parkingBrake: parked,
    brakeKpa: braking ? 240 : 0,
    primaryKpa: airLost ? Math.max(360, 800 - 2 * (s - 1500)) : 800,
    secondaryKpa: airLost ? Math.max(380, 800 - 5 * Math.max(0, s - 1700)) : 800,
    tire: (i) => {
      if (i === 17 && between(s, 400, 1100)) return null;
      const hot = (i === 10 && between(s, 600, 1000)) || (i === 14 && between(s, 650, 900));
      const fill = 0.94 * target(i);
      // One tire leaks, then fast; somebody fills it.
      if (i === 2 && s < 1900) return [Math.max(280, fill - ramp(s, 300, 4) - ramp(s, 900, 30)), 18];
      // Its neighbour across the axle was never filled as its twin.
      if (i === 4) return [fill - 72, 18];
      return [fill, hot ? 125 : 18];
    },
    stroke: (i) => {
      if (i === 7 && between(s, 700, 800)) return 3;
      if (!braking) return 0;
      return i === 3 ? 2 : i === 5 ? 1 : 0;
    },
    codes: between(s, 1500, 1600) ? [[117, 18]] : [],
    redLamp: between(s, 1610, 1660),
  };
}
