import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';

export interface LongLog {
  path: string;
  frames: number;
  /** What was repeated. */
  source: string;
}

/** A real recording where the shared data are, else the first demonstration shift. */
function sourceLog(): { name: string; bytes: Buffer } {
  const real = join(process.env.AXLEPOST_SHARED ?? '../shared', 'data/road-truck/normal.log');
  if (existsSync(real)) return { name: 'road-truck/normal.log', bytes: readFileSync(real) };
  const name = readdirSync('replay-logs').find((file) => file.endsWith('.log.gz'));
  if (name === undefined)
    throw new Error('no log to repeat: neither the shared data nor replay-logs/*.log.gz is there');
  return { name, bytes: gunzipSync(readFileSync(join('replay-logs', name))) };
}

/** Seconds from the first stamp's to one past the last stamp's: every repetition begins there. */
function wholeSeconds(lines: readonly string[]): number {
  const second = (line: string | undefined) => Number(line?.slice(1, 11));
  return second(lines.at(-1)) - second(lines[0]) + 1;
}

/** Writes `frames` lines to `path`: a log over and over, its stamps moved on by whole seconds so that time never jumps. */
export async function writeLongLog(path: string, frames: number): Promise<LongLog> {
  const { name, bytes } = sourceLog();
  const lines = bytes
    .toString('latin1')
    .split('\n')
    .filter((line) => line !== '');
  const period = wholeSeconds(lines);
  const file = await open(path, 'w');
  try {
    for (let written = 0, turn = 0; written < frames; turn++) {
      const part = lines.slice(0, frames - written);
      const moved = part.map(
        (line) => `(${String(Number(line.slice(1, 11)) + turn * period).padStart(10, '0')}${line.slice(11)}\n`,
      );
      await file.write(moved.join(''));
      written += part.length;
    }
  } finally {
    await file.close();
  }
  return { path, frames, source: name };
}
