import { driveThrough } from './drive.js';
import { judge, type Outcome } from './judge.js';
import { scenarioOfJob } from './plan.js';

/** One scenario from its id to what became of it. The same id, seed and program give the same outcome. */
export function driveJob(id: string, seed: number): Outcome {
  return judge(id, driveThrough(scenarioOfJob(id, seed)));
}
