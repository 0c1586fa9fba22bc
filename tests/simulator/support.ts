import { randomScenarioFile, type Scenario, type ScenarioFile, Simulation, scenarioOf } from '../../simulator/index.js';

export interface Seen {
  t: number;
  id: number;
  data: number[];
}

/** Every frame of a shift. piece: advanced by so many ms at a time. */
export function framesOf(scenario: Scenario, options: { thin?: boolean; piece?: number } = {}): Seen[] {
  const { thin = true, piece = scenario.durationS * 1000 } = options;
  const simulation = new Simulation(scenario, { thin });
  const seen: Seen[] = [];
  while (simulation.t < simulation.endMs)
    simulation.advance(simulation.t + piece, (t, id, data) => seen.push({ t, id, data: [...data] }));
  return seen;
}

export const pgnOf = (id: number): number => (id >>> 8) & 0x3ffff;

/** A healthy combination on the highway for an hour, changed as wanted. */
export function shift(seed: number, change: (file: ScenarioFile) => void = () => {}): Scenario {
  const file = randomScenarioFile(seed, { truck: 'combination', cycle: 'highway', climate: 'mild', hours: 1 });
  change(file);
  return scenarioOf(file);
}
