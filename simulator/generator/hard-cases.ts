import { Random } from '../random.js';
import { type Scenario, type ScenarioFile, scenarioOf } from '../scenario.js';
import { clockOf, dayOf, secondsOf } from './pieces.js';
import { type RandomOptions, randomScenarioFile } from './random-scenario.js';

interface Case {
  options: RandomOptions;
  /** What makes it hard, put into a healthy shift. */
  change?(file: ScenarioFile): void;
}

const COMBINATION = { truck: 'combination' } as const;
const MIDDAY_S = 1.2 * 3600;

const add = (file: ScenarioFile, ...events: NonNullable<ScenarioFile['events']>): void => {
  file.events = [...(file.events ?? []), ...events];
};

/** Two thousand meters up in three quarters of an hour, and down again. */
const climb = (file: ScenarioFile): void => {
  file.passM = 2000;
};

/** Yard for a while with the key off, where trailers are changed. */
function stop(file: ScenarioFile, atS: number): void {
  const before = file.drive.filter(({ until }) => secondsOf(until) < atS);
  const later = file.drive.filter(({ until }) => secondsOf(until) > atS + 3000);
  const stopped = { mode: 'off' as const, until: clockOf(atS + 2400) };
  const parked = { mode: 'idle' as const, until: clockOf(atS + 180) };
  file.drive = [...before, { mode: 'highway', until: clockOf(atS) }, parked, stopped];
  file.drive.push({ mode: 'idle', until: clockOf(atS + 2700) }, { mode: 'yard', until: clockOf(atS + 2970) });
  file.drive.push({ mode: 'idle', until: clockOf(atS + 3000) }, ...later);
}

const MIDDAY = clockOf(MIDDAY_S + 600);

/**
 * What fools simple programs. All are healthy but the dragging brake and, in the cold, what a shop did on a warm day: the
 * truth says which.
 */
const CASES = {
  'cold-morning': {
    options: { ...COMBINATION, climate: 'arctic', cycle: 'highway' },
    change(file) {
      file.weather = { ...file.weather, daily: { lowC: -28, highC: -14 } };
      file.tires = { ...file.tires, filledAtC: 14 };
    },
  },
  'cold-morning-filled-warm': {
    options: { ...COMBINATION, climate: 'cold', cycle: 'highway' },
    change(file) {
      file.tires = { ...file.tires, filledAtC: 38 };
    },
  },
  'long-grade': {
    options: { ...COMBINATION, climate: 'warm', cycle: 'mountain', hours: 3 },
    change(file) {
      file.truck = { ...file.truck, load: 1 };
      file.sensors = { ...file.sensors, kind: 'rim' };
    },
  },
  'empty-tanks': {
    options: { ...COMBINATION, cycle: 'city' },
    change(file) {
      file.air = { ...file.air, primaryKpa: 0, secondaryKpa: 0 };
    },
  },
  'altitude-with-barometer': {
    options: { ...COMBINATION, cycle: 'mountain', hours: 4, altitudeM: 300 },
    change: climb,
  },
  'altitude-without-barometer': {
    options: { ...COMBINATION, cycle: 'mountain', hours: 4, altitudeM: 300 },
    change(file) {
      climb(file);
      const to = file.drive.at(-1)!.until;
      file.faults = [{ kind: 'not-sent', signals: ['barometer'], from: '0:00:00', to }];
    },
  },
  'dragging-wheel-heat': { options: { ...COMBINATION, cycle: 'highway', hours: 3, faults: ['brake-dragging-hot'] } },
  'sensors-swapped': {
    options: { ...COMBINATION, cycle: 'mixed' },
    change: (file) =>
      add(file, { kind: 'sensors-swapped', at: '0:00:05', tires: ['tractor/2/left/outer', 'tractor/2/right/outer'] }),
  },
  'tire-changed': {
    options: { ...COMBINATION, climate: 'mild', cycle: 'highway', hours: 4 },
    change(file) {
      stop(file, MIDDAY_S);
      add(file, { kind: 'tire-change', at: MIDDAY, tire: 'trailer/1/left/outer' });
    },
  },
  'trailer-dropped': {
    options: { ...COMBINATION, cycle: 'highway', hours: 4 },
    change(file) {
      stop(file, MIDDAY_S);
      add(file, { kind: 'trailer-drop', at: MIDDAY });
    },
  },
  'trailer-swapped': {
    options: { ...COMBINATION, cycle: 'highway', hours: 4 },
    change(file) {
      stop(file, MIDDAY_S);
      add(file, { kind: 'trailer-drop', at: MIDDAY });
      add(file, { kind: 'trailer-couple', at: clockOf(MIDDAY_S + 1200), id: 'TR-78', fillShare: 0.97 });
    },
  },
  'gateway-off-overnight': { options: { ...COMBINATION, cycle: 'mixed', hours: 3, days: 3 } },
  'no-speed-from-the-engine': {
    options: { ...COMBINATION, cycle: 'mixed' },
    change(file) {
      file.also = ['HRW'];
      const to = file.drive.at(-1)!.until;
      file.faults = [{ kind: 'not-sent', signals: ['speed'], from: '0:00:00', to }];
    },
  },
  'no-application-pressure': {
    options: { ...COMBINATION, cycle: 'city' },
    change(file) {
      const to = file.drive.at(-1)!.until;
      file.faults = [{ kind: 'not-sent', signals: ['application-pressure'], from: '0:00:00', to }];
    },
  },
  'no-tire-temperature': {
    options: { ...COMBINATION, cycle: 'highway' },
    change(file) {
      const to = file.drive.at(-1)!.until;
      file.faults = [{ kind: 'not-sent', signals: ['tire-temperature'], from: '0:00:00', to }];
    },
  },
  'air-added': {
    options: { ...COMBINATION, climate: 'mild', cycle: 'city', hours: 1, days: 5 },
    change(file) {
      file.tires = { ...file.tires, share: 0.97 };
      for (const [i, tire] of ['tractor/2/left/outer', 'trailer/2/right/inner'].entries())
        add(file, { kind: 'tire-fill', at: clockOf((i + 1) * 86_400 - 1800), tire, share: 1 });
    },
  },
  'leak-test-healthy': {
    options: { ...COMBINATION, cycle: 'city' },
    change(file) {
      const charge = { mode: 'idle' as const, until: '0:10:20', idleRpm: 1100 };
      const test = { mode: 'key' as const, until: '0:20:20' };
      const applied = { mode: 'key' as const, until: '0:30:20', holdKpa: 640 };
      const later = dayOf(new Random(file.seed), 'city', 1.4, 1820);
      file.drive = [{ mode: 'key', until: '0:00:20' }, charge, test, applied, ...later];
    },
  },
} satisfies Record<string, Case>;

export type CaseName = keyof typeof CASES;
export const HARD_CASES = Object.keys(CASES) as readonly CaseName[];

/** One of the hard cases, with another truck and road for each seed. */
export function hardCaseFile(name: CaseName, seed: number): ScenarioFile {
  const { options, change }: Case = CASES[name];
  const file = randomScenarioFile(seed, options);
  change?.(file);
  file.name = `${name}-${seed}`.slice(0, 40);
  file.title = `${name}: ${file.title}`;
  return file;
}

export function hardCase(name: CaseName, seed: number): Scenario {
  return scenarioOf(hardCaseFile(name, seed));
}
