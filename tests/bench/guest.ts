/**
 * `npm run bench:guest [-- ROUNDS [SECONDS]]`: what listening costs, as a ratio. In the kernel that tests/kernel/run.sh boots a
 * system call costs some thirty times what it costs on metal, so that milliseconds from there mean nothing: CPU time of
 * the whole program (store and recorder on) is compared with that of a bare listener on the same traffic, in turns.
 */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readFileSync } from 'node:fs';
import { createInterface } from 'node:readline';
import { BASE_PGNS, interestTable } from '../../daemon/j1939/interest.js';
import { Axlepost } from '../kernel/support/axlepost.js';
import { DATA, framesOf, linesOf, play } from '../kernel/support/can.js';
import { pause, Scene, truckText } from '../kernel/support/scene.js';
import { median } from './measure.js';

/** A full bus at 250 kbit/s: 29-bit ids, 8 bytes, without stuffing. */
const FRAMES_PER_SECOND = 1908;
const REAL = `${DATA}/road-truck/normal.log`;

interface Traffic {
  name: string;
  /** `ID#DATA` */
  frames: string[];
  /** The program's CPU time in parts of the bare listener's. */
  goal: number;
}

const interest = interestTable(BASE_PGNS);
const isWanted = (frame: string): boolean => interest[(Number.parseInt(frame.slice(0, 8), 16) >>> 8) & 0x3ffff] === 1;

function traffics(): Traffic[] {
  if (!existsSync(REAL)) throw new Error(`no recordings in ${DATA}; set AXLEPOST_SHARED`);
  const all = framesOf(linesOf(readFileSync(REAL, 'latin1')));
  const wanted = all.filter(isWanted);
  const share = ((100 * wanted.length) / all.length).toFixed(0);
  return [
    { name: 'a road truck, only what is of interest', frames: wanted, goal: 1.3 },
    { name: `a road truck, all (${share} % of interest)`, frames: all, goal: 0.5 },
  ];
}

/** The same frames over and over at an even rate. */
function logOf(frames: readonly string[], seconds: number): string {
  const line = (n: number): string =>
    `(${(1_700_000_000 + n / FRAMES_PER_SECOND).toFixed(6)}) can0 ${frames[n % frames.length]}\n`;
  return Array.from({ length: seconds * FRAMES_PER_SECOND }, (_, n) => line(n)).join('');
}

/** CPU time of a process and its threads so far, in ticks of 10 ms (proc(5), fields 14 and 15). */
function ticksOf(pid: number): number {
  const fields = readFileSync(`/proc/${pid}/stat`, 'utf8').split(') ')[1]!.split(' ');
  return Number(fields[11]) + Number(fields[12]);
}

interface Contender {
  pid: number;
  end(): Promise<unknown>;
}

async function bareListener(name: string): Promise<Contender> {
  const child = spawn(process.execPath, ['tests/bench/bare-listener.mjs', name], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const lines = createInterface(child.stdout)[Symbol.asyncIterator]();
  await lines.next();
  const end = async (): Promise<number> => {
    child.kill('SIGTERM');
    const { value } = await lines.next();
    await once(child, 'close');
    return Number(value);
  };
  return { pid: child.pid!, end };
}

async function ourProgram(scene: Scene, name: string, round: string): Promise<Contender> {
  const folder = `${round}-`;
  const text = truckText(scene, { buses: { main: name } })
    .replace('truck.db', `${folder}truck.db`)
    .replace('recordings', `${folder}recordings`);
  const program = new Axlepost(scene, scene.write('truck.yaml', text));
  await program.listens(1);
  return { pid: program.pid, end: () => program.stop() };
}

/** Ticks per second of traffic, of a program that has run for a while: compiling what runs often is over. */
async function cost(contender: Contender, log: string, name: string, seconds: number): Promise<number> {
  await pause(1000);
  await play(log, { can0: name });
  const before = ticksOf(contender.pid);
  await play(log, { can0: name });
  await pause(1000);
  const used = ticksOf(contender.pid) - before;
  await contender.end();
  return used / seconds;
}

async function main(): Promise<void> {
  const [rounds, seconds] = [Number(process.argv[2] ?? 3), Number(process.argv[3] ?? 15)];
  if (!(rounds >= 1) || !(seconds >= 1)) throw new Error('usage: npm run bench:guest [-- ROUNDS [SECONDS]]');
  const scene = new Scene();
  const name = await scene.vcan('vcan0');
  const rows: string[] = [];
  for (const { name: what, frames, goal } of traffics()) {
    const log = scene.write('traffic.log', logOf(frames, seconds));
    const [bare, ours]: [number[], number[]] = [[], []];
    for (let round = 0; round < rounds; round++) {
      bare.push(await cost(await bareListener(name), log, name, seconds));
      ours.push(await cost(await ourProgram(scene, name, `${goal}-${round}`), log, name, seconds));
    }
    const ratios = ours.map((ticks, round) => ticks / bare[round]!);
    const ratio = median(ratios);
    const each = ratios.map((one) => one.toFixed(2)).join(', ');
    const words = [
      what,
      `${median(bare).toFixed(1)} %`,
      `${median(ours).toFixed(1)} %`,
      `${ratio.toFixed(2)} (${each})`,
    ];
    rows.push(`| ${[...words, `${goal}, ${ratio <= goal ? 'met' : 'MISSED'}`].join(' | ')} |`);
  }
  console.log(`${FRAMES_PER_SECOND} frames/s for ${seconds} s, ${rounds} rounds; share of the guest's processor.\n`);
  console.log(
    '| traffic | bare listener | axlepost run | ratio (each round) | goal |\n| --- | ---: | ---: | ---: | --- |',
  );
  console.log(rows.join('\n'));
  await scene.end();
}

await main().catch((error: unknown) => {
  console.error(error instanceof Error ? error.message : error);
  process.exitCode = 1;
});
