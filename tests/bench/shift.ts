import { rmSync } from 'node:fs';
import { mkdtemp, rm, statfs } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { CLI, machineWords, tableOf } from './common.js';
import { type Measured, measure, median } from './measure.js';
import { FULL_FRAMES, type ShiftLog, writeShiftLog } from './shift-log.js';

/** What ten hours of a busy bus may cost, with a report and without. */
const MOST_SECONDS = 15;
const MOST_MB = 300;
/** Text, and packed twice. */
const BYTES_A_FRAME = 51 + 9 + 9;

interface Row {
  name: string;
  logs: string[];
  report: boolean;
  runs: Measured[];
  failure: string | null;
}

/** Ten hours of a busy 250 kbit/s bus through `replay`, as people have them: as text, packed, in the pieces that `run` records. */
export async function benchShift(frames: number, rounds: number): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'axlepost-bench-'));
  process.once('SIGINT', () => {
    rmSync(folder, { recursive: true, force: true });
    process.exit(130);
  });
  try {
    await needRoom(folder, frames);
    process.stderr.write(`writing ${frames.toLocaleString('en')} frames\n`);
    const shift = await writeShiftLog(folder, frames);
    const rows = rowsOf(shift);
    for (let round = 0; round < rounds; round++) for (const row of rows) await run(row, shift, folder, round, rounds);
    print(shift, rows, rounds);
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

async function needRoom(folder: string, frames: number): Promise<void> {
  const { bavail, bsize } = await statfs(folder);
  const [needed, free] = [frames * BYTES_A_FRAME, bavail * bsize].map((bytes) => Math.ceil(bytes / 1e6));
  if (free! < needed!) throw new Error(`${tmpdir()} has ${free} MB free of ${needed} MB needed; set TMPDIR`);
}

function rowsOf({ plain, gz, pieces }: ShiftLog): Row[] {
  const inputs: [name: string, logs: string[]][] = [
    ['text', [plain]],
    ['gzip', [gz]],
    [`gzip, ${pieces.length} pieces`, pieces],
  ];
  return inputs.flatMap(([name, logs]) =>
    [false, true].map((report) => ({
      ...{ name: report ? `${name}, --report` : name, logs, report },
      ...{ runs: [], failure: null },
    })),
  );
}

async function run(row: Row, shift: ShiftLog, folder: string, round: number, rounds: number): Promise<void> {
  if (row.failure !== null) return;
  process.stderr.write(`round ${round + 1} of ${rounds}: ${row.name}\n`);
  const report = join(folder, 'report.html');
  const outputs = ['--events', '/dev/null', ...(row.report ? ['--report', report] : [])];
  try {
    const command = [process.execPath, CLI, 'replay', ...row.logs, '--config', shift.truckFile, ...outputs];
    row.runs.push(await measure(folder, command));
  } catch (error) {
    row.failure = (error as Error).message;
  }
  await rm(report, { force: true });
}

function print(shift: ShiftLog, rows: Row[], rounds: number): void {
  const { frames, ofTheTruck, hours, filler } = shift;
  const share = Math.round((100 * ofTheTruck) / frames);
  console.log(
    `${frames.toLocaleString('en')} frames in ${hours.toFixed(1)} h: a simulated truck's (${share} %), between them ${filler}.\n` +
      `Whole processes, all threads; seconds are the median of ${rounds}, memory is the highest.`,
  );
  console.log(`${machineWords()}\n`);
  const cells = rows.map(({ name, runs, failure }) => {
    if (failure !== null) return [name, `failed: ${failure}`, '', ''];
    const seconds = median(runs.map((one) => one.seconds));
    const rate = Math.round(frames / seconds).toLocaleString('en');
    return [name, seconds.toFixed(2), rate, peakOf(runs).toFixed(0)];
  });
  console.log(`${tableOf(['replay of', 'seconds', 'frames/s', 'peak MB'], cells)}\n`);
  if (frames < FULL_FRAMES) console.log(`goals are for ${FULL_FRAMES.toLocaleString('en')} frames`);
  else for (const row of rows) console.log(verdict(row));
}

const peakOf = (runs: readonly Measured[]): number => Math.max(...runs.map(({ peakMb }) => peakMb));

function verdict({ name, runs, failure }: Row): string {
  if (failure !== null) return `MISSED ${name}: failed`;
  const seconds = median(runs.map((one) => one.seconds));
  const peak = peakOf(runs);
  const word = seconds <= MOST_SECONDS && peak <= MOST_MB ? 'met   ' : 'MISSED';
  return `${word} ${name}: ${seconds.toFixed(1)} s, goal ${MOST_SECONDS}; ${peak.toFixed(0)} MB, goal ${MOST_MB}`;
}
