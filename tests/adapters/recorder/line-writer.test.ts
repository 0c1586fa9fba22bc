import { execFileSync, spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { CandumpLine } from '../../../adapters/can/candump-line.js';
import { LineWriter } from '../../../adapters/recorder/line-writer.js';
import { candumpLine } from '../../../simulator/encode.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { tempFolder, ZERO_MS } from './live-run.js';

interface Given {
  t: number;
  bus: number;
  id: number;
  data: Uint8Array;
  isError?: boolean;
}

const NAMES = ['can0', 'slcan-trailer15'];

/** All lines in one buffer, as the recorder fills it. */
function written(frames: readonly Given[], zeroMs = ZERO_MS, names = NAMES): string {
  const writer = new LineWriter(zeroMs, names);
  const out = new Uint8Array(frames.length * writer.longest);
  let p = 0;
  for (const { t, bus, id, data, isError = false } of frames) {
    const before = p;
    p = writer.write(out, p, t, bus, id, data, data.length, isError);
    expect(p - before).toBeLessThanOrEqual(writer.longest);
  }
  return Buffer.from(out.buffer, 0, p).toString('latin1');
}

const frames = fc.array(
  fc.record({
    t: fc.integer({ min: 0, max: 400_000_000 }),
    bus: fc.constantFrom(0, 1),
    id: fc.integer({ min: 0, max: 0x1fffffff }),
    data: fc.uint8Array({ maxLength: 8 }),
  }),
  { minLength: 1, maxLength: 60 },
);
const seed = printedSeed('line writer');

describe('lines of the recording', () => {
  it('are as in the page of candump(1): stamp with six decimals, interface, 8 hex digits, data', () => {
    const data = Buffer.from('0102030405060708', 'hex');
    expect(written([{ t: 123, bus: 0, id: 0x18fef533, data }], 1_700_000_000_000)).toBe(
      '(1700000000.123000) can0 18FEF533#0102030405060708\n',
    );
  });

  it('are those of a second, plain implementation, for frames in any order of time', () => {
    fc.assert(
      fc.property(frames, (list) => {
        const plain = list.map((f) => `${candumpLine(ZERO_MS / 1000, NAMES[f.bus]!, f)}\n`).join('');
        expect(written(list)).toBe(plain);
      }),
      { seed },
    );
  });

  it('a clock that was never set: zero not on a whole second, stamps below 10 digits are padded', () => {
    const data = new Uint8Array(0);
    expect(written([{ t: 900, bus: 0, id: 1, data }], 12_345)).toBe('(0000000013.245000) can0 00000001#\n');
    expect(written([{ t: 0, bus: 0, id: 1, data }], 0)).toBe('(0000000000.000000) can0 00000001#\n');
  });

  it('error frames have the flag of linux/can.h, given with it or without', () => {
    const data = Buffer.from('0000000000008000', 'hex');
    for (const id of [0x24, 0x20000024]) {
      const line = written([{ t: 1, bus: 0, id, data, isError: true }]);
      expect(line).toBe('(1772456400.001000) can0 20000024#0000000000008000\n');
      const parsed = new CandumpLine();
      const bytes = Buffer.from(line.trimEnd());
      expect(parsed.parse(bytes, 0, bytes.length)).toBe('error');
    }
  });
});

const missing = ['log2asc', 'tshark'].filter((tool) => spawnSync('which', [tool]).status !== 0);
const required = process.env.CI === 'true';
if (missing.length > 0 && !required) console.warn(`skipped: ${missing.join(', ')} not installed; CI needs it`);

describe.skipIf(missing.length > 0 && !required)('other programs read them', () => {
  const list: Given[] = fc
    .sample(frames, { numRuns: 8, seed })
    .flat()
    .sort((a, b) => a.t - b.t);
  const path = join(tempFolder(), 'lines.log');
  writeFileSync(path, written([...list, { t: 400_000_001, bus: 0, id: 0x24, data: new Uint8Array(8), isError: true }]));

  it('log2asc of can-utils', () => {
    const asc = execFileSync('log2asc', ['-I', path, ...NAMES], { encoding: 'utf8' });
    const seen = asc
      .split('\n')
      .flatMap((line) => /^ *[\d.]+ +(\d) +([0-9A-F]+)x +Rx +d (\d) ?(.*?) *$/.exec(line) ?? []);
    const rows = seen.flatMap((_, n) => (n % 5 === 0 ? [seen.slice(n + 1, n + 5)] : []));
    expect(rows).toEqual(
      list.map(({ bus, id, data }) => [
        String(bus + 1),
        id.toString(16).toUpperCase(),
        String(data.length),
        Buffer.from(data)
          .toString('hex')
          .toUpperCase()
          .replace(/..(?=.)/g, '$& '),
      ]),
    );
    expect(asc).toContain('ErrorFrame');
  });

  it('tshark', () => {
    const out = execFileSync(
      'tshark',
      ['-r', path, '-T', 'fields', '-e', 'can.id', '-e', 'can.len', '-e', 'can.flags.err'],
      {
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'ignore'],
      },
    );
    const rows = out
      .trimEnd()
      .split('\n')
      .map((line) => line.split('\t').map(Number));
    expect(rows.slice(0, -1).map(([id, length]) => [id, length])).toEqual(
      list.map(({ id, data }) => [id, data.length]),
    );
    expect(rows).toHaveLength(list.length + 1);
  });
});
