import { Random } from '../simulator/random.js';
import type { Outcome } from './judge.js';
import { type Job, type PlanOptions, planOf, seedOf, shardOf } from './plan.js';
import type { Results } from './results.js';
import { type Tally, tallyOf } from './tally.js';

export interface RunOptions extends PlanOptions {
  shard: { index: number; of: number };
}

/** Drives one scenario, somewhere. */
export type Drive = (id: string, seed: number) => Promise<Outcome>;

export interface Reached {
  done: number;
  all: number;
  /** Scenarios that ended with an error; their ids and messages. */
  failed: string[];
  /** Key-on hours that were driven in this run, and that are left. */
  drivenH: number;
  leftH: number;
}

/**
 * Drives what is not there yet, as many at a time as there are lanes, and keeps each outcome as it comes. One that fails is
 * told and driven again by the next run.
 */
export async function runJobs(
  options: RunOptions,
  results: Results,
  lanes: readonly Drive[],
  onReached: (reached: Reached) => void,
): Promise<Reached> {
  const there = results.read();
  const mine = shardOf(planOf(options), options.shard);
  // Mixed, always alike: what is there of a run that was stopped is a fair part of the whole.
  const turn = ({ id }: Job): number => new Random(seedOf(id, options.seed)).next();
  const waiting = mine.filter(({ id }) => !there.has(id)).sort((a, b) => turn(a) - turn(b));
  const hours = (jobs: readonly Job[]) => jobs.reduce((sum, job) => sum + job.hours, 0);
  const done = mine.length - waiting.length;
  const reached: Reached = { done, all: mine.length, failed: [], drivenH: 0, leftH: hours(waiting) };
  const keep = results.writer(options.shard);
  const work = async (drive: Drive): Promise<void> => {
    for (let job = waiting.pop(); job !== undefined; job = waiting.pop()) {
      try {
        keep(await drive(job.id, options.seed));
        reached.done += 1;
      } catch (error) {
        reached.failed.push(`${job.id}: ${error instanceof Error ? error.message : String(error)}`);
      }
      reached.drivenH += job.hours;
      reached.leftH -= job.hours;
      onReached(reached);
    }
  };
  await Promise.all(lanes.map(work));
  return reached;
}

/** The whole plan's tally from what is there of it, of whatever shards. */
export function tallyOfPlan(options: PlanOptions, results: Results): { tally: Tally; done: number; all: number } {
  const there = results.read();
  const plan = planOf(options);
  const outcomes = plan.map(({ id }) => there.get(id)).filter((outcome) => outcome !== undefined);
  return { tally: tallyOf(outcomes), done: outcomes.length, all: plan.length };
}
