import { candumpLine, type WireFrame } from './encode.js';
import type { Scenario } from './scenario.js';
import { Simulation } from './simulation.js';

/** Frames are handed over after pieces of this length; where they are cut changes nothing. */
const PIECE_MS = 10_000;

/** All frames of a shift in order of time. The same scenario and seed give the same frames. */
export function* simulateFrames(scenario: Scenario, seed = scenario.seed): Generator<WireFrame> {
  const simulation = new Simulation(scenario, { seed });
  while (simulation.t < simulation.endMs) {
    const frames: WireFrame[] = [];
    simulation.advance(simulation.t + PIECE_MS, (t, id, data) => frames.push({ t, id, data: data.slice() }));
    yield* frames;
  }
}

/** The shift as lines of `candump -L`, without line ends. */
export function* simulateShift(scenario: Scenario, seed = scenario.seed): Generator<string> {
  const startS = Math.floor(Date.parse(scenario.start) / 1000);
  for (const frame of simulateFrames(scenario, seed)) yield candumpLine(startS, scenario.interface, frame);
}
