import { createWriteStream, existsSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { pipeline } from 'node:stream/promises';
import { createGzip } from 'node:zlib';
import { CandumpText } from '../../simulator/candump-text.js';
import {
  parseScenario,
  type Scenario,
  ScenarioError,
  Simulation,
  truckFileOf,
  truthText,
} from '../../simulator/index.js';
import type { Console } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { Progress } from './progress.js';

/** As the command line gives them. */
export interface SimulateOptions {
  out: string;
  truth?: string;
  config?: string;
  seed?: string;
}

/** Simulated at a time; about a hundred thousand bytes of text on a full bus. */
const PIECE_MS = 60_000;
const MOST_SEED = 4294967295;

/** Drives a scenario's truck and writes what its bus would have carried; returns the exit code. Throws a Failure. */
export async function simulateCommand(path: string, options: SimulateOptions, { err }: Console): Promise<number> {
  const scenario = readScenario(path);
  const seed = seedOf(options.seed);
  const made = [options.out, options.truth, options.config].filter((file) => file !== undefined);
  if (new Set(made).size < made.length) throw new Failure(EXIT.usage, `${made[0]}: named twice; name each file once`);
  const there = made.find((file) => existsSync(file));
  if (there !== undefined) throw new Failure(EXIT.usage, `${there}: exists already; name a new file`);
  const simulation = new Simulation(scenario, seed === null ? {} : { seed });
  const progress = new Progress(err, 'simulate');
  const frames = await writeLog(simulation, scenario, options.out, progress);
  if (options.truth !== undefined) save(options.truth, truthText(simulation.truth()));
  if (options.config !== undefined) save(options.config, truckFileOf(scenario));
  const hours = (scenario.durationS / 3600).toFixed(1);
  err.write(`${options.out}: ${frames} frames in ${hours} h of "${scenario.title}", seed ${seed ?? scenario.seed}\n`);
  return EXIT.done;
}

function readScenario(path: string): Scenario {
  let text: string;
  try {
    text = readFileSync(path, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why = code === 'ENOENT' ? 'no such file; name a scenario file (simulator/shifts/ has some)' : lineOf(error);
    throw new Failure(EXIT.usage, `${path}: ${why}`, error);
  }
  try {
    return parseScenario(text, path);
  } catch (error) {
    // One line per problem.
    if (error instanceof ScenarioError) throw new Failure(EXIT.usage, error.message, error);
    throw error;
  }
}

function seedOf(given: string | undefined): number | null {
  if (given === undefined) return null;
  const seed = Number(given);
  if (!/^\d{1,10}$/.test(given) || seed > MOST_SEED)
    throw new Failure(EXIT.usage, `--seed ${given}: write a whole number, at most ${MOST_SEED}`);
  return seed;
}

function save(path: string, text: string): void {
  try {
    writeFileSync(path, text, { flag: 'wx' });
  } catch (error) {
    throw new Failure(EXIT.failed, `${path}: cannot be written: ${lineOf(error)}`, error);
  }
}

/** The log as candump text, packed where the name ends in .gz. A log that did not come to its end is taken away again. */
async function writeLog(simulation: Simulation, scenario: Scenario, path: string, progress: Progress): Promise<number> {
  const text = new CandumpText(scenario);
  async function* pieces(): AsyncGenerator<Buffer> {
    while (simulation.t < simulation.endMs) {
      simulation.advance(simulation.t + PIECE_MS, text.frame);
      const share = simulation.t / simulation.endMs;
      progress.update(share, `${(simulation.t / 3_600_000).toFixed(1)} h, ${text.frames} frames`);
      yield text.take();
    }
  }
  const file = createWriteStream(path, { flags: 'wx' });
  try {
    await (path.endsWith('.gz') ? pipeline(pieces, createGzip(), file) : pipeline(pieces, file));
  } catch (error) {
    // What another made is not ours to take away.
    if ((error as NodeJS.ErrnoException).code !== 'EEXIST') rmSync(path, { force: true });
    throw new Failure(EXIT.failed, `${path}: cannot be written: ${lineOf(error)}`, error);
  } finally {
    progress.end();
  }
  return text.frames;
}
