/** The simulator's public face: what the command, the scripts and the quality runs use. */
export {
  type Fault,
  type FaultKind,
  parseScenario,
  type Scenario,
  ScenarioError,
  type ScenarioFile,
  scenarioOf,
} from './scenario.js';
export { type SimulateOptions, Simulation, simulateInto } from './simulation.js';
export { type ExpectLine, type FaultLine, isTrue, type MayLine, type Truth, truthText } from './truth.js';
