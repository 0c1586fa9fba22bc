import { readTruckFile } from '../../../config/load.js';
import type { TruckConfig } from '../../../config/resolved.js';
import { Pipeline } from '../../../daemon/pipeline.js';
import { Stepper } from '../../../daemon/stepper.js';
import { NEVER } from '../../../daemon/time.js';
import type { Sample } from '../../../daemon/truck/samples.js';
import { type Gathered, type SeriesQuantity, seriesKey } from '../../../report/gathered.js';
import { framesInto, type Scenario, Simulation, type Truth, truckFileOf } from '../../../simulator/index.js';

const TICK_MS = 1000;
const MINUTE_MS = 60_000;

/** A Gathered in which nothing happened. */
export const emptyGathered = (config: TruckConfig | null = null): Gathered => ({
  fleet: 'northline',
  truck: 'T-1042',
  trailer: null,
  source: { kind: 'replay', logs: ['shift.log'], frames: 0, interesting: 0 },
  config,
  runs: [],
  events: [],
  trips: [],
  records: [],
  minutes: new Map(),
  samples: new Map(),
  life: [],
  gaps: [],
  muted: [],
  notJudged: [],
  notes: [],
});

export function configOf(scenario: Scenario): TruckConfig {
  const { config, problems } = readTruckFile(truckFileOf(scenario), 'truck.yaml');
  if (config === undefined) throw new Error(problems.map(({ text }) => text).join('; '));
  return config;
}

export interface DrivenShift {
  gathered: Gathered;
  truth: Truth;
  zeroMs: number;
}

/**
 * A whole shift through the program itself, gathered in the plainest way: after each second what the pipeline's state holds. Its
 * readings are of 1 Hz where senders are faster.
 */
export function driveShift(scenario: Scenario): DrivenShift {
  const config = configOf(scenario);
  const zeroMs = Date.parse(scenario.start);
  const gathered = emptyGathered(config);
  const pipeline = new Pipeline(config, null, zeroMs);
  const look = lookAt(pipeline, gathered, zeroMs);
  const stepper = new Stepper(pipeline, (effects) => {
    for (const draft of effects.events) {
      const atMs = zeroMs + draft.t;
      gathered.events.push({
        atMs,
        alert: `${draft.alert}`,
        cause: draft.cause === null ? null : `${draft.cause}`,
        draft,
      });
    }
    for (const record of effects.records)
      gathered.records.push({ startMs: zeroMs + record.startAt, endMs: zeroMs + record.endAt, record });
    if (effects.trip !== null)
      gathered.trips.push({
        startMs: zeroMs + effects.trip.startAt,
        endMs: zeroMs + effects.trip.endAt,
        record: effects.trip,
      });
    if (effects.life !== null) gathered.life.push({ atMs: zeroMs + effects.t, state: effects.life });
  });
  const simulation = new Simulation(scenario, { thin: true });
  const take = framesInto(stepper);
  while (simulation.t < simulation.endMs) {
    simulation.advance(simulation.t + TICK_MS, take);
    look();
  }
  stepper.advance(simulation.endMs + 61_000);
  gathered.runs = [
    { fromMs: zeroMs, toMs: zeroMs + simulation.endMs + 61_000, synced: true, config: config.hash, version: '0.0.0' },
  ];
  fillMinutes(gathered);
  return { gathered, truth: simulation.truth(), zeroMs };
}

/** Copies what is new in the pipeline's state into the samples. */
function lookAt({ state, layout }: Pipeline, gathered: Gathered, zeroMs: number): () => void {
  const last = new Map<string, number>();
  const lists = new Map<string, { atMs: number[]; value: number[] }>();
  const put = (subject: string, quantity: SeriesQuantity, at: number, value: number): void => {
    const key = seriesKey(subject, quantity);
    if (at === NEVER || at === last.get(key)) return;
    last.set(key, at);
    const series = lists.get(key) ?? { atMs: [], value: [] };
    lists.set(key, series);
    gathered.samples.set(key, series);
    series.atMs.push(zeroMs + at);
    series.value.push(value);
  };
  const sample = (subject: string, quantity: SeriesQuantity, s: Sample): void => put(subject, quantity, s.at, s.value);
  return () => {
    const { air, pressures, context } = state;
    sample('air/primary', 'pressure', air.primaryFine);
    sample('air/secondary', 'pressure', air.secondaryFine);
    sample('air/supply', 'pressure', air.supply);
    sample('brakes', 'application pressure', pressures.application);
    sample('tractor', 'engine speed', context.engineSpeed);
    sample('tractor', 'speed', context.wheelSpeed);
    for (const { subject } of layout.wheelEnds) {
      const end = state.wheelEnds[subject];
      if (end === undefined) continue;
      put(subject, 'stroke state', end.at, end.code);
      if (end.strokeMm >= 0) put(subject, 'stroke', end.strokeAt, end.strokeMm);
    }
    for (const { subject } of layout.tires) {
      const tire = state.tires[subject];
      if (tire === undefined) continue;
      put(subject, 'pressure', tire.at, tire.pressureKpa);
      put(subject, 'temperature', tire.temperatureAt, tire.temperatureC);
    }
  };
}

function fillMinutes(gathered: Gathered): void {
  for (const [key, { atMs, value }] of gathered.samples) {
    const rows = { atMs: [] as number[], min: [] as number[], max: [] as number[], last: [] as number[] };
    for (let i = 0; i < atMs.length; i++) {
      const at = atMs[i]!;
      const minute = Math.floor(at / MINUTE_MS) * MINUTE_MS;
      const v = value[i]!;
      const k = rows.atMs.length - 1;
      if (rows.atMs[k] === minute) {
        rows.min[k] = Math.min(rows.min[k]!, v);
        rows.max[k] = Math.max(rows.max[k]!, v);
        rows.last[k] = v;
      } else
        for (const [list, x] of [
          [rows.atMs, minute],
          [rows.min, v],
          [rows.max, v],
          [rows.last, v],
        ] as const)
          list.push(x);
    }
    gathered.minutes.set(key, rows);
  }
}
