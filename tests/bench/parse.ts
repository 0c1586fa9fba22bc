/** The reading of logs alone, in any form that is read: `npm run build && node dist/tests/bench/parse.js [FRAMES [LOG]]`. */
import { closeSync, openSync, readSync, rmSync } from 'node:fs';
import { mkdtemp } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { LogParser } from '../../adapters/can/log-parser.js';
import { BASE_PGNS, interestTable } from '../../daemon/j1939/interest.js';
import { writeLongLog } from './long-log.js';

const ROUNDS = 7;
const CHUNK = 2 ** 20;

/** Frames of interest, and a sum over their bytes so that nothing is optimised away. */
const sink = {
  frames: 0,
  sum: 0,
  frame(_t: number, _bus: number, id: number, data: Uint8Array, length: number): void {
    this.frames++;
    this.sum = (this.sum + id + data[length - 1]!) | 0;
  },
  errorFrame(): void {},
};

function round(path: string): { seconds: number; frames: number; share: number } {
  sink.frames = 0;
  const parser = new LogParser({ interest: interestTable(BASE_PGNS), busOf: () => 0, sink });
  const buffer = Buffer.allocUnsafeSlow(CHUNK);
  const file = openSync(path, 'r');
  const start = process.hrtime.bigint();
  for (;;) {
    const length = readSync(file, buffer, 0, CHUNK, null);
    if (length === 0) break;
    parser.push(buffer, length);
  }
  parser.end();
  const seconds = Number(process.hrtime.bigint() - start) / 1e9;
  closeSync(file);
  const { frames, lines, packets } = parser.counts();
  if (frames !== lines + packets) throw new Error(`${lines + packets - frames} lines or packets are no frames`);
  return { seconds, frames, share: sink.frames / frames };
}

async function main(): Promise<void> {
  const folder = await mkdtemp(join(tmpdir(), 'axlepost-bench-'));
  try {
    const path = process.argv[3] ?? (await writeLongLog(join(folder, 'long.log'), Number(process.argv[2] ?? 4e6))).path;
    const rounds = Array.from({ length: ROUNDS }, () => round(path));
    for (const { seconds, frames, share } of rounds) {
      const rate = (frames / seconds / 1e6).toFixed(2);
      console.log(
        `${seconds.toFixed(3)} s  ${rate} million frames/s  ${((seconds / frames) * 1e9).toFixed(0)} ns a frame  ` +
          `${(share * 100).toFixed(1)} % of interest`,
      );
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

await main();
