import { describe, expect, it } from 'vitest';
import { decodeGroup, readerFor } from '../../../daemon/j1939/decode.js';
import { decodeDm1, decodeTroubleCode } from '../../../daemon/j1939/dm1.js';
import { destinationOf, isPdu1, pgnOf, priorityOf, sourceOf } from '../../../daemon/j1939/identifier.js';
import { decodeName } from '../../../daemon/j1939/name.js';
import type { Quality } from '../../../daemon/j1939/ranges.js';
import { decodeTimeDate } from '../../../daemon/j1939/time-date.js';
import { newTransportState, Transport } from '../../../daemon/j1939/transport.js';
import { bytes, frame } from './helpers.js';

/*
 * Worked examples of the J1939 fact sheet, section 10, by its numbers. Where the sheet says so the value was published
 * with the frame ("published"), else the frame is real and the value was computed from the tables ("computed").
 * Sources: PJ nmfta-repo/pretty_j1939 (Apache-2.0); E Equipment-and-Tool-Institute/j1939-84 (MIT); LX Laixer/J1939
 * (tests only, values); AG Open-Agriculture/AgIsoStack-plus-plus (MIT); CU linux-can/can-utils; CT cantools (MIT);
 * PCJ juergenH87/python-can-j1939 (MIT); I ip332/J1939 logs (MIT).
 */

type Expected = Record<number, number | Quality>;

const SIGNALS: [number: string, source: string, frame: string, expected: Expected][] = [
  ['5', 'PJ, published', '0CF00400#207D87481400F087', { 190: 649, 512: 0, 513: 10, 2432: 10, 4154: 0.25 }],
  ['6', 'PJ, published (unit corrected)', '18FEE000#FFFFFFFFB05C6800', { 245: 854934, 244: 'absent' }],
  [
    '7',
    'PJ frame, computed',
    '18F0010B#C0FFF0FFFF400B3F',
    {
      561: 0,
      562: 0,
      563: 0,
      1121: 'absent',
      575: 0,
      576: 0,
      1243: 0,
      1439: 0,
      1438: 0,
      1793: 1,
      1481: 11,
      1836: 'absent',
      1792: 0,
    },
  ],
  ['8', 'jackm/j1939decode README, published', '0CF00400#F07D83831700FF83', { 190: 752.375, 512: 0, 513: 6 }],
  ['9', 'E, published', '0CF00400#1122336009667788', { 190: 300, 512: -91, 513: -74, 4154: 0.125 }],
  ['10 error', 'E, published', '0CF00400#FFFFFFFFFEFFFFFF', { 190: 'error' }],
  ['10 n/a', 'E, published', '0CF00400#FFFFFFFFFFFFFFFF', { 190: 'absent' }],
  ['10 max', 'E, published', '0CF00400#FFFFFFFFFAFFFFFF', { 190: 8031.875 }],
  ['11', 'E, published', '18FEC100#8014060011223344', { 917: 1_992_320, 918: 5_721_008_725 }],
  ['12 error', 'E, published', '18FEC100#000000FEFFFFFFFF', { 917: 'error' }],
  ['12 max', 'E, published', '18FEC100#FFFFFFFAFFFFFFFF', { 917: 21_055_406_075 }],
  ['13', 'E, published', '18FEE000#FFFFFFFF80140600', { 245: 49_808 }],
  ['13 max', 'E, published', '18FEE000#FFFFFFFFFFFFFFFA', { 245: 526_385_151.875 }],
  ['14', 'E, published', '18FEE500#FE050000FFFFFFFF', { 247: 76.7 }],
  ['14 max', 'E, published', '18FEE500#FFFFFFFAFFFFFFFF', { 247: 210_554_060.75 }],
  ['24', 'LX, published (speed cut to 789 there)', '0CF00400#F39191AA1800F3FF', { 512: 20, 513: 20, 190: 789.25 }],
  [
    '25',
    'LX, published',
    '18FEF500#C0FFFFFFFF35FFFF',
    { 108: 96, 172: 13, 170: 'absent', 171: 'absent', 79: 'absent' },
  ],
  [
    '33',
    'I, computed',
    '18FEF427#00398025FFFFFFFF',
    {
      929: 0,
      241: 228,
      242: 27,
      1699: 'absent',
      1698: 'absent',
      1697: 'absent',
      6990: 'absent',
      2586: 'absent',
      2587: 'absent',
    },
  ],
  ['34', 'I, computed', '18FEF427#0039C025FFFFFFFF', { 929: 0, 241: 228, 242: 29 }],
  ['35 a', 'I, computed', '18FEF427#103C8025FFFFFFFF', { 929: 0x10, 241: 240, 242: 27 }],
  ['35 b', 'I, computed', '18FEF427#103DC025FFFFFFFF', { 929: 0x10, 241: 244, 242: 29 }],
  ['36', 'I, computed', '18FEF427#00FFFFFFFFFFFFFF', { 929: 0, 241: 'absent', 242: 'absent', 2586: 'absent' }],
  ['37', 'I, computed', '18FEF41D#00400000FFFFFFFF', { 241: 256, 242: -273 }],
  ['38', 'I, computed', '18FEF517#FFFFFF6025FFFFFF', { 171: 26 }],
  ['39 a', 'I, computed', '18F0010B#CFFFFFFFFFCD0BFF', { 563: 0, 1243: 1, 1438: 0 }],
  ['39 b', 'I, computed', '18F0010B#CFFFFFFFFFDC0BFF', { 563: 0, 1243: 0, 1438: 1 }],
  ['39 c', 'I, computed', '18F0010B#DFFFFFFFFFCD0BFF', { 563: 1, 1243: 1 }],
  ['40', 'I, computed', '18FEF10B#7FAB08FFFFFFFFFF', { 84: 8.66796875, 3807: 1, 70: 'absent', 597: 'absent' }],
  ['42', 'I, computed', '18FEC1A7#8015160080151600', { 917: 7_236_480 }],
  ['43', 'I, computed', '18FEE500#63080000FFFFFFFF', { 247: 107.35 }],
  ['44', 'I, computed', '0CF00400#FFFFFFCC24FFFF85', { 190: 1177.5, 2432: 8 }],
  ['50', 'PJ frame, computed', '18FEF131#F7FFFF07CCFFFFFF', { 70: 1, 596: 1, 597: 0, 598: 0, 599: 0, 601: 0 }],
  [
    '51',
    'PJ frame, computed',
    '18F00131#FFFFFF3F00FFFFFF',
    { 969: 0, 970: 'absent', 971: 'absent', 972: 'absent', 973: 0 },
  ],
  [
    'own: stroke status',
    'constructed from the table',
    '18FD710B#80000000060000F0',
    { 3785: 0, 3786: 0, 3787: 2, 3788: 0, 3790: 0, 3795: 0, 3796: 3, 3797: 0, 3798: 0, 3803: 0, 3804: 0 },
  ],
  [
    'own: air',
    'constructed from the table',
    '18FEAE30#7DFF7876FFFFFDFF',
    { 46: 1000, 1086: 'absent', 1087: 960, 1088: 944, 1089: 'absent', 1090: 'absent', 1351: 1, 6305: 'absent' },
  ],
  [
    'own: tire',
    'constructed from the table',
    '18FEF433#12CF2027C17D007F',
    { 929: 0x12, 241: 828, 242: 40, 1699: 1, 1698: 0, 1697: 0, 6990: 'absent', 2586: 12.5, 2587: 3 },
  ],
];

describe('signals of the worked examples', () => {
  it.each(SIGNALS)('example %s (%s)', (_number, _source, text, expected) => {
    const { id, data } = frame(text);
    const fields = new Map(decodeGroup(pgnOf(id), data, data.length).map((field) => [field.spn, field]));
    for (const [spn, value] of Object.entries(expected)) {
      const field = fields.get(Number(spn))!;
      expect([spn, field.quality === 'good' ? field.value : field.quality]).toEqual([spn, value]);
    }
  });
});

type Dm1Row = [
  number: string,
  source: string,
  data: string,
  lit: string[],
  codes: [spn: number, fmi: number, oc: number][],
];

const DM1: Dm1Row[] = [
  ['1', 'PJ, published', '40FF5B000301FFFF', ['mil on'], [[91, 3, 1]]],
  ['2', 'PJ, published', '00FF00000000FFFF', [], []],
  [
    '15',
    'E, published',
    '11CD6102130021061F00EE100400',
    ['redStop on slow', 'protect on fast'],
    [
      [609, 19, 0],
      [1569, 31, 0],
      [4334, 4, 0],
    ],
  ],
  ['26 a', 'LX, published', '57FF9F000301', ['mil on', 'redStop on', 'amber on', 'protect absent'], [[159, 3, 1]]],
  ['26 b', 'LX, published', '57FFFB060B32', ['mil on', 'redStop on', 'amber on', 'protect absent'], [[1787, 11, 50]]],
  ['26 c', 'LX, published', '40FF7F020200', ['mil on'], [[639, 2, 0]]],
  ['46', 'I, computed', '00FF6EF0F11EFFFF', [], [[520302, 17, 30]]],
  [
    '47',
    'I, computed',
    'FFFF26F0FF01FFFF',
    ['mil absent', 'redStop absent', 'amber absent', 'protect absent'],
    [[520230, 31, 1]],
  ],
  ['48', 'I, computed', '04FF00000000FFFF', ['amber on'], []],
  ['old form of none', 'from memory', '00FFFFFFFFFFFFFF', [], []],
];

describe('trouble codes of the worked examples', () => {
  it.each(DM1)('example %s (%s)', (_number, _source, hex, lit, codes) => {
    const data = bytes(hex);
    const dm1 = decodeDm1(data, data.length);
    const lamps = (['mil', 'redStop', 'amber', 'protect'] as const)
      .filter((lamp) => dm1.lamps[lamp] !== 'off')
      .map((lamp) => `${lamp} ${dm1.lamps[lamp]}${dm1.flash[lamp] === 'none' ? '' : ` ${dm1.flash[lamp]}`}`);
    expect(lamps).toEqual(lit);
    expect(dm1.codes.map(({ spn, fmi, oc }) => [spn, fmi, oc])).toEqual(codes);
  });

  it('example 16 (E, published): SPN of 19 bits, and the older packing is marked', () => {
    expect(decodeTroubleCode(bytes('FFFFE000'), 0)).toEqual({ spn: 524287, fmi: 0, oc: 0, cm: 0 });
    expect(decodeTroubleCode(bytes('61021381'), 0)).toEqual({ spn: 609, fmi: 19, oc: 1, cm: 1 });
  });
});

describe('identifiers of the worked examples', () => {
  it.each([
    ['4', 'PJ, published', '18EAFF0B', { priority: 6, pgn: 59904, destination: 255, source: 11 }],
    ['23 a', 'CU, published', '1923FF80', { priority: 6, pgn: 0x12300, destination: 255, source: 0x80 }],
    ['23 b', 'CU, published', '19234080', { priority: 6, pgn: 0x12300, destination: 0x40, source: 0x80 }],
    ['23 c', 'CU, published', '0C02FF80', { priority: 3, pgn: 0x0200, destination: 255, source: 0x80 }],
    ['31', 'CT, published', '14123456', { priority: 5, pgn: 0x1200, destination: 0x34, source: 0x56 }],
    ['41', 'I, computed', '18E8A700', { priority: 6, pgn: 59392, destination: 0xa7, source: 0 }],
  ])('example %s (%s)', (_number, _source, hex, expected) => {
    const id = Number.parseInt(hex, 16);
    expect({ priority: priorityOf(id), pgn: pgnOf(id), destination: destinationOf(id), source: sourceOf(id) }).toEqual(
      expected,
    );
  });

  it('example 31 (CT, published): PGN 0x1EF00 is PDU1 on data page 1', () => {
    const id = 0x19efaa01;
    expect(pgnOf(id)).toBe(0x1ef00);
    expect(isPdu1(id)).toBe(true);
  });

  it('examples 4 and 41: the PGN asked for and answered stands least significant byte first', () => {
    const pgn = { startBit: 0, bits: 24, scale: 1, offset: 0 };
    expect(readerFor(pgn).read(bytes('ECFE00'), 3)).toBe(65260);
    const answer = bytes('03FFFFFFFFDAFE00');
    expect(answer[0]).toBe(3);
    expect(readerFor({ ...pgn, startBit: 40 }).read(answer, 8)).toBe(65242);
  });
});

describe('NAMEs of the worked examples', () => {
  it.each([
    [
      '17',
      'E, published',
      '0000400500006514',
      { manufacturer: 42, vehicleSystem: 50, vehicleSystemInstance: 4, industryGroup: 1 },
    ],
    [
      '18',
      'E, published',
      '10F7450100450001',
      { identity: 390928, manufacturer: 10, function: 69, vehicleSystemInstance: 1 },
    ],
    ['19 a', 'E, published', '4347600500130000', { identity: 18243, manufacturer: 43, function: 19 }],
    ['19 b', 'E, published', '0000E0FF00820000', { manufacturer: 2047, function: 130 }],
    [
      '29',
      'AG, published',
      '0400000135030497',
      {
        hex: '9704033501000004',
        identity: 4,
        manufacturer: 8,
        ecuInstance: 5,
        functionInstance: 6,
        function: 3,
        vehicleSystem: 2,
        vehicleSystemInstance: 7,
        industryGroup: 1,
        arbitraryAddress: true,
      },
    ],
    [
      '30',
      'LX, published',
      '09034B2411050C85',
      {
        identity: 0xb0309,
        manufacturer: 0x122,
        ecuInstance: 1,
        functionInstance: 2,
        function: 5,
        vehicleSystem: 6,
        vehicleSystemInstance: 5,
        industryGroup: 0,
        arbitraryAddress: true,
      },
    ],
  ])('example %s (%s)', (_number, _source, hex, expected) => {
    expect(decodeName(bytes(hex))).toMatchObject(expected);
  });
});

describe('clock of the worked examples', () => {
  it('example 27 (AG, published)', () => {
    expect(decodeTimeDate(bytes('A43116081C267D78'), 8)).toEqual({
      year: 2023,
      month: 8,
      day: 7,
      quarter: 3,
      hour: 22,
      minute: 49,
      second: 41,
      offsetMinutes: -300,
    });
  });

  it.each([37, 38, 39, 40])('example 28 (AG, published): raw day %i is a quarter of day 10', (raw) => {
    expect(decodeTimeDate(bytes(`FFFFFF01${raw.toString(16)}FFFFFF`), 8)).toMatchObject({ day: 10, quarter: raw - 37 });
  });

  it('example 45 (I, computed): 03:55 and nothing else', () => {
    const none = { year: null, month: null, day: null, quarter: null, second: null, offsetMinutes: null };
    expect(decodeTimeDate(bytes('FF3703FFFFFFFFFF'), 8)).toEqual({ ...none, hour: 3, minute: 55 });
  });
});

interface Heard {
  pgn: number;
  sa: number;
  da: number;
  hex: string;
}

function listen(frames: string[]): { heard: Heard[]; transport: Transport } {
  const heard: Heard[] = [];
  const transport = new Transport(
    () => true,
    (_t, pgn, sa, da, data, length) =>
      heard.push({ pgn, sa, da, hex: Buffer.from(data.subarray(0, length)).toString('hex') }),
    newTransportState(),
  );
  frames.forEach((text, i) => {
    const { id, data } = frame(text);
    transport.frame(i * 50, id, data, data.length);
  });
  return { heard, transport };
}

const KICKSTART = '0123456789abcdef0123456789abcdef01234567';
const KICKSTART_PACKETS = ['010123456789ABCD', '02EF0123456789AB', '03CDEF01234567FF'];

describe('transfers of the worked examples', () => {
  it('example 3 (PJ, published): DM1 of four codes by broadcast', () => {
    const { heard } = listen([
      '18ECFF00#20120003FFCAFE00',
      '18EBFF00#0100FF5B0003015C',
      '18EBFF00#020004025D000503',
      '18EBFF00#035E000604FFFFFF',
    ]);
    expect(heard).toMatchObject([{ pgn: 65226, sa: 0, da: 255 }]);
    const dm1 = decodeDm1(bytes(heard[0]!.hex), 18);
    expect(Object.values(dm1.lamps)).toEqual(['off', 'off', 'off', 'off']);
    expect(dm1.codes.map(({ spn, fmi, oc }) => [spn, fmi, oc])).toEqual([
      [91, 3, 1],
      [92, 4, 2],
      [93, 5, 3],
      [94, 6, 4],
    ]);
  });

  it('example 20 (E, published): 21 bytes from 0 to 0xF9', () => {
    const { heard } = listen([
      '18ECF900#10150003FF00EA00',
      '18EC00F9#110301FFFF00EA00',
      '18EBF900#0101020304050607',
      '18EBF900#0208090A0B0C0D0E',
      '18EBF900#030F101112131415',
    ]);
    expect(heard).toEqual([{ pgn: 59904, sa: 0, da: 0xf9, hex: '0102030405060708090a0b0c0d0e0f101112131415' }]);
  });

  it('example 21 (CU, published): 20 bytes of PGN 0x12300 by broadcast', () => {
    const { heard } = listen(['18ECFF80#20140003FF002301', ...KICKSTART_PACKETS.map((data) => `18EBFF80#${data}`)]);
    expect(heard).toEqual([{ pgn: 0x12300, sa: 0x80, da: 255, hex: KICKSTART }]);
  });

  it('example 22 (CU, published): the same from 0x80 to 0x90', () => {
    const { heard, transport } = listen([
      '18EC9080#1014000303002301',
      '18EC8090#110301FFFF002301',
      ...KICKSTART_PACKETS.map((data) => `18EB9080#${data}`),
      '18EC8090#13140003FF002301',
    ]);
    expect(heard).toEqual([{ pgn: 0x12300, sa: 0x80, da: 0x90, hex: KICKSTART }]);
    expect(transport.state.sessions).toEqual([]);
  });

  it('example 32 (PCJ, published): 20 bytes of PGN 65200 from source 1', () => {
    const { heard } = listen([
      '00ECFF01#20140003FFB0FE00',
      '00EBFF01#0101020304050607',
      '00EBFF01#0201020304050607',
      '00EBFF01#03010203040506FF',
    ]);
    expect(heard).toEqual([{ pgn: 65200, sa: 1, da: 255, hex: '0102030405060701020304050607010203040506' }]);
  });

  it('example 49 (I, control frames published, packets ours): 115 bytes in 17 packets', () => {
    const packets = Array.from({ length: 17 }, (_, i) => {
      const seven = Array.from({ length: 7 }, (_byte, j) => (i * 7 + j < 115 ? i * 7 + j : 255));
      return `1CEB2700#${Buffer.from([i + 1, ...seven]).toString('hex')}`;
    });
    const { heard } = listen([
      '1CEC2700#1073001111DAFE00',
      '1CEC0027#111101FFFFDAFE00',
      ...packets,
      '1CEC0027#13730011FFDAFE00',
    ]);
    expect(heard).toMatchObject([{ pgn: 65242, sa: 0, da: 0x27 }]);
    expect(heard[0]!.hex).toBe(Buffer.from(Array.from({ length: 115 }, (_, i) => i)).toString('hex'));
  });

  it('example 52 (I): an end of message with the wrong size, and an abort with an unknown reason, end the transfer', () => {
    const open = ['1CEC1700#1073001111DAFE00', '1CEB1700#0101020304050607'];
    for (const last of ['1CEC0017#13FF0011FFDAFE00', '1CEC1700#FFFEFFFFFFDAFE00', '1CEC0017#FFFEFFFFFFDAFE00']) {
      expect(listen(open).transport.state.sessions).toHaveLength(1);
      const { heard, transport } = listen([...open, last]);
      expect(heard).toEqual([]);
      expect(transport.state.sessions).toEqual([]);
    }
  });
});
