import { cpSync, readdirSync, readFileSync, truncateSync } from 'node:fs';
import { basename, join } from 'node:path';
import { constants, gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { LogParser } from '../../../adapters/can/log-parser.js';
import { Random } from '../../../simulator/random.js';
import { printedSeed } from '../../support/seed.js';
import { FaultyDisk } from './faulty-disk.js';
import { LiveRun, replay, tempFolder, ZERO_MS } from './live-run.js';
import { BEFORE, SEGMENT_MS, SHIFT_S, shift } from './shift.js';

/** A frame waits for three seconds and the next tick. */
const MOST_LOST_MS = 4_000;

interface Crash {
  t: number;
  folder: string;
}

/** As a kill leaves the folder: what the system has taken. Or as a power cut does: what was told to be safe. */
function copyOf(folder: string, disk: FaultyDisk, power: boolean): string {
  const copy = tempFolder();
  cpSync(folder, copy, { recursive: true });
  if (!power) return copy;
  for (const [path, bytes] of disk.durable) {
    const name = basename(path);
    if (readdirSync(copy).includes(name)) truncateSync(join(copy, name), bytes);
  }
  return copy;
}

function lastFrameT(folder: string): number {
  const parser = new LogParser({
    ...{ interest: new Uint8Array(2 ** 18), busOf: () => 0, zeroMs: ZERO_MS },
    sink: { frame: () => {}, errorFrame: () => {} },
  });
  for (const name of readdirSync(folder).sort()) {
    if (!name.endsWith('.log.gz')) continue;
    const packed = readFileSync(join(folder, name));
    if (packed.length > 0) parser.push(gunzipSync(packed, { finishFlush: constants.Z_SYNC_FLUSH }));
    parser.end();
  }
  return parser.lastT;
}

describe('a crash', () => {
  const random = new Random(printedSeed('crash'));

  it.each([
    ['of the program', false],
    ['of the power', true],
  ])('%s at any moment: the replay is a prefix of the live events, at most 4 s short', async (_, power) => {
    const disk = new FaultyDisk();
    const run = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS, disk });
    const crashes: Crash[] = [];
    const times = Array.from({ length: 12 }, () => random.whole(1000, 1000 * SHIFT_S)).sort((a, b) => a - b);
    for (const item of shift(random.whole(0, 999), random.whole(1, 2 ** 31 - 1))) {
      while (times[0] !== undefined && times[0] <= item.t) {
        await run.recorder.settled();
        crashes.push({ t: times.shift()!, folder: copyOf(run.folder, disk, power) });
      }
      run.tickTo(item.t);
      run.now = item.t;
      if ('rare' in item) item.rare(run);
      else run.frame(item.frame, item.isError);
    }
    await run.stop(1000 * SHIFT_S + 90_000);
    expect(crashes.length).toBeGreaterThan(8);
    const all = framesOf(run.folder);
    let short = 0;
    for (const { t, folder } of crashes) {
      const before = all.filter((at) => at < t).at(-1) ?? 0;
      const kept = lastFrameT(folder);
      const firstLost = all.find((at) => at > kept) ?? before;
      expect(before - firstLost).toBeLessThanOrEqual(MOST_LOST_MS);
      if (readdirSync(folder).filter((name) => name.endsWith('.json')).length === 0) continue;
      const { events, code, err } = await replay([folder]);
      expect(run.events.slice(0, events.length)).toEqual(events);
      const due = run.events.filter((line) => (JSON.parse(line) as { at: number }).at <= kept);
      expect(events.length).toBeGreaterThanOrEqual(due.length);
      // Within the first seconds of the first segment there is nothing yet.
      const told = expect.stringMatching(/gzip data cut short|has no frames; the file is empty/);
      expect({ code, err }).toEqual({ code: 0, err: told });
      short += events.length < run.events.length ? 1 : 0;
    }
    expect(short).toBeGreaterThan(3);
  });
});

/** Stream times of all frames. */
function framesOf(folder: string): number[] {
  const times: number[] = [];
  const parser = new LogParser({
    ...{ interest: new Uint8Array(2 ** 18).fill(1), busOf: () => 0, zeroMs: ZERO_MS },
    sink: { frame: (at) => void times.push(at), errorFrame: (at) => void times.push(at) },
  });
  for (const name of readdirSync(folder).sort()) {
    if (name.endsWith('.log.gz')) parser.push(gunzipSync(readFileSync(join(folder, name))));
  }
  parser.end();
  return times;
}
