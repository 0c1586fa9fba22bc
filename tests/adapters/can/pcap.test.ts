import { describe, expect, test } from 'vitest';
import { carriesCan, linkName } from '../../../adapters/can/link-types.js';
import {
  canFrame,
  cooked,
  cooked2,
  ERROR,
  EXTENDED,
  fdFrame,
  type Order,
  pcap,
  pcapHeader,
  pcapRecord,
  REMOTE,
  u16,
  u32,
} from './capture-bytes.js';
import { readText, readTexts } from './collect.js';

const ORDERS: readonly Order[] = ['big', 'little'];
const [SOCKETCAN, SLL, SLL2, EXPORTED] = [227, 113, 276, 252];
const ID = EXTENDED | 0x18fef131;
const DATA = 'ff00112233445566';
const FRAME = { kind: 'frame', t: 250, bus: 0, id: 0x18fef131, data: DATA };
const other = (order: Order): Order => (order === 'big' ? 'little' : 'big');

describe('pcap, written down', () => {
  // The first frame of data/road-truck/normal_linktype227.pcap, with its file header.
  test('a recorded one', () => {
    const hex =
      'd4c3b2a1020004000000000000000000ffff0000e3000000' +
      '0000000000000000100000001000000098fcf20008000000e1ffffffffffffff';
    const { frames, problems, counts } = readText(Buffer.from(hex, 'hex'), { oneBus: true, busOf: () => -1 });
    expect(frames).toEqual([{ kind: 'frame', t: 0, bus: 0, id: 0x18fcf200, data: 'e1ffffffffffffff' }]);
    expect(problems).toEqual(['x.log: the capture does not name its interface; it is taken as the only bus']);
    expect(counts).toMatchObject({ lines: 0, packets: 1, frames: 1, interesting: 1, badPackets: 0, otherPackets: 0 });
  });

  describe.each(ORDERS)('%s-endian', (order) => {
    test.each([
      ['microseconds', 0xa1b2c3d4, 250_999],
      ['nanoseconds', 0xa1b23c4d, 250_999_999],
    ])('in %s', (_name, magic, part) => {
      const { frames, problems, zeroMs } = readText(
        pcap(order, SOCKETCAN, [{ part, bytes: canFrame(ID, DATA) }], magic),
        { busOf: () => 0 },
      );
      expect(problems).toEqual([]);
      expect(frames).toEqual([FRAME]);
      expect(zeroMs).toBe(100_000);
    });

    test.each([
      ['cooked', SLL, cooked],
      ['cooked, second form', SLL2, cooked2],
      ['exported', EXPORTED, (frame: Buffer) => exported('can-hostendian', frame)],
    ])('%s: ids have the order of the file', (_name, link, wrap) => {
      const bytes = pcap(order, link, [{ part: 250_000, bytes: wrap(canFrame(ID, DATA, order)) }]);
      const { frames, problems } = readText(bytes, { busOf: () => 0 });
      expect(frames).toEqual([FRAME]);
      expect(problems).toEqual([]);
    });
  });

  test('a frame of each length, and of none', () => {
    const hex = Array.from({ length: 9 }, (_, n) => 'a5'.repeat(n));
    const { frames, problems } = readText(
      pcap(
        'little',
        SOCKETCAN,
        hex.map((data) => ({ bytes: canFrame(ID, data) })),
      ),
      { busOf: () => 0 },
    );
    expect(frames.map(({ data }) => data)).toEqual(hex);
    // Written without the padding behind the data, as some do.
    const short = hex.map((data) => ({ bytes: canFrame(ID, data).subarray(0, 8 + data.length / 2) }));
    expect(readText(pcap('little', SOCKETCAN, short), { busOf: () => 0 }).frames).toEqual(frames);
    expect(problems).toEqual([]);
  });

  test('one file behind the other, of either order', () => {
    const one = (order: Order, sec: number) => pcap(order, SOCKETCAN, [{ sec, bytes: canFrame(ID, DATA) }]);
    const { frames, problems, counts } = readText(
      Buffer.concat([one('little', 100), one('little', 101), one('little', 102)]),
      { busOf: () => 0 },
    );
    expect(frames.map(({ t }) => t)).toEqual([0, 1000, 2000]);
    expect(problems).toEqual([]);
    expect(counts).toMatchObject({ packets: 3, badPackets: 0 });
  });
});

describe('ids in the wrong order', () => {
  test.each([
    ['plain', SOCKETCAN, 'little', (frame: Buffer) => frame],
    ['cooked', SLL, 'big', cooked],
    ['cooked', SLL, 'little', cooked],
    ['cooked, second form', SLL2, 'little', cooked2],
  ] as const)('%s, link type %i, %s ids: read as they are, said once', (_name, link, idOrder, wrap) => {
    const file = link === SOCKETCAN ? 'little' : other(idOrder);
    // The first three have sources from 80 on, whose ids make sense in both orders.
    const ids = [0x18fef18b, 0x18fef190, 0x0cf00480, 0x18fef100, 0x0cf00331];
    const packets = [...ids, ...ids].map((id) => ({ bytes: wrap(canFrame(EXTENDED | id, DATA, idOrder)) }));
    const { frames, problems, counts } = readText(pcap(file, link, packets), { busOf: () => 0 }, [7]);
    expect(frames.map(({ id }) => id)).toEqual([...ids, ...ids]);
    expect(problems).toEqual([
      expect.stringMatching(new RegExp(`^x.log: the CAN ids of \\w+ are ${idOrder}-endian, `)),
    ]);
    expect(counts).toMatchObject({ frames: 10, badPackets: 0 });
  });

  test('11-bit, remote and error frames tell it as well', () => {
    for (const word of [0x7ff, 0x123, EXTENDED | REMOTE | 0x18fef100, ERROR | 4]) {
      const packets = [word, ID].map((one) => ({ bytes: canFrame(one, DATA, 'little') }));
      const { frames, problems } = readText(pcap('little', SOCKETCAN, packets), { busOf: () => 0 });
      expect(frames.at(-1)!.id).toBe(0x18fef131);
      expect(problems).toHaveLength(1);
    }
  });

  test('a few damaged frames turn nothing round', () => {
    const good = Array.from({ length: 20 }, () => canFrame(ID, DATA));
    const wrong = Array.from({ length: 3 }, () => canFrame(ID, DATA, 'little'));
    const packets = [...wrong, ...good].map((bytes) => ({ bytes }));
    const { frames, counts, problems } = readText(pcap('little', SOCKETCAN, packets), { busOf: () => 0 });
    expect(frames).toHaveLength(20);
    expect(counts).toMatchObject({ packets: 23, badPackets: 3 });
    expect(problems[0]).toBe('x.log: packet 1: id out of range; the packet may be damaged');
  });

  test('where every id would do in both orders, remote frames, which J1939 lacks, decide', () => {
    const packets = [0x18fef1c8, 0x18fef1d0].map((id) => ({ bytes: canFrame(EXTENDED | id, DATA, 'little') }));
    expect(readText(pcap('little', SOCKETCAN, packets), { busOf: () => 0 }).frames.map(({ id }) => id)).toEqual([
      0x18fef1c8, 0x18fef1d0,
    ]);
  });

  test('what the first 64 KB leave open is decided when it can be', () => {
    const noise = Array.from({ length: 800 }, () => ({ bytes: cooked(Buffer.alloc(84), 0x0800) }));
    const ids = [0x18fef100, 0x18fef131].map((id) => ({ bytes: cooked(canFrame(EXTENDED | id, DATA, 'big')) }));
    const { frames, problems, counts } = readText(pcap('little', SLL, [...noise, ...ids]), { busOf: () => 0 });
    expect(frames.map(({ id }) => id)).toEqual([0x18fef100, 0x18fef131]);
    expect(counts).toMatchObject({ packets: 802, otherPackets: 800, frames: 2 });
    expect(problems).toHaveLength(1);
  });
});

describe('frames that are not ours', () => {
  test.each([
    ['shortIds', canFrame(0x7ff, DATA)],
    ['rtr', canFrame(EXTENDED | REMOTE | 0x18fef100, '')],
    ['rtr', canFrame(REMOTE | 0x123, '')],
    ['rtr', Buffer.concat([u32(REMOTE | 0x123, 'big'), Buffer.from([8, 0, 0, 0])])],
    ['fd', fdFrame(ID, DATA)],
    ['fd', fdFrame(ID, 'ab'.repeat(64), 0)],
    ['fd', fdFrame(ID, DATA, 0)],
    // struct canxl_frame: priority, flags, type, length, acceptance field
    [
      'fd',
      Buffer.concat([u32(0x123, 'big'), Buffer.from([0x80, 0]), u16(12, 'little'), u32(0, 'big'), Buffer.alloc(12)]),
    ],
  ])('are counted as %s', (kind, bytes) => {
    const packets = [{ bytes }, { bytes: canFrame(ID, DATA) }];
    const { frames, counts, problems } = readText(pcap('little', SOCKETCAN, packets), { busOf: () => 0 });
    expect(problems).toEqual([]);
    expect(frames).toHaveLength(1);
    expect(counts).toMatchObject({ frames: 2, [kind]: 1, interesting: 1, badPackets: 0 });
  });

  test('FD and other packets of cooked captures', () => {
    const packets = [
      cooked(fdFrame(ID, DATA, 0), 0x000d),
      cooked(Buffer.alloc(60), 0x0806),
      cooked(canFrame(ID, DATA, 'little')),
    ];
    const { frames, counts, problems } = readText(
      pcap(
        'little',
        SLL,
        packets.map((bytes) => ({ bytes })),
      ),
      {
        busOf: () => 0,
      },
    );
    expect(problems).toEqual([]);
    expect(frames).toHaveLength(1);
    expect(counts).toMatchObject({ packets: 3, frames: 2, fd: 1, otherPackets: 1, interesting: 1 });
  });

  test('error frames go to errorFrame with their class bits', () => {
    const packets = [{ bytes: canFrame(ERROR | 0x44, '0004000000000000') }];
    const { frames, counts } = readText(pcap('big', SOCKETCAN, packets), { busOf: () => 0 });
    expect(frames).toEqual([{ kind: 'error', t: 0, bus: 0, id: 0x44, data: '0004000000000000' }]);
    expect(counts).toMatchObject({ frames: 1, errorFrames: 1 });
  });

  test('groups that nobody wants are skipped, and move the time all the same', () => {
    const interest = new Uint8Array(2 ** 18);
    interest[0xfef1] = 1;
    const packets = [0x18fef100, 0x18fef200, 0x19fef100].map((id, n) => ({
      part: n * 100_000,
      bytes: canFrame(EXTENDED | id, DATA),
    }));
    const { frames, lastT, counts } = readText(pcap('little', SOCKETCAN, packets), { busOf: () => 0, interest });
    expect(frames.map(({ id }) => id)).toEqual([0x18fef100]);
    expect(lastT).toBe(200);
    expect(counts).toMatchObject({ frames: 3, interesting: 1 });
  });
});

describe('interfaces', () => {
  const two = (first: number, second: number) =>
    pcap('little', SLL2, [
      { bytes: cooked2(canFrame(ID, '01', 'little'), first) },
      { bytes: cooked2(canFrame(ID, '02', 'little'), second) },
    ]);

  test('the cooked form with interface numbers calls them if3, if4', () => {
    const names: string[] = [];
    const { frames } = readText(two(3, 4), { busOf: (name) => names.push(name) - 1 });
    expect(names).toEqual(['if3', 'if4']);
    expect(frames.map(({ bus }) => bus)).toEqual([0, 1]);
  });

  test('without a name: skipped where the truck file has several buses, with what to do', () => {
    const { frames, problems, counts } = readText(pcap('little', SOCKETCAN, [{ bytes: canFrame(ID, DATA) }]));
    expect(frames).toEqual([]);
    expect(counts).toMatchObject({ frames: 1, unknownInterface: 1 });
    expect(problems).toEqual([
      'x.log: the capture does not name its interface, so its frames are skipped; ' +
        'give the file the name of the interface, like can1.pcap, or capture as pcapng',
    ]);
  });

  test('without a name: the only bus, where there is but one, whatever else is read', () => {
    const capture = pcap('little', SOCKETCAN, [{ bytes: canFrame(ID, '01') }]);
    const text = '(0000000101.000000) can0 18FEF131#02\n';
    const { frames, problems } = readTexts([text, capture, text, capture], { oneBus: true });
    expect(frames.map(({ data }) => data)).toEqual(['02', '01', '02', '01']);
    expect(problems).toEqual(['x.log: the capture does not name its interface; it is taken as the only bus']);
  });

  test('a stand-in gives way to the configured name of a later file, whatever the forms', () => {
    const capture = pcap('little', SLL2, [{ bytes: cooked2(canFrame(ID, '01', 'little')) }]);
    const text = '(0000000101.000000) can0 18FEF131#02\n';
    const { frames, problems } = readTexts([capture, text, capture], { oneBus: true });
    expect(frames.map(({ data }) => data)).toEqual(['01', '02']);
    expect(problems).toHaveLength(2);
    expect(problems[1]).toBe('x.log:1: interface can0 comes after all; frames of if3 are skipped from here on');
  });
});

describe('captures without CAN are named as such', () => {
  test.each([
    [1, 'Ethernet'],
    [101, 'IP packets'],
    [127, 'Wi-Fi'],
    [212, 'LIN'],
    [4242, 'link type 4242'],
  ])('%i: %s', (link, name) => {
    expect(linkName(link)).toBe(name);
    expect(carriesCan(link)).toBe(false);
    const bytes = pcap('big', link, [{ bytes: Buffer.alloc(60) }]);
    const { refused, problems, counts } = readTexts([bytes, pcap('big', SOCKETCAN, [{ bytes: canFrame(ID, DATA) }])], {
      busOf: () => 0,
    });
    expect(refused).toEqual([true, false]);
    expect(problems).toEqual([
      `x.log: not a log of CAN: a pcap capture of ${name}; capture the CAN interface (tcpdump -i can0)`,
    ]);
    expect(counts).toMatchObject({ packets: 1, frames: 1 });
  });
});

test('the header alone has no frames and no mistake', () => {
  const { counts, problems } = readText(pcapHeader('little', SOCKETCAN));
  expect(problems).toEqual([]);
  expect(counts.packets).toBe(0);
  expect(pcapRecord('big', { bytes: Buffer.alloc(0) })).toHaveLength(16);
});

/** Tags of exported packets: the dissector's name, the end. */
function exported(name: string, frame: Buffer): Buffer {
  const padded = Buffer.concat([Buffer.from(name), Buffer.alloc((4 - (name.length % 4)) % 4)]);
  return Buffer.concat([u16(12, 'big'), u16(padded.length, 'big'), padded, Buffer.alloc(4), frame]);
}
