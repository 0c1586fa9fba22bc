import {
  CLIMATES,
  type Climate,
  CYCLES,
  FAULTS,
  type FaultName,
  HARD_CASES,
  hardCase,
  randomScenario,
  type Scenario,
} from '../simulator/index.js';

/** What a quality run drives. The same plan gives the same scenarios on every machine. */
export interface PlanOptions {
  seed: number;
  /** Truck-hours of healthy driving, at least. */
  hours: number;
  /** Scenarios with one fault each; every fault comes equally often, but for a remainder. */
  faults: number;
}

export const JOB_KINDS = ['healthy', 'fault', 'hard'] as const;
export type JobKind = (typeof JOB_KINDS)[number];

/** One scenario. */
export interface Job {
  /** `kind/number` or `kind/name/number`: with the plan's seed it says everything. */
  id: string;
  kind: JobKind;
  /** Key on, h. */
  hours: number;
}

/** A day's work, and how many of them with the nights between. Long days heat tires; mornings are where slow leaks are seen. */
const FORMS = [
  { hours: 4, days: 1 },
  { hours: 10, days: 1 },
  { hours: 3, days: 5 },
] as const;
/** Where the shift begins; mountains go up to a thousand meters higher. */
const ALTITUDES_M = [0, 600, 1200, 1800, 2500] as const;
const CLIMATE_NAMES = Object.keys(CLIMATES) as Climate[];
const FAULT_NAMES = Object.keys(FAULTS) as FaultName[];
/** Of a fault's day, where its menu does not ask for another. */
const FAULT_HOURS = 2;

export const FAULT_COUNT = FAULT_NAMES.length;

/** All jobs of a plan: faults first, because they tell most, then hard cases as often as each fault, then healthy shifts. */
export function planOf({ hours, faults }: PlanOptions): Job[] {
  const jobs: Job[] = [];
  for (let i = 0; i < faults; i += 1) {
    const name = FAULT_NAMES[i % FAULT_COUNT]!;
    const { hours = FAULT_HOURS, days = 1 } = FAULTS[name];
    jobs.push({ id: `fault/${name}/${Math.floor(i / FAULT_COUNT)}`, kind: 'fault', hours: hours * days });
  }
  const rounds = Math.ceil(faults / FAULT_COUNT);
  for (let k = 0; k < rounds; k += 1)
    for (const name of HARD_CASES) jobs.push({ id: `hard/${name}/${k}`, kind: 'hard', hours: FAULT_HOURS });
  let driven = 0;
  for (let i = 0; driven < hours; i += 1) {
    const form = FORMS[i % FORMS.length]!;
    jobs.push({ id: `healthy/${i}`, kind: 'healthy', hours: form.hours * form.days });
    driven += form.hours * form.days;
  }
  return jobs;
}

/** The jobs of one shard of n, counted from 1: every n-th. */
export function shardOf(jobs: readonly Job[], { index, of }: { index: number; of: number }): Job[] {
  return jobs.filter((_, i) => i % of === index - 1);
}

/** The shift that a job drives. Throws for an id that no plan has. */
export function scenarioOfJob(id: string, seed: number): Scenario {
  const [kind, name = '', number] = id.split('/');
  const own = seedOf(id, seed);
  if (kind === 'fault' && name in FAULTS && number !== undefined)
    return randomScenario(own, { faults: [name as FaultName] });
  const hard = HARD_CASES.find((one) => one === name);
  if (kind === 'hard' && hard !== undefined && number !== undefined) return hardCase(hard, own);
  if (kind !== 'healthy' || !/^\d+$/.test(name)) throw new RangeError(`no scenario is called ${id}`);
  return healthyShift(Number(name), own);
}

/** Forms, drive cycles, climates and altitudes take turns so that each meets each: 3 × 5 × 5 × 5 shifts. */
function healthyShift(i: number, seed: number): Scenario {
  const round = Math.floor(i / FORMS.length);
  const cycles = CYCLES.length;
  const climates = CLIMATE_NAMES.length;
  return randomScenario(seed, {
    ...FORMS[i % FORMS.length]!,
    cycle: CYCLES[round % cycles]!,
    climate: CLIMATE_NAMES[(round + Math.floor(round / cycles)) % climates]!,
    altitudeM: ALTITUDES_M[(round + 2 * Math.floor(round / (cycles * climates))) % ALTITUDES_M.length]!,
  });
}

/** FNV-1a of seed and name: a scenario keeps its seed when others are added before it. */
export function seedOf(id: string, seed: number): number {
  let hash = 0x811c9dc5;
  for (const char of `${seed}/${id}`) hash = Math.imul(hash ^ char.charCodeAt(0), 0x01000193);
  return hash >>> 0;
}
