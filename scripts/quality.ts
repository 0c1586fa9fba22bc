/** `npm run quality -- [options]`: how well the rules find what is wrong, and how often they cry for nothing. */
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { Command, InvalidArgumentError } from 'commander';
import { Progress } from '../daemon/commands/progress.js';
import { driveThrough } from '../quality/drive.js';
import { goalsOf } from '../quality/goals.js';
import { judge } from '../quality/judge.js';
import { Lane } from '../quality/lanes.js';
import { FAULT_COUNT, scenarioOfJob } from '../quality/plan.js';
import { reportOf } from '../quality/report.js';
import { codeHash, Results, ResultsError } from '../quality/results.js';
import { type Reached, type RunOptions, runJobs, tallyOfPlan } from '../quality/run.js';
import { truthText } from '../simulator/index.js';

const DIST = join(import.meta.dirname, '..');
/** Where nobody watches a bar, a line now and then. */
const LINE_MS = 30_000;

interface Options extends RunOptions {
  everyFaultOnce?: boolean;
  work?: string;
  lanes: number;
  only?: string;
  strict?: boolean;
}

function whole(text: string): number {
  if (!/^\d{1,9}$/.test(text)) throw new InvalidArgumentError('write a whole number');
  return Number(text);
}

function shard(text: string): { index: number; of: number } {
  const [, index, of] = (/^(\d{1,4})\/(\d{1,4})$/.exec(text) ?? []).map(Number);
  if (index === undefined || of === undefined || index < 1 || index > of)
    throw new InvalidArgumentError('write i/n, such as 1/4');
  return { index, of };
}

const program = new Command('npm run quality --')
  .description('drives simulated trucks through the program and counts what it found, missed, and told without reason')
  .option('--hours <n>', 'truck-hours of healthy driving', whole, 2000)
  .option('--faults <n>', 'scenarios with a fault; hard cases come as often as each fault', whole, 300)
  .option('--every-fault-once', 'each fault and each hard case once, instead of --faults')
  .option('--seed <n>', 'another seed gives other trucks, roads and weather', whole, 1)
  .option('--shard <i/n>', 'drive only every n-th scenario', shard, { index: 1, of: 1 })
  .option(
    '--work <folder>',
    'results, one line per scenario; a second start goes on there (default: dist/quality-results)',
  )
  .option('--lanes <n>', 'scenarios at a time', whole, availableParallelism())
  .option('--only <id>', 'one scenario, with its events and what was really so, such as fault/air-lost/0')
  .option('--strict', 'exit code 1 when a goal is missed');

async function main(options: Options): Promise<number> {
  if (options.only !== undefined) return only(options.only, options.seed);
  if (options.everyFaultOnce) options.faults = FAULT_COUNT;
  const { seed } = options;
  const code = codeHash(DIST);
  const results = new Results(options.work ?? join(DIST, 'quality-results', `${code}-${seed}`), seed, code);
  const lanes = Array.from({ length: Math.max(1, options.lanes) }, () => new Lane());
  const told = teller();
  const reached = await runJobs(
    options,
    results,
    lanes.map(({ drive }) => drive),
    told.update,
  );
  told.end();
  await Promise.all(lanes.map((lane) => lane.end()));
  const { tally, done, all } = tallyOfPlan(options, results);
  const day = new Date().toISOString().slice(0, 10);
  const part = done < all ? `; ${done} of ${all} scenarios, the others are not there` : '';
  process.stdout.write(reportOf(tally, `${day}, seed ${seed}, program ${code}${part}`));
  for (const line of reached.failed) process.stderr.write(`${line}\n`);
  const missed = goalsOf(tally).some(({ met }) => met === false);
  return reached.failed.length > 0 || (options.strict && missed) ? 1 : 0;
}

/** Says how far it has come and how long it will take: a bar on a terminal, else a line each half minute. */
function teller() {
  const began = performance.now();
  const progress = new Progress(process.stderr, 'quality');
  let linedMs = began;
  const update = ({ done, all, failed, drivenH, leftH }: Reached): void => {
    const now = performance.now();
    const left = Math.ceil(((now - began) / drivenH) * (leftH / 60_000));
    const wrong = failed.length > 0 ? `, ${failed.length} failed` : '';
    const note = `${done} of ${all} scenarios, ${drivenH.toFixed(0)} h driven${wrong}, about ${left} min left`;
    progress.update(drivenH / (drivenH + leftH), note);
    if (process.stderr.isTTY || now - linedMs < LINE_MS) return;
    linedMs = now;
    process.stderr.write(`quality: ${note}\n`);
  };
  return { update, end: () => progress.end() };
}

/** Everything of one scenario, to see why. */
function only(id: string, seed: number): number {
  const scenario = scenarioOfJob(id, seed);
  const driven = driveThrough(scenario);
  process.stdout.write(`${scenario.title}\n${truthText(driven.truth)}`);
  for (const { t, change, urgency, rule, subject, measured } of driven.events) {
    const at = (t / 60_000).toFixed(2).padStart(8);
    process.stdout.write(`${at} min  ${change} ${urgency} ${rule} ${subject} ${JSON.stringify(measured)}\n`);
  }
  for (const detection of judge(id, driven).detections) process.stdout.write(`${JSON.stringify(detection)}\n`);
  return 0;
}

try {
  process.exitCode = await main(program.parse().opts<Options>());
} catch (error) {
  if (!(error instanceof ResultsError || error instanceof RangeError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exitCode = 2;
}
