import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type ReadLogsOptions, readLogs } from '../../../adapters/can/log-files.js';
import { problemLine } from '../../../adapters/can/problem.js';
import fc from '../../support/property.js';
import { collector, EVERYTHING } from './collect.js';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'axlepost-lanes-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

const BUSES = ['can0', 'can1', 'can2'];

/** One frame of a bus at a time in ms since 1 March 2026. */
interface Sent {
  ms: number;
  bus: number;
  n: number;
}
const BEGIN_S = 1_772_323_200;

const lineOf = ({ ms, bus, n }: Sent): string => {
  const micros = String((ms % 1000) * 1000 + (n % 1000)).padStart(6, '0');
  const data = n.toString(16).padStart(8, '0');
  return `(${BEGIN_S + Math.floor(ms / 1000)}.${micros}) ${BUSES[bus]} 18FEF1${bus}0#${data}\n`;
};

let files = 0;
async function put(text: string, name = `log-${files++}.log`): Promise<string> {
  const path = join(folder, name);
  await writeFile(path, name.endsWith('.gz') ? gzipSync(text) : text);
  return path;
}

async function read(lanes: string[][], options: Partial<ReadLogsOptions> = {}) {
  const { frames, sink } = collector();
  const problems: string[] = [];
  const result = await readLogs({
    paths: lanes.flat(),
    lanes,
    parser: { interest: EVERYTHING, busOf: (name) => BUSES.indexOf(name), sink },
    onProblem: (file, problem) => problems.push(problemLine(file.replace(`${folder}/`, ''), problem)),
    ...options,
  });
  return { ...result, frames, problems };
}

describe('logs of several buses that were recorded at once', () => {
  test('are one stream by their stamps, as sorting all lines gives it', async () => {
    const bus = fc.array(fc.integer({ min: 0, max: 40_000 }), { maxLength: 60 });
    await fc.assert(
      fc.asyncProperty(fc.tuple(bus, bus, bus), fc.integer({ min: 1, max: 300 }), async (times, chunkBytes) => {
        const sent = times.map((list, k) => list.sort((a, b) => a - b).map((ms, n): Sent => ({ ms, bus: k, n })));
        const lanes = await Promise.all(
          sent.filter((list) => list.length > 0).map(async (list) => [await put(list.map(lineOf).join(''))]),
        );
        if (lanes.length < 2) return;
        const { frames, problems, counts, parser } = await read(lanes, { chunkBytes });
        // The naive way: all lines in one list; sorting keeps the order of buses within a millisecond.
        const all = sent.flat().sort((a, b) => a.ms - b.ms || a.bus - b.bus || a.n - b.n);
        const zero = Math.floor(all[0]!.ms / 1000) * 1000;
        expect(frames.map(({ t, bus, data }) => [t, bus, Number.parseInt(data, 16)])).toEqual(
          all.map(({ ms, bus, n }) => [ms - zero, bus, n]),
        );
        expect(problems).toEqual([]);
        expect(counts).toMatchObject({ frames: all.length, seams: 0 });
        expect(parser).toMatchObject({ lastT: all.at(-1)!.ms - zero, zeroMs: BEGIN_S * 1000 + zero });
      }),
      { numRuns: 60 },
    );
  });

  test('several files of each bus, packed or not, one bus that begins later and ends sooner', async () => {
    const at = (bus: number, from: number, frames: number) =>
      Array.from({ length: frames }, (_, n) => lineOf({ ms: from + 10 * n, bus, n })).join('');
    const lanes = [
      [await put(at(0, 0, 3000)), await put(at(0, 30_000, 3000), 'b.log.gz')],
      [await put(at(1, 7_000, 500), 'c.log.gz'), await put(at(1, 20_005, 1000))],
    ];
    const { frames, files: read_, problems } = await read(lanes);
    expect(problems).toEqual([]);
    expect(frames).toHaveLength(7_500);
    expect(frames.every(({ t }, i) => i === 0 || t >= frames[i - 1]!.t)).toBe(true);
    expect(frames.filter(({ bus }) => bus === 1)[500]!.t).toBe(20_005);
    expect(read_.map(({ frames, complete }) => [frames, complete]).sort()).toEqual([
      [1000, true],
      [3000, true],
      [3000, true],
      [500, true],
    ]);
  });

  test('little waits: the bus that is ahead is not read on', async () => {
    const at = (bus: number) => Array.from({ length: 20_000 }, (_, n) => lineOf({ ms: n, bus, n })).join('');
    const lanes = [[await put(at(0))], [await put(at(1))]];
    let apart = 0;
    const seen = [0, 0];
    const { sink } = collector();
    await read(lanes, {
      chunkBytes: 4096,
      parser: {
        interest: EVERYTHING,
        busOf: (name) => BUSES.indexOf(name),
        sink: {
          frame: (t, bus, id, data, length) => {
            seen[bus]!++;
            apart = Math.max(apart, Math.abs(seen[0]! - seen[1]!));
            sink.frame(t, bus, id, data, length);
          },
          errorFrame: () => {},
        },
      },
    });
    expect(seen).toEqual([20_000, 20_000]);
    expect(apart).toBeLessThanOrEqual(1);
  });

  test('stamps that jump back in one of them are told, and its frames stay in their order', async () => {
    const back = [0, 1000, 5000, 2000, 3000].map((ms, n) => lineOf({ ms, bus: 0, n })).join('');
    const other = Array.from({ length: 8 }, (_, n) => lineOf({ ms: 1000 * n, bus: 1, n })).join('');
    const { frames, problems } = await read([[await put(back, 'back.log')], [await put(other)]]);
    expect(problems).toEqual([expect.stringMatching(/^back\.log: its stamps jump back; beside other logs/)]);
    expect(frames.filter(({ bus }) => bus === 0).map(({ data }) => Number.parseInt(data, 16))).toEqual([0, 1, 2, 3, 4]);
    expect(frames.filter(({ bus }) => bus === 0).map(({ t }) => t)).toEqual([0, 1000, 5000, 5001, 6001]);
  });

  test('the caller can be done, and a file that cannot be used costs the others nothing', async () => {
    const at = (bus: number) => Array.from({ length: 500 }, (_, n) => lineOf({ ms: 100 * n, bus, n })).join('');
    const [a, b] = [await put(at(0), 'a.log'), await put(at(1), 'd.log')];
    let seen = 0;
    const stopped = await read([[a], [b]], {
      chunkBytes: 200,
      afterChunk: () => void seen++,
      isDone: () => seen >= 20,
    });
    expect(stopped.files).toEqual([a, b].map((file) => ({ file, frames: 0, complete: false, stopped: true })));
    expect(stopped.frames.length).toBeGreaterThan(0);
    const noLog = await put('<html>', 'page.html');
    const whole = await read([[a], [noLog], [b]]);
    expect(whole.frames).toHaveLength(1000);
    expect(whole.problems).toEqual([expect.stringMatching(/^page\.html: /)]);
  });
});
