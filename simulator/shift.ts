import { Bus } from './bus.js';
import { candumpLine, type WireFrame } from './encode.js';
import { Random } from './random.js';
import type { Scenario } from './scenario.js';
import { SimulatedTruck } from './truck.js';

/** All frames of a shift in order of time. The same scenario and seed give the same frames. */
export function* simulateFrames(scenario: Scenario, seed = scenario.seed): Generator<WireFrame> {
  const random = new Random(seed);
  const truck = new SimulatedTruck(scenario, random);
  const bus = new Bus(truck, random);
  while (truck.t < scenario.durationS * 1000) {
    truck.step();
    yield* bus.collect();
  }
}

/** The shift as lines of `candump -L`, without line ends. */
export function* simulateShift(scenario: Scenario, seed = scenario.seed): Generator<string> {
  const startS = Math.floor(Date.parse(scenario.start) / 1000);
  for (const frame of simulateFrames(scenario, seed)) yield candumpLine(startS, scenario.interface, frame);
}
