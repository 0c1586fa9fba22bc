import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { LogParser } from '../../../adapters/can/log-parser.js';
import { BASE_PGNS, interestTable } from '../../../daemon/j1939/interest.js';
import { EVERYTHING } from './collect.js';

const DATA = join(process.env.AXLEPOST_SHARED ?? '../shared', 'data');
const present = existsSync(DATA);
if (!present) console.log('recordings: the shared data are absent, real logs are not checked');
const logs = present
  ? readdirSync(DATA, { recursive: true, encoding: 'utf8' }).filter((path) => path.endsWith('.log'))
  : [];

/** A second reading of the same text, by regular expression and BigInt; one line of output per frame. */
function naive(text: string, interest: Uint8Array) {
  const seen = { frames: 0, interesting: 0, errorFrames: 0, shortIds: 0, rtr: 0, fd: 0, bad: 0, clamped: 0 };
  const lines: string[] = [];
  let [zero, newest] = [-1n, -1n];
  for (const line of text.split('\n')) {
    if (line.trim() === '') continue;
    const match = /^\((\d+)\.(\d{6})\) (\S+) ([0-9A-F]+)#(R\d?|(?:[0-9A-F]{2}){0,8})$/i.exec(line.trimEnd());
    if (match === null) {
      seen.bad++;
      continue;
    }
    const [, sec, us, , hexId, data] = match as unknown as [string, string, string, string, string, string];
    const stamp = BigInt(sec) * 1_000_000n + BigInt(us);
    if (zero < 0n) zero = BigInt(sec) * 1_000_000n;
    if (stamp < newest) seen.clamped++;
    else newest = stamp;
    const t = Number((newest - zero) / 1000n);
    const id = Number.parseInt(hexId, 16);
    seen.frames++;
    if (data.startsWith('R')) seen.rtr++;
    else if (hexId.length === 3) seen.shortIds++;
    else if (id >= 0x20000000) {
      seen.errorFrames++;
      lines.push(`error ${t} ${id - 0x20000000} ${data.toLowerCase()}`);
    } else if (interest[Math.floor(id / 256) % 2 ** 18]) {
      seen.interesting++;
      lines.push(`frame ${t} ${id} ${data.toLowerCase()}`);
    }
  }
  return { seen, digest: digestOf(lines) };
}

const digestOf = (lines: string[]) => createHash('sha256').update(lines.join('\n')).digest('hex');

function ours(bytes: Uint8Array, interest: Uint8Array, chunk: number) {
  const lines: string[] = [];
  const take = (kind: string) => (t: number, _bus: number, id: number, data: Uint8Array, length: number) =>
    lines.push(`${kind} ${t} ${id} ${Buffer.from(data.subarray(0, length)).toString('hex')}`);
  const problems: unknown[] = [];
  const parser = new LogParser({
    interest,
    busOf: () => 0,
    sink: { frame: take('frame'), errorFrame: take('error') },
    onProblem: (problem) => problems.push(problem),
  });
  for (let at = 0; at < bytes.length; at += chunk) parser.push(bytes.subarray(at, at + chunk));
  parser.end();
  return { counts: parser.counts(), digest: digestOf(lines), problems };
}

describe.skipIf(!present)('recorded logs give what a second, plain reading gives', () => {
  test('there are thirteen of them (data/README.md)', () => expect(logs).toHaveLength(13));

  describe.each(logs)('%s', (path) => {
    const bytes = present ? readFileSync(join(DATA, path)) : Buffer.alloc(0);

    test.each([
      ['every frame', EVERYTHING, 2 ** 20],
      ['frames of interest, in odd chunks', interestTable(BASE_PGNS), 997],
    ])('%s', (_name, interest, chunk) => {
      const expected = naive(bytes.toString('latin1'), interest);
      const { counts, digest, problems } = ours(bytes, interest, chunk);
      expect(problems).toEqual([]);
      expect(counts).toMatchObject({ ...expected.seen, seams: 0, gaps: 0 });
      expect(digest).toBe(expected.digest);
    });
  });
});

describe.skipIf(!present)('what is known about the recordings (data/README.md)', () => {
  const countsOf = (path: string) => ours(readFileSync(join(DATA, path)), EVERYTHING, 2 ** 16).counts;

  test('adapter-log: 333 stamps go backwards, all by less than a second', () => {
    expect(countsOf('adapter-log/out_of_order.log')).toMatchObject({ frames: 2645, clamped: 333, seams: 0 });
  });

  test('brake-bench: 11-bit and RTR frames', () => {
    expect(countsOf('brake-bench/normal.log')).toMatchObject({
      frames: 39740,
      shortIds: 4,
      rtr: 1,
      interesting: 39735,
    });
  });

  test('road-truck/bench_error_frames: 451 error frames', () => {
    expect(countsOf('road-truck/bench_error_frames.log')).toMatchObject({ errorFrames: 451, interesting: 2307 });
  });

  test('engine-bench: 145,278 frames', () => {
    expect(countsOf('engine-bench/sample.log')).toMatchObject({ frames: 145_278, bad: 0 });
  });
});
