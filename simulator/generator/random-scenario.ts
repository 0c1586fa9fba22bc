import { Random } from '../random.js';
import { type Scenario, type ScenarioFile, scenarioOf } from '../scenario.js';
import { FAULTS, type FaultName, type Menu } from './faults.js';
import {
  CLIMATES,
  type Climate,
  CYCLES,
  type Cycle,
  clockOf,
  daysOf,
  one,
  ROAD_FROM_S,
  secondsOf,
  TRUCKS,
  type TruckName,
} from './pieces.js';

/** What is not given is drawn. */
export interface RandomOptions {
  climate?: Climate;
  cycle?: Cycle;
  /** Where the shift begins, m. */
  altitudeM?: number;
  truck?: TruckName;
  /** Of a day's work. Default 2. */
  hours?: number;
  days?: number;
  /** What goes wrong, by name; each once. Default nothing: a healthy truck. */
  faults?: readonly FaultName[];
}

const HIGHEST_START_M = 1800;
/** Shops fill by the gauge on a day like any other. */
const FILLED_C = { least: 12, most: 24 };
/** A fault begins after some driving, and leaves time to be found. */
const ONSET = { least: 0.15, most: 0.4 };

/** The scenario of a seed, as a file would have it: `yaml.stringify` makes it one. */
export function randomScenarioFile(seed: number, options: RandomOptions = {}): ScenarioFile {
  const random = new Random(seed);
  const names = options.faults ?? [];
  const menus = names.map((name) => FAULTS[name]);
  const truckName = drawTruck(random, options, menus);
  const cycle = options.cycle ?? wanted(menus, 'cycle') ?? one(random, CYCLES);
  const hours = options.hours ?? wanted(menus, 'hours') ?? 2;
  const days = options.days ?? wanted(menus, 'days') ?? 1;
  const climate = options.climate ?? one(random, Object.keys(CLIMATES) as Climate[]);
  const file = healthy(seed, random, { truckName, climate, altitudeM: options.altitudeM });
  file.name = ['random', seed, ...names].join('-').slice(0, 40);
  file.title = [`${truckName}, ${cycle}, ${climate}`, ...names].join('; ');
  file.drive = daysOf(random, cycle, hours, days);
  // Rests may make a day longer: what is broken stays so until the end.
  const endS = secondsOf(file.drive.at(-1)!.until);
  for (const menu of menus) {
    const s = ROAD_FROM_S + (hours * 3600 - ROAD_FROM_S) * random.between(ONSET.least, ONSET.most);
    menu.serve({ file, random, fromS: Math.round(s), from: clockOf(s), to: clockOf(endS), endS });
  }
  return file;
}

/** A shift out of nothing but a seed. The same seed and options give the same shift. */
export function randomScenario(seed: number, options: RandomOptions = {}): Scenario {
  return scenarioOf(randomScenarioFile(seed, options));
}

function wanted<K extends 'cycle' | 'hours' | 'days'>(menus: readonly Menu[], key: K): Menu[K] | undefined {
  return menus.find((menu) => menu[key] !== undefined)?.[key];
}

function drawTruck(random: Random, { truck }: RandomOptions, menus: readonly Menu[]): TruckName {
  const asked = menus.find((menu) => menu.truck !== undefined)?.truck;
  const drawn = random.next();
  return truck ?? asked ?? (drawn < 0.65 ? 'combination' : drawn < 0.85 ? 'straight' : 'bus');
}

interface Base {
  truckName: TruckName;
  climate: Climate;
  altitudeM: number | undefined;
}

function healthy(seed: number, random: Random, { truckName, climate, altitudeM }: Base): ScenarioFile {
  const [lowC, highC] = CLIMATES[climate];
  const shift = random.between(-3, 3);
  const hour = String(random.whole(3, 10)).padStart(2, '0');
  const charged = random.chance(0.5) ? random.between(250, 600) : random.between(600, 800);
  return {
    name: 'healthy',
    title: '',
    start: `2026-${one(random, ['01', '03', '06', '09', '11'])}-${random.whole(10, 24)}T${hour}:00:00Z`,
    seed,
    interface: 'can0',
    truck: {
      ...TRUCKS[truckName],
      vin: 'NORTHLINE00T1042X',
      odometerKm: random.whole(20_000, 900_000),
      load: random.between(0.25, 1),
    },
    weather: {
      daily: { lowC: Math.max(-30, lowC + shift), highC: Math.min(45, highC + shift) },
      altitudeM: altitudeM ?? random.whole(0, HIGHEST_START_M),
    },
    tires: { spread: 0.015, filledAtC: random.between(FILLED_C.least, FILLED_C.most), permeationKpaPerDay: 0.35 },
    sensors: {
      kind: one(random, ['mixed', 'rim', 'valve']),
      message: random.chance(0.25) ? 'TIRE2' : 'TIRE1',
      gauge: random.chance(0.2) ? 'fixed' : 'relative',
      sending: one(random, ['sets', 'single']),
      biasKpa: 3,
    },
    air: {
      primaryKpa: charged,
      secondaryKpa: charged + random.between(-8, 8),
      cutInKpa: random.between(690, 725),
      cutOutKpa: random.between(840, 900),
      compressor: random.between(0.9, 1.2),
      seep: random.between(0.15, 0.9),
      purgeKpa: random.between(0, 25),
    },
    brakes: { measured: random.chance(0.3) },
    driver: random.chance(0.3) ? 'brisk' : 'calm',
    route: [
      [47.15, -97.9],
      [47.39, -99.35],
      [47.52, -101.3],
    ],
    drive: [],
    faults: [],
    events: [],
  };
}

export { CLIMATES, type Climate, CYCLES, type Cycle, FAULTS, type FaultName, TRUCKS, type TruckName };
