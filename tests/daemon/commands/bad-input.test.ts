import { mkdirSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { beforeAll, describe, expect, it } from 'vitest';
import { axlepost, canonical, changes, type Ended, lampLog, replayHere, START_S, temp, text } from './helpers.js';

/** Lines of 100 s: number 161 (from 1) is the first with the lamp on, 481 the first with it off again. */
const LINES = lampLog();
const GOOD = text(LINES);

const replay = (path: string): Promise<Ended> => canonical([path]);

let good: Ended;
beforeAll(async () => {
  good = await replay(temp('good.log', GOOD));
  expect({ code: good.code, changes: changes(good.out) }).toEqual({ code: 0, changes: ['raised', 'cleared'] });
});

/** The log with these lines put in after line 200, while the lamp is on. */
const withLines = (...lines: string[]): string => text([...LINES.slice(0, 200), ...lines, ...LINES.slice(200)]);
const S = START_S + 24;

interface Case {
  what: string;
  content: string | Uint8Array;
  code: number;
  /** What is said before the summary; FILE stands for the path. */
  said: string[];
  /** What the summary adds; default: nothing. */
  note?: string;
  /** The same events as the good log (default), none, or these changes. */
  events?: string[];
}

const CASES: Case[] = [
  {
    what: 'a last line that is cut short',
    content: `${GOOD}(1772456500.000000) can0 18FECA00#00FF00000`,
    code: 0,
    said: ['FILE:801:43: cut short: odd number of hex digits; a byte is two digits; the line may be cut short'],
    note: '1 bad lines',
  },
  { what: 'CRLF', content: GOOD.replaceAll('\n', '\r\n'), code: 0, said: [] },
  { what: 'blank lines', content: withLines('', '   ', ''), code: 0, said: [] },
  {
    what: 'a binary file',
    content: Uint8Array.from({ length: 5000 }, (_, n) => (n * 7919) & 255),
    code: 1,
    said: ['FILE: not a log of CAN: binary; expected candump text, pcap or pcapng, each also gzipped'],
    events: [],
  },
  { what: 'an empty file', content: '', code: 1, said: ['FILE: has no frames; the file is empty'], events: [] },
  {
    what: 'a file of other text',
    content: 'hello\n',
    code: 1,
    said: [
      'FILE: not a log of CAN: text of another kind; line 1: no stamp in brackets; record with candump -L or candump -t a',
    ],
    note: '1 bad lines',
    events: [],
  },
  {
    what: 'a gzip cut short',
    content: gzipSync(GOOD).subarray(0, -600),
    code: 1,
    said: ['FILE: gzip data cut short; what came before is used'],
    events: ['raised'],
  },
  {
    what: 'stamps that go back by less than a second',
    content: withLines(`(${S}.500000) can0 0CF00400#F07D7D401F00FFFF`),
    code: 0,
    said: [],
    note: '1 stamps clamped',
  },
  {
    what: 'stamps that go back by a day',
    content: text([...LINES.slice(0, 200), ...lampLog({ seconds: 75, on: [0, 35], startS: START_S - 86_400 })]),
    code: 0,
    said: [],
    note: '1 seams',
    // Evidence stops at the seam; the lamp was lit before it for long enough neither way.
    events: ['raised', 'cleared'],
  },
  {
    what: 'stamps that jump a day ahead',
    content: text([...LINES, ...lampLog({ startS: START_S + 86_400 })]),
    code: 0,
    said: [],
    events: ['raised', 'cleared', 'raised', 'cleared'],
  },
  {
    what: 'odd hex',
    content: withLines(`(${S}.800000) can0 18FECA00#10FF6`, `(${S}.800000) can0 18FECA00#10FG640001010000`),
    code: 0,
    said: [
      'FILE:201:39: odd number of hex digits; a byte is two digits; the line may be cut short',
      'FILE:202:38: not a hex digit',
    ],
    note: '2 bad lines',
  },
  {
    what: 'over-long data',
    content: withLines(`(${S}.800000) can0 18FECA00#10FF64000101FFFFFF`),
    code: 0,
    said: ['FILE:201:35: 9 data bytes; a frame has at most 8'],
    note: '1 bad lines',
  },
  {
    what: 'an id out of range',
    content: withLines(`(${S}.800000) can0 FFFFFFFF#00`, `(${S}.800000) can0 FFF#00`, `(${S}.800000) can0 18FE#00`),
    code: 0,
    said: [
      'FILE:201:26: id out of range; the largest 29-bit id is 1FFFFFFF',
      'FILE:202:26: id out of range; the largest 11-bit id is 7FF',
      'FILE:203:26: bad id; an id is 3 hex digits, or 8 for 29 bits',
    ],
    note: '3 bad lines',
  },
  {
    what: 'mixed interfaces',
    content: withLines(`(${S}.800000) can7 18FECA00#00FF00000000FFFF`, `(${S}.810000) can7 18FECA00#00FF00000000FFFF`),
    code: 0,
    said: ['FILE:201: interface can7 is no bus of the truck file; its frames are skipped; add it to buses to use them'],
    note: '2 from other interfaces',
  },
  {
    what: 'an interface of another name',
    content: text(lampLog({ iface: 'vcan3' })),
    code: 0,
    said: ['FILE:1: interface vcan3 is taken as the only bus; name it in the truck file (buses) if that is right'],
  },
  {
    what: '11-bit, RTR, error and FD frames',
    content: withLines(
      `(${S}.800000) can0 123#0011`,
      `(${S}.800000) can0 18FECA00#R8`,
      `(${S}.800000) can0 20000088#0000080000000000`,
      `(${S}.800000) can0 18FECA00##10011223344556677889900AA`,
    ),
    code: 0,
    said: [],
    note: '1 error frames, 1 11-bit, 1 RTR, 1 FD',
  },
];

describe('a log with mistakes: clear lines, and every good frame is used', () => {
  it.each(CASES)('$what', async ({ what, content, code, said, note, events }) => {
    const path = temp(`${what.replaceAll(/\W/g, '-')}.log`, content);
    const got = await replay(path);
    const lines = got.err.trimEnd().split('\n');
    const summary = lines.pop();
    // Where unpacked text breaks off is up to the packer, and so whether half a line is left.
    const packed = content instanceof Buffer;
    const toldAtCut = (line: string): boolean => packed && line.includes(': cut short: ');
    expect(lines.filter((line) => !toldAtCut(line)).map((line) => line.replace(path, 'FILE'))).toEqual(said);
    expect(summary).toMatch(/^\d+:\d\d:\d\d of traffic, \d+ frames, \d+ of interest, \d+ events?/);
    if (!packed) expect(summary?.split('; ')[1]).toBe(note);
    expect(got.code).toBe(code);
    if (events === undefined) expect(got.out).toBe(good.out);
    else expect(changes(got.out)).toEqual(events);
  });

  it('a missing file, and a folder', async () => {
    const { code, out, err } = await replay(temp('missing.log'));
    expect({ code, out, err }).toEqual({
      code: 1,
      out: '',
      err: `${temp('missing.log')}: no such file; check the path\n`,
    });
    mkdirSync(temp('empty-folder'));
    expect(await replay(temp('empty-folder'))).toEqual({
      code: 1,
      out: '',
      err: `${temp('empty-folder')}: there is no log in it\n`,
    });
  });

  it('a damaged log among good ones costs only itself', async () => {
    const parts = [LINES.slice(0, 400), LINES.slice(400)].map((lines, n) => temp(`around-${n}.log`, text(lines)));
    const bad = temp('between.log', Uint8Array.of(0x7f, 0x45, 0x4c, 0x46, 0, 0, 0, 1));
    const { code, out, err } = await canonical([parts[0]!, bad, parts[1]!]);
    expect(code).toBe(1);
    expect(out).toBe(good.out);
    expect(err).toContain(`${bad}: not a log of CAN: a program`);
  });
});

describe('a truck file with mistakes: file, line, column and what to write, exit code 2, in every command', () => {
  const FILE = `fleet: northline
truck: T-1
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {kind: steer, tires: single, coldPressure: 120 psi, chamber: {type: 20}}
      - {kind: drive, tires: dual, coldPressure: 100 psi, chamber: {type: 30}}
tirePositions: {main/51: {"0x10": tractor/2/left/outer}}
`;
  const MISTAKES: [what: string, from: string, to: string, line: RegExp][] = [
    ['an unknown key', 'truck: T-1', 'truk: T-1', /^FILE:2:1: .*truk.*truck/],
    ['a wrong unit', '120 psi', '120 mm', /^FILE:7:\d+: .* — .*(psi|kPa)/],
    ['no unit', '120 psi', '120', /^FILE:7:\d+: .* — .*(psi|kPa)/],
    ['a missing axle', 'tractor/2/left/outer', 'tractor/3/left/outer', /^FILE:9:\d+: .* — .+/],
    [
      'a duplicate position',
      '"0x10": tractor/2/left/outer',
      '"0x10": tractor/2/left/outer, "0x11": tractor/2/left/outer',
      /^FILE:9:\d+: .* — .+/,
    ],
    ['YAML that does not parse', 'buses: [{name: main', 'buses: [{name: main,,', /^FILE:3:\d+: .* — .+/],
  ];

  it.each(MISTAKES)('%s', async (what, from, to, line) => {
    const path = temp(`${what.replaceAll(' ', '-')}.yaml`, FILE.replace(from, to));
    const got = await Promise.all([
      axlepost(['check', path]),
      replayHere([temp('any.log', GOOD)], { config: path }),
      axlepost(['run', '--config', path]),
    ]);
    for (const { code, out, err } of got) {
      expect({ code, out }).toEqual({ code: 2, out: '' });
      for (const told of err.trimEnd().split('\n')) expect(told).toMatch(/^\S+\.yaml:\d+:\d+: .+/);
      expect(err.split('\n').map((told) => told.replace(path, 'FILE'))).toContainEqual(expect.stringMatching(line));
    }
  });

  it('the file itself is good', async () => {
    expect((await axlepost(['check', temp('fine.yaml', FILE)])).code).toBe(0);
  });
});
