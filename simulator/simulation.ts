import type { FrameSink } from '../daemon/input.js';
import { Bus } from './bus.js';
import { ERROR_FLAG, type TakeFrame } from './frame-queue.js';
import { Random } from './random.js';
import type { Scenario } from './scenario.js';
import { SimulatedTruck } from './truck.js';
import type { Truth } from './truth.js';
import { Witness } from './witness.js';

export interface SimulateOptions {
  /** Instead of the scenario's own. */
  seed?: number;
  /** Only what rules need, each group at most once a second. */
  thin?: boolean;
}

/** One shift, advanced as far as somebody wants. The same scenario, seed and thinness give the same frames. */
export class Simulation {
  readonly truck: SimulatedTruck;
  readonly endMs: number;
  private readonly bus: Bus;
  private readonly witness: Witness;

  constructor(scenario: Scenario, options: SimulateOptions = {}) {
    const random = new Random(options.seed ?? scenario.seed);
    this.truck = new SimulatedTruck(scenario, random);
    this.bus = new Bus(this.truck, random, options.thin);
    this.witness = new Witness(this.truck);
    this.endMs = scenario.durationS * 1000;
  }

  /** Reached so far, ms. */
  get t(): number {
    return this.truck.t;
  }

  /** Frames in order of time, up to and without a moment; a night may take it further. */
  advance(toMs: number, frame: TakeFrame): void {
    const { truck } = this;
    const end = Math.min(toMs, this.endMs);
    while (truck.t < end) {
      if (truck.mode === 'off' && truck.rest()) continue;
      truck.step();
      this.bus.collect(frame);
      if (truck.t % 1000 === 0) this.witness.look();
    }
  }

  /** What was really so, as far as the simulation has come. */
  truth(): Truth {
    return this.witness.truth();
  }
}

/**
 * Runs a whole shift into a sink, in memory. Stream time is the scenario's; frames are valid during the call only. A night is
 * passed in one go: the next frame comes hours later. Returns what was really so.
 */
export function simulateInto(scenario: Scenario, sink: FrameSink, options: SimulateOptions = {}): Truth {
  const simulation = new Simulation(scenario, options);
  simulation.advance(simulation.endMs, framesInto(sink));
  return simulation.truth();
}

/** Hands frames on as the program takes them, all on its first bus. */
export function framesInto(sink: FrameSink): TakeFrame {
  return (t, id, data) => {
    if (id >= ERROR_FLAG) sink.errorFrame(t, 0, id - ERROR_FLAG, data, 8);
    else sink.frame(t, 0, id, data, 8);
  };
}
