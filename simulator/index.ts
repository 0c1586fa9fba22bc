/** The simulator's public face: what the command, the scripts and the quality runs use. */

export { type CaseName, HARD_CASES, hardCase, hardCaseFile } from './generator/hard-cases.js';
export {
  CLIMATES,
  type Climate,
  CYCLES,
  type Cycle,
  FAULTS,
  type FaultName,
  type RandomOptions,
  randomScenario,
  randomScenarioFile,
  TRUCKS,
  type TruckName,
} from './generator/random-scenario.js';
export {
  type Fault,
  type FaultKind,
  parseScenario,
  type Scenario,
  ScenarioError,
  type ScenarioFile,
  scenarioOf,
} from './scenario.js';
export { framesInto, type SimulateOptions, Simulation, simulateInto } from './simulation.js';
export { truckFileOf } from './truck-file.js';
export {
  type ExpectLine,
  type FaultLine,
  isTrue,
  type MayLine,
  type Truth,
  truthText,
  urgencyRank,
  type Verdict,
  verdictOf,
} from './truth.js';
