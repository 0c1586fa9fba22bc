import { describe, expect, test } from 'vitest';
import { Capture, LONGEST_RECORD } from '../../../adapters/can/capture.js';
import { type LogForm, sniff } from '../../../adapters/can/sniff.js';
import fc from '../../support/property.js';
import {
  canFrame,
  cooked,
  EXTENDED,
  enhanced,
  interfaceBlock,
  oldPacket,
  pcap,
  pcapHeader,
  pcapRecord,
  section,
  simple,
} from './capture-bytes.js';
import { readText } from './collect.js';

const FRAMES = 200;
const BUSES = { busOf: () => 0 };
const frameOf = (n: number) => canFrame(EXTENDED | (0x18fef100 + (n % 100)), n.toString(16).padStart(16, '0'));
const stampOf = (n: number) => ({ sec: 1_700_000_000 + Math.floor(n / 100), part: (n % 100) * 10_000 });
const records = Array.from({ length: FRAMES }, (_, n) => pcapRecord('little', { ...stampOf(n), bytes: frameOf(n) }));
const PCAP = Buffer.concat([pcapHeader('little', 227), ...records]);
const blocks = Array.from({ length: FRAMES }, (_, n) => {
  const { sec, part } = stampOf(n);
  const packet = { stamp: BigInt(sec) * 1_000_000n + BigInt(part), bytes: frameOf(n) };
  return [enhanced, oldPacket][n % 2]!('big', packet);
});
const NG_HEAD = Buffer.concat([section('big'), interfaceBlock('big', 227, { name: 'can0' })]);
const PCAPNG = Buffer.concat([NG_HEAD, ...blocks]);
const FORMS = [
  ['pcap', PCAP, 24, records],
  ['pcapng', PCAPNG, NG_HEAD.length, blocks],
] as const;

const numbers = (bytes: Uint8Array, cuts?: readonly number[]) =>
  readText(bytes, BUSES, cuts).frames.map(({ data }) => Number.parseInt(data, 16));
const upTo = (n: number) => Array.from({ length: n }, (_, i) => i);

describe.each(FORMS)('%s', (form, whole, head, parts) => {
  test('is what it is taken for', () => {
    expect(sniff(whole)).toBe(form);
    expect(numbers(whole)).toEqual(upTo(FRAMES));
  });

  test('how it is cut up changes nothing', () => {
    const expected = readText(whole, BUSES);
    for (const cuts of [[1], [7, 1, 30], [997], [5000]]) expect(readText(whole, BUSES, cuts)).toEqual(expected);
  });

  test('cut short anywhere: all packets that are whole, and one line', () => {
    const lengths = parts.map(({ length }) => length);
    for (const keep of [0, 1, 60, FRAMES - 1]) {
      const begin = head + lengths.slice(0, keep).reduce((sum, length) => sum + length, 0);
      for (const more of [1, 11, 12, 17, lengths[keep]! - 1]) {
        const read = readText(whole.subarray(0, begin + more), BUSES, [333]);
        expect(read.frames).toHaveLength(keep);
        expect(read.problems).toEqual([
          `x.log: the last packet is cut short (${more} bytes of it are there); what came before is used`,
        ]);
      }
    }
  });

  test.each([
    ['NUL bytes', 0],
    ['ones', 0xff],
  ])('%s written over a part of it: what lies behind is read', (_name, byte) => {
    const hurt = Buffer.from(whole);
    const from = head + parts.slice(0, 50).reduce((sum, { length }) => sum + length, 0) + 4;
    hurt.fill(byte, from, from + 1000);
    for (const cuts of [[2 ** 20], [61]]) {
      const { frames, problems, counts } = readText(hurt, BUSES, cuts);
      const seen = frames.map(({ data }) => Number.parseInt(data, 16));
      expect(seen.slice(0, 50)).toEqual(upTo(50));
      expect(seen.at(-1)).toBe(FRAMES - 1);
      expect(seen.length).toBeGreaterThan(FRAMES - 50);
      expect(problems).toEqual([expect.stringMatching(/^x\.log: \d+ bytes from byte \d+ on are no packets; /)]);
      expect(counts.badPackets).toBe(1);
    }
  });

  test('a tail of NUL bytes, as a power cut leaves it', () => {
    const { frames, problems } = readText(Buffer.concat([whole, Buffer.alloc(5000)]), BUSES, [777]);
    expect(frames).toHaveLength(FRAMES);
    expect(problems).toEqual([
      `x.log: 5000 bytes from byte ${whole.length} on are no packets; the file is damaged there; what comes after is read`,
    ]);
  });

  test('bytes taken out or put in between', () => {
    const at = head + parts.slice(0, 20).reduce((sum, { length }) => sum + length, 0) + 9;
    for (const hurt of [
      Buffer.concat([whole.subarray(0, at), whole.subarray(at + 5)]),
      Buffer.concat([whole.subarray(0, at), Buffer.alloc(3, 0xaa), whole.subarray(at)]),
    ]) {
      const seen = numbers(hurt);
      expect(seen.slice(0, 20)).toEqual(upTo(20));
      expect(seen.at(-1)).toBe(FRAMES - 1);
      expect(seen.length).toBeGreaterThan(FRAMES - 5);
    }
  });
});

describe('hostile lengths', () => {
  test.each([
    ['the block', 4, 0x7ffffffc],
    ['the block', 4, 2 ** 20],
    ['the block', 4, 100_000],
    ['the block', 4, 0],
    ['the block', 4, 30],
    ['the data', 20, 0xffffffff],
    ['the data', 20, 17],
  ])('pcapng: %s (byte %i) says %i', (_name, place, length) => {
    const hurt = Buffer.from(PCAPNG);
    const at = NG_HEAD.length + blocks[0]!.length;
    hurt.writeUInt32BE(length, at + place);
    const seen = numbers(hurt, [1000]);
    expect(seen[0]).toBe(0);
    expect(seen.slice(1)).toEqual(upTo(FRAMES).slice(2));
  });

  test.each([0x7fffffff, 0xffffffff, 2 ** 18 + 1, 2 ** 18, 100_000])('a pcap packet of %i bytes', (captured) => {
    const bytes = Buffer.concat([
      pcapHeader('little', 227),
      pcapRecord('little', { ...stampOf(0), bytes: frameOf(0) }),
      pcapRecord('little', { ...stampOf(1), bytes: frameOf(1), captured }),
      ...records.slice(2),
    ]);
    const seen = numbers(bytes, [1000]);
    expect(seen[0]).toBe(0);
    expect(seen.at(-1)).toBe(FRAMES - 1);
    expect(seen.length).toBeGreaterThan(FRAMES - 3);
  });

  test('packets at the limit are read, and passed over', () => {
    const long = { bytes: cooked(Buffer.alloc(2 ** 18 - 16), 0x0800) };
    const file = pcap('little', 113, [long, long, { bytes: cooked(canFrame(EXTENDED, '01', 'little')) }]);
    const { frames, counts, problems } = readText(file, BUSES, [4096]);
    expect(problems).toEqual([]);
    expect(frames).toHaveLength(1);
    expect(counts).toMatchObject({ packets: 3, otherPackets: 2 });
  });
});

/** Any bytes changed, cut, doubled or put in: the shape that damage has. */
const damaged = (whole: Buffer) =>
  fc
    .array(
      fc.tuple(
        fc.constantFrom('change', 'cut', 'put', 'double', 'length'),
        fc.nat(whole.length - 1),
        fc.uint8Array({ minLength: 1, maxLength: 12 }),
      ),
      { minLength: 1, maxLength: 6 },
    )
    .map((changes) => changes.reduce<Uint8Array>((bytes, [how, at, put]) => spoil(bytes, how, at, put), whole));

function spoil(bytes: Uint8Array, how: string, at: number, put: Uint8Array): Uint8Array {
  const p = at % Math.max(1, bytes.length);
  if (how === 'cut') return Buffer.concat([bytes.subarray(0, p), bytes.subarray(p + put[0]!)]);
  if (how === 'put') return Buffer.concat([bytes.subarray(0, p), put, bytes.subarray(p)]);
  if (how === 'double') return Buffer.concat([bytes.subarray(0, p), bytes.subarray(p >> 1)]);
  const copy = Buffer.from(bytes);
  if (how === 'length' && p + 4 <= copy.length) copy.writeUInt32LE([0xffffffff, 2 ** 18, 0, 12][put[0]! % 4]!, p);
  else copy.set(put.subarray(0, copy.length - p), p);
  return copy;
}

describe('any damage', () => {
  const mixed = Buffer.concat([
    ...[section('little'), interfaceBlock('little', 227, { name: 'can0' }), interfaceBlock('little', 113)],
    ...upTo(40).map((n) => enhanced('little', { index: n % 3, bytes: n % 3 === 1 ? cooked(frameOf(n)) : frameOf(n) })),
    ...[simple('little', frameOf(1)), section('big'), interfaceBlock('big', 276)],
  ]);

  test.each([
    ['pcap', PCAP.subarray(0, 24 + 40 * 32)],
    ['pcapng', PCAPNG.subarray(0, 4000)],
    ['pcapng of several sections', mixed],
  ])('of %s: nothing thrown, what is counted adds up, cuts change nothing', (_name, whole) => {
    fc.assert(
      fc.property(
        damaged(whole),
        fc.array(fc.integer({ min: 1, max: 900 }), { minLength: 1, maxLength: 4 }),
        (bytes, cuts) => {
          const read = readText(bytes, BUSES, cuts);
          const { counts } = read;
          expect(counts.packets).toBe(counts.frames + counts.badPackets + counts.otherPackets);
          expect(counts.frames).toBe(
            counts.interesting +
              counts.rtr +
              counts.fd +
              counts.errorFrames +
              counts.shortIds +
              counts.unknownInterface,
          );
          expect(read.problems.length).toBeLessThanOrEqual(21);
          expect(read.frames.length).toBeLessThanOrEqual(bytes.length / 16);
          for (const { id, data, t } of read.frames) {
            expect(id >= 0 && id <= 0x1fffffff && data.length <= 16 && Number.isSafeInteger(t)).toBe(true);
          }
          expect(readText(bytes, BUSES)).toEqual(read);
        },
      ),
      { numRuns: 300 },
    );
  });

  test('of no form at all, behind a good beginning', () => {
    fc.assert(
      fc.property(fc.constantFrom(PCAP.subarray(0, 24), NG_HEAD), fc.uint8Array({ maxLength: 3000 }), (begin, rest) => {
        const bytes = Buffer.concat([begin, rest]);
        expect(readText(bytes, BUSES, [100])).toEqual(readText(bytes, BUSES));
      }),
      { numRuns: 300 },
    );
  });
});

test('holds no more than a record, whatever comes', () => {
  const endless = Buffer.alloc(3 * LONGEST_RECORD, 0xff);
  const held: number[] = [];
  for (const form of ['pcap', 'pcapng'] as LogForm[]) {
    const counters = readText(Buffer.alloc(0)).counts;
    const stream = { stamps: {}, interfaces: {}, counters };
    const capture = new Capture(
      { interest: new Uint8Array(2 ** 18), busOf: () => 0, sink: { frame: () => {}, errorFrame: () => {} } },
      stream as never,
      () => {},
    );
    capture.begin(form as 'pcap' | 'pcapng');
    capture.push(form === 'pcap' ? PCAP.subarray(0, 24) : NG_HEAD);
    for (let n = 0; n < 20; n++) {
      capture.push(endless);
      held.push((capture as unknown as { held: Uint8Array }).held.length);
    }
  }
  expect(Math.max(...held)).toBeLessThanOrEqual(2 * LONGEST_RECORD);
});
