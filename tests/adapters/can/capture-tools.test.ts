import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { LogParser } from '../../../adapters/can/log-parser.js';
import {
  canFrame,
  cooked,
  cooked2,
  EXTENDED,
  enhanced,
  interfaceBlock,
  type Order,
  pcap,
  REMOTE,
  section,
} from './capture-bytes.js';
import { EVERYTHING, readText } from './collect.js';

/* Captures by other writers, and the same captures before another reader. Optional on a workstation, required in CI. */
const required = process.env.CI === 'true';
const missing = ['editcap', 'mergecap', 'text2pcap', 'tshark', 'python3'].filter(
  (tool) => spawnSync(tool, ['--version']).status !== 0,
);
const off = missing.length > 0 && !required;
if (off) console.warn(`skipped: ${missing.join(', ')} not installed; CI needs it`);
const skipped = off ? ' (skipped: tools are not installed; CI needs them)' : '';

const DATA = join(process.env.AXLEPOST_SHARED ?? '../shared', 'data');
const absent = !existsSync(DATA);
if (absent) console.log('capture tools: the shared data are absent, real logs are not converted');
const logs = absent
  ? []
  : readdirSync(DATA, { recursive: true, encoding: 'utf8' }).filter((path) => path.endsWith('.log'));
const ERRORS = 'road-truck/bench_error_frames.log';
const WRITER = fileURLToPath(new URL('write-captures.py', import.meta.url));

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'axlepost-captures-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const run = (tool: string, args: readonly string[], input?: string): string =>
  execFileSync(tool, args, {
    encoding: 'utf8',
    maxBuffer: 2 ** 28,
    stdio: ['pipe', 'pipe', 'ignore'],
    ...(input === undefined ? {} : { input }),
  });

/** Every frame of a file as one digest, with what was counted and told. */
function digest(bytes: Uint8Array) {
  const hash = createHash('sha256');
  const take = (kind: string) => (t: number, bus: number, id: number, data: Uint8Array, length: number) =>
    hash.update(`${kind} ${t} ${bus} ${id} ${Buffer.from(data.subarray(0, length)).toString('hex')}\n`);
  const names: string[] = [];
  const problems: string[] = [];
  const parser = new LogParser({
    interest: EVERYTHING,
    busOf: (name) => names.push(name) - 1,
    sink: { frame: take('frame'), errorFrame: take('error') },
    onProblem: ({ text }) => problems.push(text),
  });
  parser.push(bytes);
  parser.end();
  const { lines, packets, ...counts } = parser.counts();
  return { frames: hash.digest('hex'), counts, records: lines + packets, names, problems };
}

describe.skipIf(off)(`captures by other writers${skipped}`, () => {
  test('the tools are there', () => expect(missing).toEqual([]));

  describe.skipIf(absent).each(logs)('%s', (path) => {
    const log = join(DATA, path);
    const text = absent ? null : digest(readFileSync(log));

    const form = ['pcapng', 'pcap', 'nsecpcap'][logs.indexOf(path) % 3]!;
    test(`by editcap as ${form}: the same frames`, () => {
      const out = join(folder, `editcap.${form}`);
      run('editcap', ['-F', form, log, out]);
      const { names, ...read } = digest(readFileSync(out));
      expect({ ...read, names: text!.names }).toEqual(text);
      expect(names).toEqual(['unnamed']);
    }, 60_000);
  });

  test.skipIf(absent).each([
    ['micro', '<', 227, '>'],
    ['nano', '>', 227, '>'],
    ['micro', '>', 227, '<'],
    ['nano', '<', 113, '<'],
    ['micro', '>', 113, '>'],
    ['micro', '<', 113, '>'],
    ['micro', '<', 276, '<'],
    ['p6', '<', 227, '>'],
    ['p9', '>', 227, '>'],
    ['b20', '<', 227, '<'],
    ['p9', '<', 113, '<'],
  ])(
    'by python3: %s %s, link type %i, ids %s: the same frames',
    (form, order, link, idOrder) => {
      // 11-bit, remote and error frames among others.
      const paths = form === 'b20' ? ['brake-bench/normal.log', ERRORS] : [ERRORS];
      for (const path of paths) {
        const [log, out] = [join(DATA, path), join(folder, 'python.cap')];
        run('python3', [WRITER, log, out, form, order, String(link), idOrder]);
        const text = digest(readFileSync(log));
        const { names, problems, ...read } = digest(readFileSync(out));
        expect(read.frames).toBe(text.frames);
        expect(read.counts).toEqual(text.counts);
        expect(read.records).toBe(text.records);
        expect(names).toEqual(/^[pb]/.test(form) ? text.names : [link === 276 ? 'if1' : 'unnamed']);
        expect(problems).toHaveLength(idOrder === (link === 227 ? '>' : order) ? 0 : 1);
      }
    },
    60_000,
  );

  test.skipIf(absent)('a capture that somebody else published gives the frames of its candump text', () => {
    const published = join(DATA, 'road-truck/normal_linktype227.pcap');
    const text = digest(readFileSync(join(DATA, 'road-truck/normal.log')));
    const out = join(folder, 'published.pcapng');
    run('editcap', ['-F', 'pcapng', published, out]);
    for (const path of [published, out]) {
      const read = digest(readFileSync(path));
      expect([read.frames, read.counts, read.problems]).toEqual([text.frames, text.counts, []]);
    }
  });

  test('text2pcap names the interface', () => {
    const out = join(folder, 'named.pcapng');
    const dump = '10:00:00.250\n0000 98 fe f1 31 08 00 00 00 ff 00 11 22 33 44 55 66\n';
    run('text2pcap', ['-F', 'pcapng', '-l', '227', '-N', 'can1', '-t', '%H:%M:%S.%f', '-', out], dump);
    const { frames, problems } = readText(readFileSync(out), { busOf: (name) => ['can0', 'can1'].indexOf(name) });
    expect(frames).toEqual([{ kind: 'frame', t: 250, bus: 1, id: 0x18fef131, data: 'ff00112233445566' }]);
    expect(problems).toEqual([]);
  });

  test('mergecap puts two buses into one file, in the order of time', () => {
    const one = (name: string, data: string, ...stamps: bigint[]) => {
      const path = join(folder, `${name}.pcapng`);
      const packets = stamps.map((stamp) =>
        enhanced('little', { stamp, bytes: canFrame(EXTENDED | 0x18fef131, data) }),
      );
      writeFileSync(path, Buffer.concat([section('little'), interfaceBlock('little', 227, { name }), ...packets]));
      return path;
    };
    const paths = [one('can0', '0a', 100_000_000n, 102_000_000n), one('can1', '0b', 101_000_000n, 103_000_000n)];
    const out = join(folder, 'merged.pcapng');
    run('mergecap', ['-w', out, ...paths]);
    const { frames } = readText(readFileSync(out), { busOf: (name) => ['can0', 'can1'].indexOf(name) });
    expect(frames.map(({ t, bus, data }) => [t, bus, data])).toEqual([
      [0, 0, '0a'],
      [1000, 1, '0b'],
      [2000, 0, '0a'],
      [3000, 1, '0b'],
    ]);
  });
});

describe.skipIf(off)(`what another reader makes of the bytes written here${skipped}`, () => {
  const words = [EXTENDED | 0x18fef131, EXTENDED | 0x0cf00400, EXTENDED | 0x1cebff8b, 0x123, REMOTE | 0x7ff];
  const forms: [string, (order: Order) => Buffer][] = [
    [
      'pcap 227',
      (order) =>
        pcap(
          order,
          227,
          words.map((word) => ({ bytes: canFrame(word, 'a1b2c3') })),
        ),
    ],
    [
      'pcap 113',
      (order) =>
        pcap(
          order,
          113,
          words.map((word) => ({ bytes: cooked(canFrame(word, 'a1b2c3', order)) })),
        ),
    ],
    [
      'pcap 276',
      (order) =>
        pcap(
          order,
          276,
          words.map((word) => ({ bytes: cooked2(canFrame(word, 'a1b2c3', order)) })),
        ),
    ],
    [
      'pcapng 227',
      (order) =>
        Buffer.concat([
          section(order),
          interfaceBlock(order, 227, { name: 'can0', resolution: 9 }),
          ...words.map((word) => enhanced(order, { stamp: 100_000_000_000n, bytes: canFrame(word, 'a1b2c3') })),
        ]),
    ],
  ];

  test.each(forms.flatMap(([name, make]) => (['big', 'little'] as const).map((order) => [name, order, make] as const)))(
    '%s, %s-endian: tshark has the same ids, flags and lengths',
    (_name, order, make) => {
      const path = join(folder, 'ours.cap');
      writeFileSync(path, make(order));
      const fields = ['can.id', 'can.flags.xtd', 'can.flags.rtr', 'can.len', 'frame.time_epoch'];
      const out = run('tshark', ['-r', path, '-T', 'fields', ...fields.flatMap((field) => ['-e', field])]);
      expect(out.trim().split('\n')).toEqual(
        words.map((word) => [word & 0x1fffffff, word >>> 31, (word >>> 30) & 1, 3, '100.000000000'].join('\t')),
      );
      const { counts, frames } = readText(make(order), { busOf: () => 0 });
      expect(counts).toMatchObject({ packets: 5, frames: 5, interesting: 3, shortIds: 1, rtr: 1 });
      expect(frames.map(({ id, data }) => [id, data])).toEqual(
        words.slice(0, 3).map((word) => [word & 0x1fffffff, 'a1b2c3']),
      );
    },
    60_000,
  );
});
