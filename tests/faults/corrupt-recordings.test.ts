import { cpSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { LiveRun, replay, tempFolder } from '../adapters/recorder/live-run.js';
import { BEFORE, play, shift } from '../adapters/recorder/shift.js';
import { FaultRow, type Round } from './support/row.js';

const row = new FaultRow('corrupt-recordings', { short: 15, full: 300 });
/** Of the shift, in segments of a third of it. */
const RECORDED_MS = 60_000;
const SEGMENT_MS = 20_000;

let sound: string;

async function record(folder: string, boot: number): Promise<LiveRun> {
  const run = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS, path: folder, boot });
  const items = shift(7, 7).filter(({ t }) => t <= RECORDED_MS);
  await play(run, items, RECORDED_MS);
  return run;
}

beforeAll(async () => {
  sound = tempFolder();
  await record(sound, 1);
});

const DAMAGES: Record<string, (bytes: Buffer, round: Round) => Buffer> = {
  'flipped bytes': (bytes, round) => {
    for (let n = round.below(8); n >= 0; n--) bytes[round.below(bytes.length)] = round.below(256);
    return bytes;
  },
  'cut short': (bytes, round) => bytes.subarray(0, round.below(bytes.length)),
  zeros: (bytes, round) => bytes.fill(0, round.below(bytes.length)),
};

const logsIn = (folder: string): string[] =>
  readdirSync(folder)
    .filter((name) => name.endsWith('.log.gz'))
    .map((name) => join(folder, name));

test('whatever is wrong with a segment or its sidecar: the recorder goes on beside it, and a replay says what it cannot use', {
  timeout: row.timeoutMs,
}, async () => {
  const codes: Record<string, number> = {};
  await row.each(async (round) => {
    const folder = tempFolder();
    cpSync(sound, folder, { recursive: true });
    const names = readdirSync(folder);
    const name = names[round.below(names.length)]!;
    const kinds = Object.keys(DAMAGES);
    const kind = kinds[round.below(kinds.length)]!;
    const other = join(folder, names[round.below(names.length)]!);
    // One in four: another file in its place.
    const bytes = round.below(4) === 0 ? readFileSync(other) : DAMAGES[kind]!(readFileSync(join(folder, name)), round);
    writeFileSync(join(folder, name), bytes);
    const damaged = await replay(logsIn(folder));
    // A whole recording is 0; what cannot be used is one line, and 1 or 2.
    codes[damaged.code] = (codes[damaged.code] ?? 0) + 1;
    if (damaged.code !== 0) expect(damaged.err.trim()).not.toBe('');
    const next = await record(folder, 2);
    expect(next.recorder.health()).toMatchObject({ droppedFrames: 0, failures: 0, lastError: null });
    const mine = logsIn(folder).filter((path) => /-000002-\d{6}\.log\.gz$/.test(path));
    expect(mine.length).toBeGreaterThan(1);
    expect(await replay(mine)).toMatchObject({ code: 0, events: next.events });
    rmSync(folder, { recursive: true });
  });
  console.log('exit codes of the replays', codes);
});
