import type { Random } from '../random.js';
import type { ScenarioFile } from '../scenario.js';

export type Axles = ScenarioFile['truck']['tractor']['axles'];
export type Leg = ScenarioFile['drive'][number];

/** Seconds from the start as scenario files write them. */
export function clockOf(s: number): string {
  const whole = Math.round(s);
  const two = (n: number) => String(n).padStart(2, '0');
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
}

/** The same read back. */
export function secondsOf(clock: string): number {
  const [h, m, s] = clock.split(':').map(Number);
  return h! * 3600 + m! * 60 + s!;
}

export function one<T>(random: Random, of: readonly T[]): T {
  return of[random.whole(0, of.length - 1)]!;
}

/** Coldest and warmest of the day, °C. */
export const CLIMATES = {
  arctic: [-30, -20],
  cold: [-12, 1],
  mild: [6, 19],
  warm: [19, 33],
  desert: [28, 45],
} as const;
export type Climate = keyof typeof CLIMATES;

export const CYCLES = ['city', 'highway', 'mountain', 'yard', 'mixed'] as const;
export type Cycle = (typeof CYCLES)[number];

const STEER = { name: 'steer', kind: 'steer', tires: 'single', coldKpa: 827.4 } as const;
const dual = <K extends 'drive' | 'trailer'>(name: string, kind: K) =>
  ({ name, kind, tires: 'dual', coldKpa: 689.5 }) as const;

/** The trucks of the fleet that does not exist. */
export const TRUCKS = {
  combination: {
    vehicle: 'truck',
    tractor: { axles: [STEER, dual('drive 1', 'drive'), dual('drive 2', 'drive')] as Axles },
    trailer: { id: 'TR-77', axles: [dual('trailer 1', 'trailer'), dual('trailer 2', 'trailer')] as Axles },
  },
  straight: {
    vehicle: 'truck',
    tractor: { axles: [STEER, dual('drive', 'drive')] as Axles },
  },
  bus: {
    vehicle: 'bus',
    tractor: {
      axles: [
        { ...STEER, coldKpa: 850 },
        { ...dual('drive', 'drive'), coldKpa: 800 },
        { name: 'tag', kind: 'tag', tires: 'single', coldKpa: 800 },
      ] as Axles,
    },
  },
} as const;
export type TruckName = keyof typeof TRUCKS;

const KEY_S = 20;
const CHARGE_S = 400;
const YARD_S = 240;
/** From here on the truck drives. */
export const ROAD_FROM_S = KEY_S + CHARGE_S + YARD_S;
const WIND_DOWN_S = 210;

/** A day's work: key on, charge, out of the yard, drive, park. Times count from `from`; the key is off at its end. */
export function dayOf(random: Random, cycle: Cycle, hours: number, from = 0): Leg[] {
  const legs: Leg[] = [];
  let t = from;
  const add = (mode: Leg['mode'], s: number, more: Partial<Leg> = {}): void => {
    t += s;
    legs.push({ mode, until: clockOf(t), ...more });
  };
  add('key', KEY_S);
  add('idle', CHARGE_S, { idleRpm: random.whole(900, 1200) });
  add('yard', YARD_S);
  const end = from + hours * 3600 - WIND_DOWN_S;
  const kinds = cycle === 'mixed' ? (['city', 'highway', 'mountain'] as const) : [cycle];
  for (let i = random.whole(0, 2); t < end; i += 1) {
    const mode = kinds[i % kinds.length]!;
    add(mode, Math.min(Math.max(60, end - t), 60 * random.whole(20, 60)));
    // A rest, now and then with the key off.
    if (end - t < 2400 || !random.chance(0.4)) continue;
    add('idle', 60 * random.whole(4, 10));
    if (!random.chance(0.4)) continue;
    add('off', 60 * random.whole(15, 40));
    add('idle', 60 * random.whole(5, 8));
  }
  add('idle', WIND_DOWN_S - 30);
  add('key', 30);
  return legs;
}

/** Several days of work with the nights between them; each begins at the same hour. */
export function daysOf(random: Random, cycle: Cycle, hours: number, days: number): Leg[] {
  const legs: Leg[] = [];
  for (let day = 0; day < days; day += 1) {
    legs.push(...dayOf(random, cycle, hours, day * 86_400));
    if (day < days - 1) legs.push({ mode: 'off', until: clockOf((day + 1) * 86_400) });
  }
  return legs;
}
