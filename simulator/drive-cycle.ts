import type { Maneuver } from './physics/vehicle.js';
import type { Random } from './random.js';

/**
 * off: no ignition, nothing on the bus. key: ignition on, engine off. idle: parked with the engine running.
 * yard, city, highway, mountain: driving.
 */
export const MODES = ['off', 'key', 'idle', 'yard', 'city', 'highway', 'mountain'] as const;
export type Mode = (typeof MODES)[number];

export function isDriving(mode: Mode): boolean {
  return mode === 'yard' || mode === 'city' || mode === 'highway' || mode === 'mountain';
}

/** Who drives, and where the road stands: meters over the start. */
export interface Road {
  climbedM: number;
  /** The pass, likewise. */
  passM: number;
  driver: 'calm' | 'brisk';
}

const START: Road = { climbedM: 0, passM: 1000, driver: 'calm' };

/** What the driver does next in this kind of traffic; at least one maneuver. */
export function planAhead(mode: Mode, random: Random, road = START): Maneuver[] {
  switch (mode) {
    case 'yard':
      return yard(random);
    case 'city':
      return road.driver === 'brisk' ? brisk(city(random), random) : city(random);
    case 'highway':
      return highway(random);
    case 'mountain':
      return mountain(random, road);
    default:
      return [{ do: 'park' }];
  }
}

/** Slowing down from the speed of the road before, where it was faster; may be nothing. */
export function slowDownFor(mode: Mode, speedKmh: number, random: Random): Maneuver[] {
  const most = { city: 58, yard: 14, mountain: 75 }[mode as string] ?? 100;
  if (speedKmh <= most) return [];
  return [{ do: 'brake', toKmh: most, kpa: random.whole(150, 210) }];
}

/** Brake to a stand, hold a moment, then the parking brake. */
export function stopAndPark(random: Random): Maneuver[] {
  return [{ do: 'brake', toKmh: 0, kpa: random.whole(170, 230) }, { do: 'wait', s: 3, kpa: 160 }, { do: 'park' }];
}

function yard(random: Random): Maneuver[] {
  return [
    { do: 'drive', kmh: random.whole(6, 14), holdS: random.whole(4, 18) },
    { do: 'brake', toKmh: 0, kpa: random.whole(80, 150) },
    { do: 'wait', s: random.whole(4, 20), kpa: random.whole(70, 120) },
  ];
}

function city(random: Random): Maneuver[] {
  const cruise: Maneuver = { do: 'drive', kmh: random.whole(34, 58), holdS: random.whole(12, 70) };
  if (random.chance(0.35)) {
    const corner = random.whole(14, 24);
    return [
      cruise,
      { do: 'brake', toKmh: corner, kpa: random.whole(110, 200) },
      { do: 'drive', kmh: corner, holdS: 4 },
    ];
  }
  return [
    cruise,
    { do: 'brake', toKmh: 0, kpa: random.whole(150, 290) },
    { do: 'wait', s: random.whole(6, 45), kpa: random.whole(90, 160) },
  ];
}

function highway(random: Random): Maneuver[] {
  const cruise: Maneuver = { do: 'drive', kmh: random.whole(88, 97), holdS: random.whole(80, 240) };
  if (random.chance(0.3)) return [cruise, { do: 'drive', kmh: random.whole(80, 87), holdS: random.whole(20, 60) }];
  return [cruise, { do: 'brake', toKmh: random.whole(58, 76), kpa: random.whole(120, 230) }];
}

/** Now and then somebody runs into the road. */
function brisk(plan: Maneuver[], random: Random): Maneuver[] {
  if (!random.chance(0.06)) return plan;
  return plan.map((m) => (m.do === 'brake' ? { ...m, kpa: random.whole(560, 660) } : m));
}

/** Up to the pass, along it, and a long way down; no valley is far below the start. */
function mountain(random: Random, { climbedM, passM }: Road): Maneuver[] {
  const grade = random.between(0.035, 0.06);
  const level: Maneuver = { do: 'drive', kmh: random.whole(60, 75), holdS: random.whole(30, 150) };
  const kmh = random.whole(38, 55);
  if (climbedM < passM && random.chance(climbedM < passM / 3 ? 0.9 : 0.5)) {
    return [{ do: 'drive', kmh, holdS: random.whole(240, 900), grade }, level];
  }
  const most = Math.max(60, (climbedM + 150) / (grade * (kmh / 3.6)));
  const holdS = Math.min(most, random.whole(300, 960));
  const slow: Maneuver = { do: 'brake', toKmh: kmh + 2, kpa: random.whole(120, 200) };
  return [slow, { do: 'descend', kmh, holdS, grade, kpa: random.whole(150, 220) }, level];
}
