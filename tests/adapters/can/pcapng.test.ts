import { describe, expect, test } from 'vitest';
import { StampUnits } from '../../../adapters/can/stamp-units.js';
import fc from '../../support/property.js';
import {
  block,
  canFrame,
  cooked,
  cooked2,
  EXTENDED,
  enhanced,
  interfaceBlock,
  type Order,
  oldPacket,
  option,
  section,
  simple,
  statistics,
  u16,
  u32,
  u64,
} from './capture-bytes.js';
import { readText, readTexts } from './collect.js';

const ORDERS: readonly Order[] = ['big', 'little'];
const [SOCKETCAN, SLL, SLL2] = [227, 113, 276];
const ID = EXTENDED | 0x18fef131;
const DATA = 'ff00112233445566';
const FRAME = { kind: 'frame', t: 250, bus: 0, id: 0x18fef131, data: DATA };
const STAMP = 100_250_000n;
const canOne = { name: 'can0' };

describe.each(ORDERS)('pcapng, written down, %s-endian', (order) => {
  test.each([
    ['enhanced packets', enhanced(order, { stamp: STAMP, bytes: canFrame(ID, DATA) })],
    ['old packet blocks', oldPacket(order, { stamp: STAMP, bytes: canFrame(ID, DATA) })],
  ])('%s', (_name, packet) => {
    const { frames, problems, zeroMs, counts } = readText(
      Buffer.concat([section(order), interfaceBlock(order, SOCKETCAN, canOne), packet, packet]),
    );
    expect(problems).toEqual([]);
    expect(frames).toEqual([FRAME, FRAME]);
    expect(zeroMs).toBe(100_000);
    expect(counts).toMatchObject({ lines: 0, packets: 2, frames: 2, interesting: 2 });
  });

  test('simple packets take the time of the packet before them, and the first interface; said once', () => {
    const one = simple(order, canFrame(ID, DATA));
    const bytes = [
      section(order),
      interfaceBlock(order, SOCKETCAN, canOne),
      enhanced(order, { stamp: STAMP, bytes: canFrame(ID, DATA) }),
    ];
    const { frames, problems } = readText(Buffer.concat([...bytes, one, one]));
    expect(frames).toEqual([FRAME, FRAME, FRAME]);
    expect(problems).toEqual([
      'x.log: packets without stamps; they take the time of the packet before them; capture with stamps',
    ]);
    const alone = readText(Buffer.concat([...bytes.slice(0, 2), one]));
    expect(alone.frames).toEqual([{ ...FRAME, t: 0 }]);
  });

  test('a simple packet that the snap length cuts, and its padding', () => {
    const bytes = [section(order), interfaceBlock(order, SOCKETCAN, { name: 'can0', snap: 14 })];
    const cut = canFrame(ID, 'aabbccddeeff').subarray(0, 14);
    const { frames } = readText(Buffer.concat([...bytes, simple(order, cut, 16)]));
    expect(frames.map(({ data }) => data)).toEqual(['aabbccddeeff']);
    const short = readText(Buffer.concat([...bytes, simple(order, canFrame(ID, DATA).subarray(0, 14), 16)]));
    expect(short.problems).toContain('x.log: packet 1: 6 of 8 data bytes; capture whole packets (snap length 0)');
  });

  test('cooked: ids have the order of the section', () => {
    const { frames, problems, counts } = readText(
      Buffer.concat([
        section(order),
        interfaceBlock(order, SLL, canOne),
        interfaceBlock(order, SLL2, { name: 'any' }),
        enhanced(order, { stamp: STAMP, bytes: cooked(canFrame(ID, DATA, order)) }),
        enhanced(order, { stamp: STAMP, bytes: cooked2(canFrame(ID, DATA, order), 7), index: 1 }),
      ]),
      { busOf: (name) => ['can0', 'if7'].indexOf(name) },
    );
    expect(frames).toEqual([FRAME, { ...FRAME, bus: 1 }]);
    expect(problems).toEqual([]);
    expect(counts.badPackets).toBe(0);
  });

  test('losses that the capture knows of are told', () => {
    const drops = [option(order, 4, u64(3n, order))];
    const { problems, counts } = readText(
      Buffer.concat([
        section(order),
        interfaceBlock(order, SOCKETCAN, canOne),
        enhanced(order, { bytes: canFrame(ID, DATA), options: drops }),
        enhanced(order, { bytes: canFrame(ID, DATA), options: [option(order, 1, Buffer.from('a comment'))] }),
        oldPacket(order, { bytes: canFrame(ID, DATA) }, 5),
        statistics(order, 0, [option(order, 5, u64(7n, order)), option(order, 7, u64(0n, order))]),
      ]),
    );
    expect(problems).toEqual(
      [3, 5, 7].map(
        (count) =>
          `x.log: the capture lost ${count} packets of can0 here; give it a larger buffer (dumpcap -B, tcpdump -B)`,
      ),
    );
    expect(counts).toMatchObject({ packets: 3, frames: 3 });
  });
});

describe('interfaces', () => {
  const order: Order = 'little';

  test('are buses by their names, as in a candump log; what is no CAN is told once', () => {
    const ethernet = enhanced(order, { bytes: Buffer.alloc(60), index: 2 });
    const { frames, problems, counts } = readText(
      Buffer.concat([
        section(order),
        interfaceBlock(order, SOCKETCAN, { name: 'can1' }),
        interfaceBlock(order, SOCKETCAN, canOne),
        interfaceBlock(order, 1, { name: 'eth0' }),
        interfaceBlock(order, SOCKETCAN, { name: 'vcan7' }),
        ethernet,
        enhanced(order, { bytes: canFrame(ID, '01'), index: 0 }),
        enhanced(order, { bytes: canFrame(ID, '02'), index: 1 }),
        ethernet,
        enhanced(order, { bytes: canFrame(ID, '03'), index: 3 }),
      ]),
      { busOf: (name) => ['can0', 'can1'].indexOf(name) },
    );
    expect(frames.map(({ bus, data }) => [bus, data])).toEqual([
      [1, '01'],
      [0, '02'],
    ]);
    expect(counts).toMatchObject({ packets: 5, frames: 3, otherPackets: 2, unknownInterface: 1 });
    expect(problems).toEqual([
      'x.log: interface eth0 is Ethernet; its packets are skipped; only CAN is read',
      expect.stringMatching(/^x\.log: interface vcan7 is no bus of the truck file; /),
    ]);
  });

  test('each has its own id order', () => {
    const { frames, problems } = readText(
      Buffer.concat([
        section(order),
        interfaceBlock(order, SOCKETCAN, canOne),
        interfaceBlock(order, SOCKETCAN, { name: 'can1' }),
        enhanced(order, { bytes: canFrame(ID, '01'), index: 0 }),
        enhanced(order, { bytes: canFrame(ID, '02', 'little'), index: 1 }),
      ]),
      { busOf: (name) => ['can0', 'can1'].indexOf(name) },
    );
    expect(frames.map(({ bus, id }) => [bus, id])).toEqual([
      [0, 0x18fef131],
      [1, 0x18fef131],
    ]);
    expect(problems).toEqual([expect.stringMatching(/^x\.log: the CAN ids of can1 are little-endian, /)]);
  });

  test('without names: the first is unnamed, further ones by their number', () => {
    const names: string[] = [];
    readText(
      Buffer.concat([
        section(order),
        ...[0, 1].map(() => interfaceBlock(order, SOCKETCAN)),
        ...[0, 1].map((index) => enhanced(order, { bytes: canFrame(ID, DATA), index })),
      ]),
      { busOf: (name) => names.push(name) - 1 },
    );
    expect(names).toEqual(['unnamed', 'interface-1']);
  });

  test('a packet of one that is not described', () => {
    const { problems, counts } = readText(
      Buffer.concat([
        section(order),
        interfaceBlock(order, SOCKETCAN, canOne),
        enhanced(order, { bytes: canFrame(ID, DATA), index: 1 }),
        enhanced(order, { bytes: canFrame(ID, DATA) }),
      ]),
    );
    expect(counts).toMatchObject({ packets: 2, badPackets: 1, frames: 1 });
    expect(problems).toEqual(['x.log: packet 1: of interface 1, which is not described; the file may be damaged']);
  });
});

describe('sections', () => {
  test('each has its own order of bytes and its own interfaces', () => {
    const part = (order: Order, name: string, sec: bigint) => [
      section(order),
      interfaceBlock(order, SOCKETCAN, { name }),
      enhanced(order, { stamp: sec * 1_000_000n, bytes: canFrame(ID, DATA) }),
    ];
    const { frames, problems } = readText(
      Buffer.concat([...part('big', 'can0', 100n), ...part('little', 'can1', 101n), ...part('big', 'can0', 102n)]),
      { busOf: (name) => ['can0', 'can1'].indexOf(name) },
      [13],
    );
    expect(frames.map(({ t, bus }) => [t, bus])).toEqual([
      [0, 0],
      [1000, 1],
      [2000, 0],
    ]);
    expect(problems).toEqual([]);
  });

  test('of another version are refused', () => {
    const body = Buffer.concat([u32(0x1a2b3c4d, 'big'), u16(2, 'big'), u16(0, 'big'), u64(-1n, 'big')]);
    const { refused, problems } = readTexts([block('big', 0x0a0d0d0a, body)]);
    expect(refused).toEqual([true]);
    expect(problems).toEqual([
      'x.log: a pcapng capture of version 2; only version 1 is read: write it anew, or as candump text',
    ]);
  });

  test('blocks of other kinds are passed over, long ones too', () => {
    const { frames, problems } = readText(
      Buffer.concat([
        section('little'),
        interfaceBlock('little', SOCKETCAN, canOne),
        block('little', 4, Buffer.alloc(40)),
        block('little', 0xbad, Buffer.alloc(600_000, 7)),
        block('little', 10, Buffer.alloc(5000)),
        enhanced('little', { stamp: STAMP, bytes: canFrame(ID, DATA) }),
      ]),
      {},
      [100_000],
    );
    expect(problems).toEqual([]);
    expect(frames).toEqual([FRAME]);
  });
});

describe('stamps', () => {
  test.each([
    ['seconds', 0, 100n, 0],
    ['milliseconds', 3, 100_250n, 250],
    ['microseconds', 6, 100_250_999n, 250],
    ['nanoseconds of today', 9, 1_774_000_000_250_999_999n, 250],
    ['picoseconds', 12, 100_250_999_999_999n, 250],
    ['1/1024 s', 0x8a, 102_656n, 250],
    ['2^-32 s', 0xa0, (100n << 32n) + (1n << 30n), 250],
  ])('in %s', (_name, resolution, stamp, t) => {
    const { frames, problems } = readText(
      Buffer.concat([
        section('little'),
        interfaceBlock('little', SOCKETCAN, { name: 'can0', resolution }),
        enhanced('little', { stamp, bytes: canFrame(ID, DATA) }),
      ]),
    );
    expect(problems).toEqual([]);
    expect(frames.map((frame) => frame.t)).toEqual([t]);
  });

  test('with an offset, also a negative one', () => {
    for (const [offsetS, zeroMs] of [
      [1_700_000_000n, 1_700_000_100_000],
      [-50n, 50_000],
    ] as const) {
      const read = readText(
        Buffer.concat([
          section('big'),
          interfaceBlock('big', SOCKETCAN, { name: 'can0', offsetS }),
          enhanced('big', { stamp: STAMP, bytes: canFrame(ID, DATA) }),
        ]),
      );
      expect(read.zeroMs).toBe(zeroMs);
    }
  });

  test.each([
    ['too fine', { resolution: 15 }, STAMP, /stamps of interface can0 are finer than 10\^-12 s/],
    ['before 1970', { offsetS: -101n }, STAMP, /packet 1: stamp out of range/],
    ['beyond all calendars', {}, 2n ** 63n, /packet 1: stamp out of range/],
  ])('%s: told, and the others are read', (_name, options, stamp, problem) => {
    const { frames, problems } = readText(
      Buffer.concat([
        section('big'),
        interfaceBlock('big', SOCKETCAN, { name: 'can0', ...options }),
        interfaceBlock('big', SOCKETCAN, canOne),
        enhanced('big', { stamp, bytes: canFrame(ID, DATA) }),
        enhanced('big', { stamp: STAMP, bytes: canFrame(ID, DATA), index: 1 }),
      ]),
    );
    expect(frames).toEqual([FRAME]);
    expect(problems[0]).toMatch(problem);
  });

  test('as whole-number arithmetic of any size gives them', () => {
    const resolutions = [0, 3, 6, 7, 9, 10, 12, 0x80, 0x8a, 0x94, 0xa0, 0xa6];
    const seconds = fc.bigInt({ min: 0n, max: 9_999_999_999n });
    fc.assert(
      fc.property(
        fc.constantFrom(...resolutions),
        fc.array(fc.tuple(seconds, fc.double({ min: 0, max: 1, noNaN: true }))),
        (byte, list) => {
          const { perSecond, binary } = StampUnits.resolution(byte)!;
          const units = new StampUnits(perSecond, 0, binary);
          for (const [sec, share] of list) {
            const part = BigInt(Math.floor(share * (perSecond - 1)));
            const stamp = sec * BigInt(perSecond) + part;
            if (stamp >= 2n ** 64n) continue;
            // Twice: the second time within the second that is known by then.
            for (let turn = 0; turn < 2; turn++) {
              expect(units.set(Number(stamp >> 32n), Number(stamp & 0xffffffffn))).toBe(true);
              expect([units.sec, units.us]).toEqual([Number(sec), Number((part * 1_000_000n) / BigInt(perSecond))]);
            }
          }
        },
      ),
    );
  });
});
