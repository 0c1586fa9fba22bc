import { readTruckFile } from '../../../config/load.js';
import type { TruckConfig } from '../../../config/resolved.js';
import { Session } from '../../../daemon/commands/session.js';
import { Gatherer } from '../../../report/gather/gatherer.js';
import type { Gathered } from '../../../report/gathered.js';
import { framesInto, type Scenario, Simulation, truckFileOf } from '../../../simulator/index.js';
import { parseScenario } from '../../../simulator/scenario.js';

const SECOND_MS = 1000;
/** After the last frame: long enough for everything to settle. */
const SETTLE_MS = 61_000;

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

/** A frame as the simulator sent it. */
export interface Sent {
  t: number;
  id: number;
  data: number[];
}

export interface DrivenShift {
  gathered: Gathered;
  /** Wall time of stream time 0. */
  zeroMs: number;
  /** Frames of the wanted group. */
  sent: Sent[];
}

/** A whole shift through a session, gathered as a replay does. @param pgn of the frames that are kept as they were sent */
export async function driveShift(scenario: Scenario, pgn = -1): Promise<DrivenShift> {
  const config = configOf(scenario);
  const zeroMs = Date.parse(scenario.start);
  const gatherer = new Gatherer({ version: '0.0.0', isShown: () => true });
  const session = new Session({
    config,
    resume: null,
    run: { zeroWallMs: zeroMs, synced: true },
    store: null,
    nowMs: () => 0,
    watch: gatherer,
    onEvents: (events) => gatherer.named(events),
  });
  gatherer.begin({ t: 0, pipeline: session.pipeline, config, zeroWallMs: zeroMs, synced: true });
  const simulation = new Simulation(scenario, { thin: true });
  const take = framesInto(session.stepper);
  const sent: Sent[] = [];
  while (simulation.t < simulation.endMs) {
    simulation.advance(simulation.t + SECOND_MS, (t, id, data) => {
      if (((id >>> 8) & 0xffff) === pgn) sent.push({ t, id, data: [...data] });
      take(t, id, data);
    });
  }
  const endT = simulation.endMs + SETTLE_MS;
  await session.finish(endT);
  gatherer.end(endT);
  const gathered = gatherer.gathered({ kind: 'replay', logs: ['shift.log'], frames: 0, interesting: 0 });
  return { gathered, zeroMs, sent };
}

/** A straight truck with measured strokes, in the city on a hot day, with the given drive and faults. */
export function cityShift(drive: readonly string[], faults: readonly string[]): Scenario {
  const list = (lines: readonly string[]): string => lines.map((line) => `  - {${line}}`).join('\n');
  return parseScenario(
    `name: city
title: A straight truck in the city
start: 2026-08-04T11:00:00Z
seed: 20260804
interface: can0
truck:
  vin: NORTHLINE00T0208X
  odometerKm: 154020
  load: 0.7
  tractor:
    axles:
      - {name: steer, kind: steer, tires: single, coldKpa: 760}
      - {name: drive, kind: drive, tires: dual, coldKpa: 690, chamber: {type: "30", ratedStrokeMm: 63.5}}
weather: {daily: {lowC: 26, highC: 43}, altitudeM: 1600}
driver: brisk
brakes: {measured: true}
sensors: {gauge: fixed}
air: {primaryKpa: 700, secondaryKpa: 708, purgeKpa: 20}
route:
  - [47.1500, -97.9000]
  - [47.3900, -99.3500]
drive:
${list(drive)}
faults:
${list(faults)}
`,
    'city.yaml',
  );
}
