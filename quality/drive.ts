import { readTruckFile } from '../config/load.js';
import type { RuleName } from '../config/resolved.js';
import type { EventDraft } from '../daemon/alerts/event.js';
import { Pipeline } from '../daemon/pipeline.js';
import { Stepper } from '../daemon/stepper.js';
import { framesInto, type Scenario, Simulation, type Truth, truckFileOf } from '../simulator/index.js';

/** A finding that holds and is listed under another alert instead of being told by itself. */
export interface Muted {
  t: number;
  rule: RuleName;
  subject: string;
}

/** What the program made of a shift, and what was really so. Times in ms from the start. */
export interface Driven {
  truth: Truth;
  events: EventDraft[];
  muted: Muted[];
  /** Key on, h. */
  hours: number;
  /** At index s: how many of the first s seconds the truck moved. */
  movedS: Uint32Array;
  /** Where applications began that reached 140 kPa. */
  applications: number[];
}

const SECOND_MS = 1000;
/** After the last frame: long enough for everything to settle. */
const SETTLE_MS = 61_000;
const MOVING_KMH = 5;
const APPLIED_KPA = 20;
const QUALIFYING_KPA = 140;

/** Drives a whole shift through the program itself, in memory. */
export function driveThrough(scenario: Scenario): Driven {
  const { config, problems } = readTruckFile(truckFileOf(scenario), 'truck.yaml');
  if (config === undefined) throw new Error(problems.map(({ text }) => text).join('; '));
  const events: EventDraft[] = [];
  const muted: Muted[] = [];
  const pipeline = new Pipeline(config, null, Date.parse(scenario.start));
  const stepper = new Stepper(pipeline, (effects) => {
    events.push(...effects.events);
    for (const { rule, subject } of effects.open?.muted ?? []) muted.push({ t: effects.t, rule, subject });
  });
  const simulation = new Simulation(scenario, { thin: true });
  const watch = new RoadWatch(simulation);
  const take = framesInto(stepper);
  while (simulation.t < simulation.endMs) {
    simulation.advance(simulation.t + SECOND_MS, take);
    watch.look();
  }
  stepper.advance(simulation.endMs + SETTLE_MS);
  const { movedS, applications } = watch;
  return { truth: simulation.truth(), events, muted, hours: hoursOf(scenario), movedS, applications };
}

/** Follows what limits of the goals count in: driving time, and applications. */
class RoadWatch {
  readonly movedS: Uint32Array;
  readonly applications: number[] = [];
  private readonly simulation: Simulation;
  private lastS = 0;
  private applied = false;
  private beganAt = 0;
  private counted = false;

  constructor(simulation: Simulation) {
    this.simulation = simulation;
    this.movedS = new Uint32Array(Math.ceil(simulation.endMs / SECOND_MS) + 1);
  }

  look(): void {
    const { t, truck } = this.simulation;
    const s = Math.min(this.movedS.length - 1, Math.round(t / SECOND_MS));
    const before = this.movedS[this.lastS]!;
    this.movedS.fill(before, this.lastS + 1, s + 1);
    if (truck.vehicle.speedKmh >= MOVING_KMH) this.movedS[s] = before + 1;
    this.lastS = s;
    const { brakeKpa } = truck.vehicle;
    const applied = brakeKpa >= APPLIED_KPA;
    if (applied && !this.applied) {
      this.beganAt = t;
      this.counted = false;
    }
    this.applied = applied;
    if (brakeKpa < QUALIFYING_KPA || this.counted) return;
    this.counted = true;
    this.applications.push(this.beganAt);
  }
}

function hoursOf({ drive }: Scenario): number {
  let before = 0;
  let onS = 0;
  for (const { mode, until } of drive) {
    if (mode !== 'off') onS += until - before;
    before = until;
  }
  return onS / 3600;
}
