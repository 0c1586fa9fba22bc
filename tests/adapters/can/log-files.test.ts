import { execFileSync } from 'node:child_process';
import { existsSync, readdirSync, readlinkSync } from 'node:fs';
import { chmod, mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type ReadLogsOptions, readLogs } from '../../../adapters/can/log-files.js';
import { problemLine } from '../../../adapters/can/problem.js';
import { canFrame, pcapHeader, pcapRecord } from './capture-bytes.js';
import { collector, EVERYTHING } from './collect.js';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'axlepost-logs-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

/** Frames 10 ms apart, their number as data: incompressible enough that gzip data have many chunks. */
const log = (frames: number, first = 0) =>
  Array.from({ length: frames }, (_, n) => {
    const ms = (first + n) * 10;
    const scrambled = Math.imul(first + n, 0x9e3779b1) >>> 0;
    const stamp = `${100 + Math.floor(ms / 1000)}.${String(ms % 1000).padStart(3, '0')}000`;
    return `(${stamp}) can0 18FEF100#${(first + n).toString(16).padStart(8, '0')}${scrambled.toString(16).padStart(8, '0')}\n`;
  }).join('');

async function put(name: string, content: string | Uint8Array): Promise<string> {
  const path = join(folder, name);
  await writeFile(path, content);
  return path;
}

async function read(paths: string[], options: Partial<ReadLogsOptions> = {}) {
  const { frames, sink } = collector();
  const problems: string[] = [];
  const result = await readLogs({
    paths,
    parser: { interest: EVERYTHING, busOf: () => 0, sink },
    onProblem: (file, problem) => problems.push(problemLine(file.replace(`${folder}/`, ''), problem)),
    ...options,
  });
  return { ...result, frames, problems };
}

/** Names of the files in our folder that this process has open. */
const OPEN_FILES = '/proc/self/fd';
function openFiles(): string {
  const targets = readdirSync(OPEN_FILES).map((fd) => {
    try {
      return readlinkSync(join(OPEN_FILES, fd));
    } catch {
      // The one that lists them is gone by now.
      return '';
    }
  });
  const ours = targets.filter((target) => target.startsWith(`${folder}/`)).map((target) => basename(target));
  return ours.sort().join(' ');
}

async function* pieces(bytes: Uint8Array, length: number): AsyncGenerator<Uint8Array> {
  for (let at = 0; at < bytes.length; at += length) yield bytes.subarray(at, at + length);
}

describe('good files', () => {
  test('plain, larger than two buffers', async () => {
    const path = await put('long.log', log(45_000));
    const { frames, files, problems } = await read([path]);
    expect(problems).toEqual([]);
    expect(files).toEqual([{ file: path, frames: 45_000, complete: true, stopped: false }]);
    expect(frames.map(({ t }) => t)).toEqual(Array.from({ length: 45_000 }, (_, n) => n * 10));
  });

  test('gzip by its content, whatever its name; members in a row', async () => {
    const packed = Buffer.concat([gzipSync(log(30_000)), gzipSync(log(15_000, 30_000))]);
    const gzip = await read([await put('packed.log', packed)]);
    const plain = await read([await put('plain.gz', log(45_000))]);
    expect(gzip.problems).toEqual([]);
    expect(gzip.frames).toEqual(plain.frames);
    expect(gzip.frames).toHaveLength(45_000);
  });

  test('several in the order given are one stream', async () => {
    const [a, b] = [await put('a.log', log(100)), await put('b.log.gz', gzipSync(log(50, 100)))];
    const { frames, counts, files } = await read([a, b]);
    expect(frames.map(({ t }) => t)).toEqual(Array.from({ length: 150 }, (_, n) => n * 10));
    expect(files.map((file) => file.frames)).toEqual([100, 50]);
    expect(counts).toMatchObject({ frames: 150, seams: 0 });
    expect((await read([b, a])).counts).toMatchObject({ frames: 150, seams: 1 });
  });

  test('in many pieces, packed and not, with buffers that are used again', async () => {
    const paths: string[] = [];
    for (let n = 0; n < 12; n++) {
      const text = log(2_000, n * 2_000);
      paths.push(await put(`piece-${n}.log`, n % 3 === 1 ? text : gzipSync(text)));
    }
    const pieces = await read(paths);
    const whole = await read([await put('whole.log', log(24_000))]);
    expect(pieces.problems).toEqual([]);
    expect(pieces.frames).toEqual(whole.frames);
    expect(pieces.files.map(({ frames, complete }) => [frames, complete])).toEqual(Array(12).fill([2_000, true]));
  });

  test.runIf(existsSync(OPEN_FILES))(
    'the next one is open while one is read, and none of them is afterwards',
    async () => {
      const paths = [await put('now.log', log(100_000)), await put('next.log.gz', gzipSync(log(100, 100_000)))];
      const third = await put('third.log', log(100, 100_100));
      const { files } = await read([...paths, third], {
        // Waits for ever where nothing is opened ahead.
        afterChunk: async () => {
          while (openFiles() !== 'next.log.gz now.log') await new Promise((resolve) => setImmediate(resolve));
        },
        isDone: () => openFiles() !== '',
      });
      expect(files).toMatchObject([{ complete: false, stopped: true }]);
      expect(openFiles()).toBe('');
      const all = await read([...paths, third], {
        afterChunk: async () => {
          while (!openFiles().endsWith('third.log') && openFiles() !== 'next.log.gz now.log')
            await new Promise((resolve) => setImmediate(resolve));
        },
      });
      expect(all.files.map(({ frames }) => frames)).toEqual([100_000, 100, 100]);
      expect(openFiles()).toBe('');
    },
  );

  test('one that begins before the end of the one before it is told, once', async () => {
    const [a, b] = [await put('early.log', log(100)), await put('late.log.gz', gzipSync(log(100, 60)))];
    expect((await read([a, b])).problems).toEqual([]);
    const late = await put('later.log', log(100, 300));
    const { problems, counts, frames } = await read([late, b, a]);
    expect(problems).toEqual([
      'late.log.gz: begins 3.4 s before the end of later.log; it is taken as what came after',
      'early.log: begins 1.6 s before the end of late.log.gz; it is taken as what came after',
    ]);
    expect(counts.seams).toBe(2);
    expect(frames).toHaveLength(300);
  });

  test('captures and text in a row, packed or not', async () => {
    const record = (sec: number) => pcapRecord('little', { sec, bytes: canFrame(0x98fef100, '0102') });
    const capture = Buffer.concat([pcapHeader('little', 227), record(101), record(102)]);
    const paths = [await put('a.log', log(10)), await put('can0.cap', capture), await put('b', gzipSync(capture))];
    const names: string[] = [];
    const parser = { interest: EVERYTHING, busOf: (name: string) => names.push(name) - 1, sink: collector().sink };
    const { problems, files, counts } = await read(paths, { parser });
    expect(files.map(({ frames, complete }) => [frames, complete])).toEqual([
      [10, true],
      [2, true],
      [2, true],
    ]);
    expect(names).toEqual(['can0', 'unnamed']);
    expect(problems).toEqual([]);
    expect(counts).toMatchObject({ lines: 10, packets: 4, frames: 14 });
    const { frames } = await read(['-'], { stdin: pieces(gzipSync(capture), 5) });
    expect(frames.map(({ t }) => t)).toEqual([0, 1000]);
  });

  test('gzip that is cut short in a capture: both are told, and what came before is used', async () => {
    const record = (n: number) =>
      pcapRecord('big', { sec: 100 + n, part: n, bytes: canFrame(0x98fef100 + n, `0${n % 10}`) });
    const capture = Buffer.concat([pcapHeader('big', 227), ...Array.from({ length: 5000 }, (_, n) => record(n))]);
    const packed = gzipSync(capture);
    const { problems, files, frames } = await read([await put('cut.pcap.gz', packed.subarray(0, packed.length >> 1))]);
    expect(problems.at(-1)).toBe('cut.pcap.gz: gzip data cut short; what came before is used');
    expect(files[0]).toMatchObject({ complete: false });
    expect(frames.length).toBeGreaterThan(1000);
  });

  test.each([1, 2, 777])('stdin, plain and gzip, in pieces of %i', async (length) => {
    for (const bytes of [Buffer.from(log(30)), gzipSync(log(30))]) {
      const { frames, problems, files } = await read(['-'], { stdin: pieces(bytes, length) });
      expect(problems).toEqual([]);
      expect(frames).toHaveLength(30);
      expect(files).toEqual([{ file: '-', frames: 30, complete: true, stopped: false }]);
    }
  });
});

describe('progress and pace', () => {
  test('progress counts bytes of the files, packed or not, up to their sum', async () => {
    const [plain, packed] = [Buffer.from(log(45_000)), gzipSync(log(9000))];
    const seen: (number | null)[][] = [];
    await read([await put('p.log', plain), await put('q.log', packed)], { onProgress: (...step) => seen.push(step) });
    const total = plain.length + packed.length;
    expect(seen.length).toBeGreaterThan(3);
    expect(seen.at(-1)).toEqual([total, total]);
    expect(seen.every(([bytes, all], n) => all === total && bytes! >= (seen[n - 1]?.[0] ?? 0))).toBe(true);
    seen.length = 0;
    await read(['-'], { stdin: pieces(plain, 50_000), onProgress: (...step) => seen.push(step) });
    expect(seen.at(-1)).toEqual([plain.length, null]);
  });

  test('small chunks: the caller is asked after each and awaited, with the time so far', async () => {
    const path = await put('paced.log', log(500));
    const times: number[] = [];
    let busy = false;
    const { frames } = await read([path], {
      chunkBytes: 2048,
      afterChunk: async (parser) => {
        expect(busy).toBe(false);
        busy = true;
        times.push(parser.lastT);
        await new Promise((resolve) => setImmediate(resolve));
        busy = false;
      },
    });
    expect(frames).toHaveLength(500);
    expect(times).toHaveLength(Math.ceil(log(500).length / 2048));
    expect(Math.max(...times.map((t, n) => t - (times[n - 1] ?? 0)))).toBeLessThan(500);
  });

  test('the caller can be done at any chunk: the rest is not read, and half a line is no damage', async () => {
    for (const bytes of [Buffer.from(log(9000)), gzipSync(log(9000))]) {
      let chunks = 0;
      const { frames, files, problems } = await read(
        [await put('stopped.log', bytes), await put('unread.log', 'hello')],
        {
          chunkBytes: 1500,
          afterChunk: () => {
            chunks++;
          },
          isDone: () => chunks === 3,
        },
      );
      expect(problems).toEqual([]);
      expect(frames).toHaveLength(Math.floor(4500 / log(1).length));
      expect(files).toEqual([
        { file: join(folder, 'stopped.log'), frames: frames.length, complete: false, stopped: true },
      ]);
    }
  });

  test('what a callback or the sink throws ends the reading and comes out', async () => {
    const path = await put('thrown.log.gz', gzipSync(log(50_000)));
    const afterChunk = () => {
      throw new Error('enough');
    };
    await expect(read([path], { afterChunk })).rejects.toThrow('enough');
    const frame = () => {
      throw new Error('our bug');
    };
    const parser = { interest: EVERYTHING, busOf: () => 0, sink: { frame, errorFrame: frame } };
    await expect(read([path], { parser })).rejects.toThrow('our bug');
  });
});

describe('files that cannot be read: one line each, and nothing is read', () => {
  test('missing, and a folder', async () => {
    const good = await put('good.log', log(10));
    await mkdir(join(folder, 'shift'));
    const missing = join(folder, 'missing.log');
    const { files, frames, problems } = await read([good, missing, join(folder, 'shift'), join(good, 'x.log')]);
    expect(files).toEqual([]);
    expect(frames).toEqual([]);
    expect(problems).toEqual([
      'missing.log: no such file; check the path',
      'shift: is a directory; name the logs in it',
      'good.log/x.log: no such file; check the path',
    ]);
  });

  test.skipIf(process.getuid?.() === 0)('no permission (not as root, who may read all)', async () => {
    const path = await put('secret.log', log(10));
    await chmod(path, 0);
    expect((await read([path])).problems).toEqual(['secret.log: no permission to read it; check its owner and mode']);
  });

  test('stdin twice', async () => {
    expect((await read(['-', '-'], { stdin: pieces(Buffer.from(log(3)), 9) })).problems).toEqual([
      'stdin: stdin is named twice',
    ]);
  });
});

describe('damaged and empty files', () => {
  test('other text gets one line; what is wrong with lines of a log is told when its first frame has come', async () => {
    const words = await put('words.log', 'a line\n'.repeat(50));
    const { problems } = await read([words, await put('late.log', `note\n${log(2)}`)]);
    expect(problems).toEqual([
      'words.log: not a log of CAN: text of another kind; line 1: no stamp in brackets, and 49 more like it; record with candump -L or candump -t a',
      expect.stringMatching(/^late\.log:1:1: no stamp in brackets; /),
    ]);
    const damaged = await read([await put('damaged.log', '(1.0) can0 18FEF100#0\n')]);
    expect(damaged.problems).toEqual([expect.stringMatching(/^damaged\.log: has no frames; line 1: /)]);
  });

  test('empty, without frames, and all bad', async () => {
    const paths = [await put('empty.log', ''), await put('blank.log', '\n\r\n'), await put('bad.log', 'hello\n')];
    const { problems, files } = await read([...paths, await put('full.log', log(2))]);
    expect(problems).toEqual([
      'empty.log: has no frames; the file is empty',
      'blank.log: has no frames',
      'bad.log: not a log of CAN: text of another kind; line 1: no stamp in brackets; record with candump -L or candump -t a',
    ]);
    expect(files.map(({ frames }) => frames)).toEqual([0, 0, 0, 2]);
  });

  test('binary: one line, and the next file is read', async () => {
    const { problems, files } = await read([
      await put('photo.log', Buffer.alloc(5000, 7).fill(0, 10, 20)),
      await put('n.log', log(2)),
    ]);
    expect(problems).toEqual([expect.stringMatching(/^photo\.log: not a log of CAN: binary; /)]);
    expect(files).toMatchObject([
      { frames: 0, complete: false },
      { frames: 2, complete: true, stopped: false },
    ]);
  });

  test('a bad line is told with the name of its file', async () => {
    const paths = [await put('one.log', log(2)), await put('two.log', `${log(3, 2)}(105.0) can0 18FEF100#0\n`)];
    expect((await read(paths)).problems).toEqual([expect.stringMatching(/^two\.log:4:23: odd number of hex digits; /)]);
  });

  test('gzip cut short anywhere: what came before is used, then it is told', async () => {
    const text = log(20_000);
    const packed = gzipSync(text);
    let before = -1;
    for (const kept of [3, 15, 5000, 70_000, packed.length - 9, packed.length - 1]) {
      const { frames, problems, files } = await read([await put('cut.log.gz', packed.subarray(0, kept))]);
      expect(problems).toContain('cut.log.gz: gzip data cut short; what came before is used');
      expect(files[0]!.complete).toBe(false);
      expect(frames.map(({ data }) => data)).toEqual(
        Array.from(text.matchAll(/#(\w+)\n/g), ([, data]) => data).slice(0, frames.length),
      );
      expect(frames.length).toBeGreaterThanOrEqual(before);
      before = frames.length;
    }
    expect(before).toBe(20_000);
  });

  test('gzip cut short gives all that its bytes hold', async () => {
    const packed = gzipSync(log(20_000));
    const half = packed.subarray(0, packed.length >> 1);
    const { frames } = await read(['-'], { stdin: pieces(half, 10_000) });
    // gzip -dc is the second opinion; it ends with an error, after all that it could unpack.
    let unpacked = '';
    try {
      execFileSync('gzip', ['-dc'], { input: half, maxBuffer: 2 ** 26, stdio: ['pipe', 'pipe', 'ignore'] });
    } catch (error) {
      unpacked = String((error as { stdout: Buffer }).stdout);
    }
    expect(unpacked.length).toBeGreaterThan(100_000);
    expect(frames.length).toBeGreaterThanOrEqual(unpacked.split('\n').length - 1);
  });

  test('gzip damaged in the middle', async () => {
    const packed = gzipSync(log(45_000));
    const middle = packed.length >> 1;
    packed.fill(0xff, middle, middle + 40);
    const { frames, problems, files } = await read([
      await put('hurt.log.gz', packed),
      await put('next.log', log(1, 45_000)),
    ]);
    expect(problems).toContainEqual(
      expect.stringMatching(/^hurt\.log\.gz: gzip data damaged \(.+\); what came before is used$/),
    );
    expect(files).toMatchObject([{ complete: false }, { frames: 1, complete: true, stopped: false }]);
    expect(frames.length).toBeGreaterThan(15_000);
  });
});
