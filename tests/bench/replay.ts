/**
 * `npm run bench [-- FRAMES [ROUNDS]]`: whole processes on the same log, taking turns, median of the rounds.
 * Needs python3-can and can-utils for the comparison; without them their lines say so.
 * `npm run bench -- --shift [FRAMES [ROUNDS]]`: ten hours of a busy bus instead (shift.ts).
 */
import { execFileSync } from 'node:child_process';
import { existsSync, rmSync } from 'node:fs';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { CLI, machineWords, tableOf } from './common.js';
import { type LongLog, writeLongLog } from './long-log.js';
import { type Measured, measure, median } from './measure.js';
import { benchShift } from './shift.js';
import { FULL_FRAMES } from './shift-log.js';

const SYSTEM_PYTHON = '/usr/bin/python3';

const TRUCK_FILE = `fleet: northline
truck: T-1042
vehicle: truck
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {name: steer, kind: steer, tires: single, coldPressure: 110 psi, chamber: {type: 20, ratedStroke: 2.25 in}}
      - {name: drive, kind: drive, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
`;

interface Contender {
  name: string;
  /** Why it cannot run, or null. */
  absent: string | null;
  command(round: number): string[];
  runs: Measured[];
  failure: string | null;
}

function contenders(folder: string, log: string): Contender[] {
  const replay = [
    process.execPath,
    CLI,
    'replay',
    log,
    '--config',
    join(folder, 'truck.yaml'),
    '--events',
    '/dev/null',
  ];
  const reader = 'import sys; from can import CanutilsLogReader as R\nfor message in R(sys.argv[1]): pass';
  const entry = (name: string, absent: string | null, command: Contender['command']): Contender => ({
    name,
    absent,
    command,
    runs: [],
    failure: null,
  });
  return [
    entry('axlepost replay', null, () => replay),
    entry('axlepost replay --store', null, (round) => [...replay, '--store', join(folder, `${round}.db`)]),
    entry('log2asc (can-utils)', missing(['log2asc', '-h'], 'can-utils'), () => [
      ...['log2asc', '-I', log, '-O', '/dev/null', 'can0'],
    ]),
    entry('python3-can, reading only', missing([SYSTEM_PYTHON, '-c', 'import can'], 'python3-can'), () => [
      ...[SYSTEM_PYTHON, '-c', reader, log],
    ]),
  ];
}

function missing([program, ...args]: string[], debianPackage: string): string | null {
  try {
    execFileSync(program!, args, { stdio: 'ignore' });
    return null;
  } catch (error) {
    // log2asc has no option that succeeds without a log; that it starts is enough.
    const started = (error as NodeJS.ErrnoException).code !== 'ENOENT' && debianPackage === 'can-utils';
    return started ? null : `not installed: apt-get install ${debianPackage}`;
  }
}

async function runRounds(all: Contender[], folder: string, rounds: number): Promise<void> {
  for (let round = 0; round < rounds; round++) {
    for (const contender of all) {
      if (contender.absent !== null || contender.failure !== null) continue;
      process.stderr.write(`round ${round + 1} of ${rounds}: ${contender.name}\n`);
      try {
        contender.runs.push(await measure(folder, contender.command(round)));
      } catch (error) {
        contender.failure = (error as Error).message;
      }
      await Promise.all(['', '-wal', '-shm'].map((end) => rm(join(folder, `${round}.db${end}`), { force: true })));
    }
  }
}

const secondsOf = ({ runs }: Contender): number => median(runs.map(({ seconds }) => seconds));
const ran = ({ runs, failure }: Contender): boolean => runs.length > 0 && failure === null;

function table(all: Contender[], log: LongLog): string {
  const [ours] = all as [Contender];
  const rows = all.map((contender) => {
    if (!ran(contender)) return [contender.name, contender.absent ?? `failed: ${contender.failure}`, '', '', ''];
    const seconds = secondsOf(contender);
    const ratio = ran(ours) ? (seconds / secondsOf(ours)).toFixed(2) : '';
    const peak = Math.max(...contender.runs.map(({ peakMb }) => peakMb)).toFixed(0);
    return [contender.name, seconds.toFixed(2), Math.round(log.frames / seconds).toLocaleString('en'), ratio, peak];
  });
  return tableOf(['program', 'seconds', 'frames/s', 'times the first', 'peak MB'], rows);
}

/** What the program is held to. */
function goals(all: Contender[], frames: number): string[] {
  const [off, store, asc, python] = all as [Contender, Contender, Contender, Contender];
  if (!ran(off)) return [];
  const line = (what: string, got: number, goal: number, unit: string, met = got >= goal) =>
    `${met ? 'met   ' : 'MISSED'} ${what}: ${got.toFixed(2)} ${unit}, goal ${goal}`;
  const rate = frames / secondsOf(off) / 1e6;
  const peak = Math.max(...[...off.runs, ...store.runs].map(({ peakMb }) => peakMb));
  return [
    line('rate', rate, 3, 'million frames/s'),
    ...(ran(store) ? [line('rate with the store', secondsOf(off) / secondsOf(store), 0.5, 'of it')] : []),
    ...(ran(python) ? [line('against python3-can', secondsOf(python) / secondsOf(off), 12, 'times')] : []),
    ...(ran(asc) ? [line('against log2asc', secondsOf(asc) / secondsOf(off), 4, 'times')] : []),
    line('peak memory', peak, 150, 'MB', peak <= 150),
  ];
}

async function main(): Promise<void> {
  const isShift = process.argv[2] === '--shift';
  const [frames, rounds] = process.argv.slice(isShift ? 3 : 2).map(Number);
  if (!((frames ?? 1) >= 1) || !((rounds ?? 1) >= 1))
    throw new Error('usage: npm run bench [-- [--shift] [FRAMES [ROUNDS]]]');
  if (!existsSync(CLI)) throw new Error(`${CLI} is not there; npm run build makes it`);
  if (isShift) await benchShift(frames ?? FULL_FRAMES, rounds ?? 3);
  else await benchReplay(frames ?? 4e6, rounds ?? 3);
}

async function benchReplay(frames: number, rounds: number): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'axlepost-bench-'));
  process.once('SIGINT', () => {
    rmSync(folder, { recursive: true, force: true });
    process.exit(130);
  });
  try {
    await writeFile(join(folder, 'truck.yaml'), TRUCK_FILE);
    const log = await writeLongLog(join(folder, 'long.log'), frames);
    const all = contenders(folder, log.path);
    await runRounds(all, folder, rounds);
    console.log(
      `${log.frames.toLocaleString('en')} frames (${log.source} repeated), median of ${rounds}, whole processes.`,
    );
    console.log(`${machineWords()}\n`);
    console.log(`${table(all, log)}\n`);
    console.log(goals(all, log.frames).join('\n'));
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

await main();
