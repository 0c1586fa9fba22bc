import { accessSync, constants, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { availableParallelism, tmpdir, totalmem } from 'node:os';
import { dirname, join } from 'node:path';
import { replaceFile } from '../../adapters/host/replace-file.js';
import { type Console, styleOf } from './console.js';
import { inCi, refuseBless } from './expect-verdict.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { Progress } from './progress.js';
import { findShifts, type Shift } from './shifts-find.js';
import { type Judged, judge, notRun } from './shifts-judge.js';
import { isJunit, junitText } from './shifts-junit.js';
import { Pool } from './shifts-pool.js';
import { shiftText, summaryText } from './shifts-print.js';
import type { Job } from './shifts-run.js';
import { readTruck } from './truck-file.js';

/** As the command line gives them. */
export interface ShiftsOptions {
  config?: string;
  bless?: boolean;
  yesBless?: boolean;
  strict?: boolean;
  allDifferences?: boolean;
  junit?: string;
  jobs?: string;
  only?: string[];
  report?: string;
}

const MOST_JOBS = 256;
/** What a replay with a report may need. */
const BYTES_EACH = 300e6;
/** The line that shows how far it is has room for so much of names. */
const MOST_NAMES = 40;
const INTERRUPTED = 128;
const SIGNALS = { SIGINT: 2, SIGTERM: 15 } as const;
type Signal = keyof typeof SIGNALS;

/**
 * Replays the shifts of folders and compares each with its expected events. Differences and the table go to `out`. Returns the
 * exit code: 0 all as expected, 3 some are not, 1 some could not be run. Throws a Failure.
 */
export async function shiftsCommand(folders: string[], options: ShiftsOptions, console: Console): Promise<number> {
  const threads = threadsOf(options.jobs);
  refuseBless(options);
  checkPaths(options);
  // Once, so that a mistake in it is not one of every shift. Each shift reads it again for itself.
  if (options.config !== undefined) readTruck(options.config, console.err);
  const shifts = await findShifts(folders, options.only);
  const run = new ShiftsRun(shifts, options, console);
  const began = performance.now();
  const signal = await run.run(threads);
  const judged = run.judged.filter((one) => one !== undefined);
  if (signal !== null) {
    console.err.write(`stopped: ${judged.length} of ${shifts.length} shifts were run\n`);
    return INTERRUPTED + SIGNALS[signal];
  }
  const seconds = (performance.now() - began) / 1000;
  const { colour } = styleOf(console.out);
  console.out.write(`${summaryText(judged, { colour }).join('\n')}\n`);
  if (options.report !== undefined) tellReports(options.report, judged, console);
  const ci = inCi();
  if (options.junit !== undefined) writeJunit(options.junit, junitText(judged, { ci, seconds }));
  return codeOf(judged, ci);
}

/** One for each core, as far as the memory goes that this process may have. */
function defaultThreads(): number {
  const bytes = Math.min(totalmem(), process.constrainedMemory() || Number.POSITIVE_INFINITY);
  return Math.max(1, Math.min(availableParallelism(), Math.floor(bytes / BYTES_EACH), MOST_JOBS));
}

function threadsOf(jobs: string | undefined): number {
  if (jobs === undefined) return defaultThreads();
  const n = Number(jobs);
  if (/^\d+$/.test(jobs) && n >= 1 && n <= MOST_JOBS) return n;
  throw new Failure(EXIT.usage, `--jobs ${jobs}: write a whole number from 1 to ${MOST_JOBS}`);
}

/** What can be known before anything is run: minutes later it would be too late. */
function checkPaths({ junit, report }: ShiftsOptions): void {
  if (junit !== undefined) checkJunit(junit);
  if (report === undefined) return;
  try {
    mkdirSync(report, { recursive: true });
  } catch (error) {
    throw new Failure(EXIT.usage, `${report}: is no folder for reports: ${lineOf(error)}`, error);
  }
}

function checkJunit(path: string): void {
  try {
    accessSync(dirname(path), constants.W_OK);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new Failure(
      EXIT.usage,
      `${path}: its folder cannot be written to (${code}); name another --junit file`,
      error,
    );
  }
  if (!existsSync(path)) return;
  // Somebody's log or expected events are not to be gone for a slip of the hand.
  if (!statSync(path).isFile() || !isJunit(readFileSync(path, 'utf8')))
    throw new Failure(EXIT.usage, `${path}: exists already and is no JUnit file; name another --junit file`);
}

function tellReports(folder: string, judged: readonly Judged[], { err }: Console): void {
  const written = judged.filter(({ reported }) => reported).length;
  err.write(`${folder}: ${written} ${written === 1 ? 'report' : 'reports'}\n`);
}

const reportOf = (folder: string, { label }: Shift): string => join(folder, `${label}.html`);

function writeJunit(path: string, text: string): void {
  try {
    replaceFile(path, text);
  } catch (error) {
    throw new Failure(EXIT.failed, `${path}: cannot be written: ${lineOf(error)}`, error);
  }
}

function codeOf(judged: readonly Judged[], ci: boolean): number {
  if (judged.some(({ state }) => state === 'differs' || (state === 'new' && ci))) return EXIT.differs;
  return judged.some(({ state }) => state === 'broken') ? EXIT.failed : EXIT.done;
}

/** All shifts of one command. What there is to say of them is printed in their own order, as soon as those before are done. */
class ShiftsRun {
  /** Index for index; those that were not run are missing. */
  readonly judged: (Judged | undefined)[];
  readonly #shifts: readonly Shift[];
  readonly #options: ShiftsOptions;
  readonly #console: Console;
  readonly #progress: Progress;
  readonly #shares: number[];
  readonly #running = new Set<number>();
  #printed = 0;

  constructor(shifts: readonly Shift[], options: ShiftsOptions, console: Console) {
    this.#shifts = shifts;
    this.#options = options;
    this.#console = console;
    this.#progress = new Progress(console.err, 'shifts');
    this.#shares = shifts.map(() => 0);
    this.judged = shifts.map((shift) => (shift.problem === null ? undefined : notRun(shift, shift.problem)));
  }

  /** Returns what has stopped it, or null. */
  async run(threads: number): Promise<Signal | null> {
    let stopped: Signal | null = null;
    let pool: Pool | null = null;
    const stop = (signal: Signal): void => {
      stopped = signal;
      void pool?.stop();
    };
    // Once: who presses Ctrl-C again means it, whatever is left behind.
    for (const signal of Object.keys(SIGNALS)) process.once(signal, stop);
    const scratch = mkdtempSync(join(tmpdir(), 'axlepost-shifts-'));
    const clean = (): void => rmSync(scratch, { recursive: true, force: true });
    // A reader that closes the pipe ends the program where it is.
    process.once('exit', clean);
    try {
      pool = this.#pool(scratch);
      const jobs = this.#shifts.map(jobOf(this.#options));
      for (const { report } of jobs) if (report !== null) mkdirSync(dirname(report), { recursive: true });
      await pool.run(jobs, this.#order(), threads);
    } finally {
      for (const signal of Object.keys(SIGNALS)) process.off(signal, stop);
      this.#progress.end();
      process.off('exit', clean);
      clean();
    }
    if (stopped === null) this.#print();
    return stopped;
  }

  #pool(scratch: string): Pool {
    const how = { strict: this.#options.strict === true, bless: this.#options.bless === true };
    return new Pool(scratch, {
      onBegin: (index) => {
        this.#running.add(index);
        this.#show();
      },
      onShare: (index, share) => {
        this.#shares[index] = share;
        this.#show();
      },
      onEnd: (index, ran) => this.#ended(index, judge(this.#shifts[index]!, ran, how)),
    });
  }

  /** The longest first: one that begins last would keep all others waiting. */
  #order(): number[] {
    const order = [...this.#shifts.keys()].filter((i) => this.judged[i] === undefined);
    return order.sort((a, b) => this.#shifts[b]!.bytes - this.#shifts[a]!.bytes || a - b);
  }

  #ended(index: number, judged: Judged): void {
    this.judged[index] = judged;
    this.#shares[index] = 1;
    this.#running.delete(index);
    this.#print();
    this.#show();
  }

  #print(): void {
    const style = { ...styleOf(this.#console.out), all: this.#options.allDifferences === true };
    for (let one = this.judged[this.#printed]; one !== undefined; one = this.judged[++this.#printed]) {
      const lines = shiftText(one, style);
      this.#progress.end();
      if (lines.length > 0) this.#console.out.write(`${lines.join('\n')}\n\n`);
      // Of a good one they are in the JUnit file.
      if (one.state === 'broken' || one.state === 'differs')
        for (const line of one.warnings) this.#console.err.write(`${one.shift.label}: ${line}\n`);
    }
  }

  #show(): void {
    const total = this.#shifts.reduce((sum, { bytes }) => sum + bytes, 0);
    const done = this.#shifts.reduce((sum, { bytes }, i) => sum + bytes * this.#shares[i]!, 0);
    const count = this.judged.filter((one) => one !== undefined).length;
    const names = [...this.#running].map((i) => this.#shifts[i]!.label).join(', ');
    const cut = names.length > MOST_NAMES ? `${names.slice(0, MOST_NAMES - 1)}…` : names;
    const note = `${count} of ${this.#shifts.length}${cut === '' ? '' : `; ${cut}`}`;
    this.#progress.update(total === 0 ? null : done / total, note);
  }
}

const jobOf =
  ({ config, report }: ShiftsOptions) =>
  (shift: Shift): Job => ({
    logs: shift.log === null ? [] : [shift.log],
    config: shift.config ?? config ?? null,
    report: report === undefined ? null : reportOf(report, shift),
  });
