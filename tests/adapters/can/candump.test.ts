import { describe, expect, test } from 'vitest';
import { LogParser } from '../../../adapters/can/log-parser.js';
import fc from '../../support/property.js';
import { readText, readTexts } from './collect.js';

const GOOD = '(0000000100.250000) can0 18FEF100#FF00112233445566';
const GOOD_FRAME = { kind: 'frame', t: 250, bus: 0, id: 0x18fef100, data: 'ff00112233445566' };

describe('plain lines', () => {
  test('give time, bus, id and data of any length', () => {
    const lengths = Array.from({ length: 9 }, (_, n) => `(0000000100.25${n}999) can0 0CF0${n}00B#${'A5'.repeat(n)}\n`);
    // Twice: the first line of a second is read by the complete parser, the others are plain.
    const { frames, counts, problems } = readText(
      lengths.join('') + lengths.join('').replaceAll('(0000000100.25', '(0000000100.26'),
    );
    expect(frames.slice(0, 9)).toEqual(
      Array.from({ length: 9 }, (_, n) => ({
        kind: 'frame',
        t: 250 + n,
        bus: 0,
        id: 0x0cf0000b + n * 0x1000,
        data: 'a5'.repeat(n),
      })),
    );
    expect(frames).toHaveLength(18);
    expect(counts).toMatchObject({ lines: 18, frames: 18, interesting: 18, bad: 0 });
    expect(problems).toEqual([]);
  });

  test('are skipped when their group is not of interest, and move the time all the same', () => {
    const interest = new Uint8Array(2 ** 18);
    interest[0xfef1] = 1;
    interest[0x1fef1] = 1;
    const text = ['18FEF100', '18FEF200', '19FEF10B', '1AFEF10B', '18FEF200']
      .map((id, n) => `(0000000100.10${n}000) can0 ${id}#0102030405060708\n`)
      .join('')
      .repeat(2);
    const { frames, counts, lastT } = readText(text, { interest });
    expect(frames.map(({ id }) => id)).toEqual([0x18fef100, 0x19fef10b, 0x18fef100, 0x19fef10b]);
    expect(counts).toMatchObject({ frames: 10, interesting: 4, clamped: 4 });
    expect(lastT).toBe(104);
  });

  test('may have lower-case digits, CR LF ends and blank lines between', () => {
    const text = `${GOOD}\r\n${GOOD.replace('18FEF100#FF', '18fef100#fF')}\r\n\r\n\n  \t\n${GOOD}\r\n`;
    const { frames, counts, problems } = readText(text);
    expect(frames).toEqual([GOOD_FRAME, GOOD_FRAME, GOOD_FRAME]);
    expect(counts).toMatchObject({ lines: 6, blank: 3, frames: 3, bad: 0 });
    expect(problems).toEqual([]);
  });

  test('after a byte order mark', () => {
    expect(readText(`\xef\xbb\xbf${GOOD}\n`)).toMatchObject({ frames: [GOOD_FRAME], problems: [] });
  });
});

describe('other ways to write a frame', () => {
  // Formats as candump 2020.11 and its manual page have them; direction columns and -t A likewise.
  test.each([
    ['candump -t a', ' (0000000100.250000)  can0  18FEF100   [8]  FF 00 11 22 33 44 55 66'],
    ['candump -t a -a', " (0000000100.250000)  can0  18FEF100   [8]  FF 00 11 22 33 44 55 66   '..\"3DUf.'"],
    ['candump -t a -x', ' (0000000100.250000)  can0  RX - -  18FEF100   [8]  FF 00 11 22 33 44 55 66'],
    ['candump -t z', ' (000.250000)  can0  18FEF100   [8]  FF 00 11 22 33 44 55 66'],
    ['candump -t A', ' (2026-03-02 14:03:11.250000)  can0  18FEF100   [8]  FF 00 11 22 33 44 55 66'],
    ['tabs', '(100.250000)\tcan0\t18FEF100#FF00112233445566'],
    ['bytes with points', '(100.250000) can0 18FEF100#FF.00.11.22.33.44.55.66'],
    ['a direction at the end', '(0000000100.250000) can0 18FEF100#FF00112233445566 R'],
    ['milliseconds', '(100.250) can0 18FEF100#FF00112233445566'],
    ['nanoseconds', '(100.250000999) can0 18FEF100#FF00112233445566'],
    ['a fraction that makes the stamp as long as a plain one', '(100.2500009999999) can0 18FEF100#FF00112233445566'],
  ])('%s', (_name, line) => {
    const { frames, problems } = readText(`${line}\n`.repeat(4));
    expect(problems).toEqual([]);
    expect(frames).toEqual(Array(4).fill(GOOD_FRAME));
  });

  test('candump -t A: the wall clock is taken as UTC', () => {
    const { zeroMs } = readText(' (2026-03-02 14:03:11.250000)  can0  18FEF100   [0]\n');
    expect(zeroMs).toBe(Date.UTC(2026, 2, 2, 14, 3, 11));
  });

  test('empty data in both forms', () => {
    const { frames } = readText(`(1.000000) can0 18FEF100#\n (1.000000)  can0  18FEF100   [0] \n`);
    expect(frames.map(({ data }) => data)).toEqual(['', '']);
  });
});

describe('frames that are not ours', () => {
  test.each([
    ['shortIds', '(1.0) can0 7FF#0102030405060708'],
    ['shortIds', ' (1.0)  can0  123   [2]  AA BB'],
    ['rtr', '(1.0) can0 18FEF100#R'],
    ['rtr', '(1.0) can0 1F8A3FB7#R3'],
    ['rtr', '(1.0) can0 123#R8'],
    ['rtr', ' (1.0)  can0  18FEF100   [3]  remote request'],
    ['fd', '(1.0) can0 18FEF100##1FF00'],
    ['fd', `(1.0) can0 123##0${'AB'.repeat(64)}`],
    ['fd', ` (1.0)  can0  18FEF100  [12]  ${'0A '.repeat(12)}`],
    ['fd', ' (1.0)  can0  18FEF100  [08]  01 02 03 04 05 06 07 08'],
    ['unknownInterface', '(1.0) vcan7 18FEF100#FF00'],
  ])('are counted as %s: %s', (kind, line) => {
    const { frames, counts } = readText(`${line}\n${line}\n`);
    expect(frames).toEqual([]);
    expect(counts).toMatchObject({ frames: 2, [kind]: 2, bad: 0, interesting: 0 });
  });

  test('error frames go to errorFrame with their class bits, in both forms', () => {
    const text =
      '(1.000000) can0 20000008#0000000000000000\n' +
      ' (1.000000)  can0  20000004   [8]  00 04 00 00 00 00 00 00   ERRORFRAME\n\tcontroller-problem{rx-error-warning}\n';
    const { frames, counts } = readText(text);
    expect(frames).toEqual([
      { kind: 'error', t: 0, bus: 0, id: 8, data: '0000000000000000' },
      { kind: 'error', t: 0, bus: 0, id: 4, data: '0004000000000000' },
    ]);
    expect(counts).toMatchObject({ lines: 3, frames: 2, errorFrames: 2, notes: 1, bad: 0 });
  });

  test('a count of lost frames is told', () => {
    const { counts, problems } = readText(`${GOOD}\nDROPCOUNT: dropped 3 CAN frames on 'can0' socket\n${GOOD}\n`);
    expect(counts).toMatchObject({ frames: 2, notes: 1, bad: 0 });
    expect(problems).toEqual([expect.stringMatching(/^x\.log:2:1: the recorder lost frames here; /)]);
  });
});

describe('bad lines are told with their place, counted, and cost only themselves', () => {
  // [column, words, line]
  test.each([
    [1, 'no stamp in brackets', 'can0  18FEF100   [8]  FF 00 11 22 33 44 55 66'],
    [1, 'no stamp in brackets', 'hello'],
    [2, 'bad stamp', '(abc.000000) can0 18FEF100#FF'],
    [2, 'bad stamp', '(100) can0 18FEF100#FF'],
    [2, 'bad stamp', '(100.) can0 18FEF100#FF'],
    [2, 'bad stamp', '(100.25x000) can0 18FEF100#FF'],
    [2, 'bad stamp', '(-100.250000) can0 18FEF100#FF'],
    [2, 'bad stamp', '(2026-13-02 14:03:11.250000) can0 18FEF100#FF'],
    [2, 'bad stamp', '(0000000100.2500'],
    [2, 'stamp out of range', '(00000000100.250000) can0 18FEF100#FF'],
    [25, 'no frame after the interface', '(0000000100.250000) can0'],
    [26, 'bad id', '(0000000100.250000) can0 18FEF1#FF'],
    [26, 'bad id', '(0000000100.250000) can0 18FEF10G#FF'],
    [26, 'bad id', '(0000000100.250000) can0 018FEF100#FF'],
    [26, 'id out of range', '(0000000100.250000) can0 40000000#FF'],
    [26, 'id out of range', '(0000000100.250000) can0 98FEF100#FF'],
    [26, 'id out of range', '(0000000100.250000) can0 800#FF'],
    [34, "neither '#' nor '[' after the id", '(0000000100.250000) can0 18FEF100'],
    [34, "neither '#' nor '[' after the id", '(0000000100.250000) can0 18FEF100:FF'],
    [37, 'odd number of hex digits', '(0000000100.250000) can0 18FEF100#FF0'],
    [49, 'odd number of hex digits', '(0000000100.250000) can0 18FEF100#FF0011223344556'],
    [38, 'not a hex digit', '(0000000100.250000) can0 18FEF100#FF0G112233445566'],
    [37, 'not a hex digit', '(0000000100.250000) can0 18FEF100#FFx0112233445566'],
    [35, '9 data bytes', '(0000000100.250000) can0 18FEF100#FF0011223344556677'],
    [35, '12 data bytes', `(0000000100.250000) can0 18FEF100#${'00'.repeat(12)}`],
    [36, 'length over 8 in a remote frame', '(0000000100.250000) can0 18FEF100#R9'],
    [36, 'no flags after ##', '(0000000100.250000) can0 18FEF100##'],
    [37, '65 data bytes', `(0000000100.250000) can0 18FEF100##0${'00'.repeat(65)}`],
    [39, '9 data bytes', '(0000000100.250000)  can0  18FEF100  [9]  00 00 00 00 00 00 00 00 00'],
    [39, 'bad length', '(0000000100.250000)  can0  18FEF100  [x]  00'],
    [48, '2 of 3 data bytes', '(0000000100.250000)  can0  18FEF100  [3]  00 11'],
    [49, 'more than 2 data bytes', '(0000000100.250000)  can0  18FEF100  [2]  00 11 22'],
    [43, 'not a hex byte', '(0000000100.250000)  can0  18FEF100  [2]  00`11'],
    [43, 'not a hex byte', '(0000000100.250000)  can0  18FEF100  [1]  01010101'],
    [38, 'NUL bytes in the line', '(0000000100.250000) can0 18FEF100#FF0\0\0\0\0\0\0\0'],
  ])('%i: %s: %s', (column, words, line) => {
    const { frames, counts, problems, lastT } = readText(`${GOOD}\n${GOOD}\n${line}\n${GOOD}\n`);
    expect(frames).toEqual([GOOD_FRAME, GOOD_FRAME, GOOD_FRAME]);
    expect(counts).toMatchObject({ lines: 4, frames: 3, bad: 1 });
    expect(problems).toHaveLength(1);
    expect(problems[0]!.split('; ')[0]).toBe(`x.log:3:${column}: ${words}`);
    expect(lastT).toBe(250);
  });

  test('twenty a file in words, the rest as a number', () => {
    const bad = 'hello\n';
    const { problems, counts } = readTexts([bad.repeat(23), bad.repeat(20), bad.repeat(21)]);
    expect(counts.bad).toBe(64);
    expect(problems).toHaveLength(21 + 20 + 21);
    expect(problems[20]).toBe('x.log: 3 more problems like these');
    expect(problems[21]).toMatch(/^x\.log:1:1: /);
    expect(problems.at(-1)).toBe('x.log: 1 more problem like these');
  });

  test('a line without end is dropped at 4096 bytes', () => {
    const long = 'x'.repeat(4097);
    const { frames, counts, problems } = readText(`${GOOD}\n${long}\n${GOOD}\n${long}${long}`);
    expect(frames).toHaveLength(2);
    expect(counts).toMatchObject({ lines: 4, bad: 2 });
    expect(problems.map((line) => line.split('; ')[0])).toEqual([
      'x.log:2: line longer than 4096 bytes',
      'x.log:4: line longer than 4096 bytes',
    ]);
  });

  test('NUL bytes at the end, as a power cut leaves them, after good lines', () => {
    const { frames, problems } = readText(`${GOOD}\n${'\0'.repeat(700)}`);
    expect(frames).toEqual([GOOD_FRAME]);
    expect(problems).toEqual([expect.stringContaining('x.log:2:1: cut short: NUL bytes in the line')]);
  });
});

describe('the last line without a line end', () => {
  test('is taken when it is whole', () => {
    const columns = ' (0000000100.250000)  can0  18FEF100   [3]  FF 00 11';
    expect(readText(`${GOOD}\n${GOOD}`)).toMatchObject({ frames: [GOOD_FRAME, GOOD_FRAME], problems: [] });
    expect(readText(`${GOOD}\n${GOOD}\r`)).toMatchObject({ frames: [GOOD_FRAME, GOOD_FRAME], problems: [] });
    expect(readText(`${GOOD}\n${columns}`)).toMatchObject({ frames: [GOOD_FRAME, { data: 'ff0011' }], problems: [] });
  });

  test('is told as cut short when it is not, wherever the cut is', () => {
    for (let cut = 1; cut < GOOD.length; cut++) {
      const { frames, counts, problems } = readText(`${GOOD}\n${GOOD.slice(0, cut)}`);
      const wholeBytes = cut >= '(0000000100.250000) can0 18FEF100#'.length && cut % 2 === 0;
      expect(frames).toHaveLength(wholeBytes ? 2 : 1);
      expect(counts.bad).toBe(wholeBytes ? 0 : 1);
      expect(problems).toEqual([
        expect.stringMatching(/^x\.log:2:?\d*: (cut short: |no line end; taken as a frame of )/),
      ]);
    }
  });
});

describe('stamps that are none', () => {
  test('differences between stamps (candump -t d) are told, not taken for times', () => {
    const text = Array.from({ length: 400 }, (_, n) => ` (000.00${n % 2 ? 1 : 9}000)  can0  18FEF100   [1]  00\n`).join(
      '',
    );
    const { problems } = readText(text);
    expect(problems).toEqual([expect.stringMatching(/^x\.log: \d+ stamps go backwards; .*-t d/)]);
  });
});

describe('interfaces', () => {
  const line = (name: string, data: string) => `(0000000001.000000) ${name} 18FEF100#${data}\n`;

  test('are told once each, and skipped, when the truck file does not know them', () => {
    const { frames, counts, problems } = readText(
      line('can0', '01') + line('can1', '02').repeat(3) + line('can0', '03'),
    );
    expect(frames.map(({ data }) => data)).toEqual(['01', '03']);
    expect(counts).toMatchObject({ frames: 5, unknownInterface: 3, interesting: 2 });
    expect(problems).toEqual([expect.stringMatching(/^x\.log:2: interface can1 is no bus of the truck file; /)]);
  });

  test('several buses mixed line by line', () => {
    const busOf = (name: string) => ['can0', 'can1', 'slcan_long'].indexOf(name);
    const mixed = line('can0', '01') + line('slcan_long', '02') + line('can1', '03') + line('can2', '04');
    const { frames, counts } = readText(mixed.repeat(5), { busOf });
    expect(frames.map(({ bus, data }) => `${bus}${data}`)).toEqual(Array(5).fill(['001', '202', '103']).flat());
    expect(counts.unknownInterface).toBe(5);
  });

  test.each(Array.from({ length: 18 }, (_, n) => n + 1))('of %i bytes, unlike in one of them or longer', (length) => {
    const name = 'slcan0123456789abc'.slice(0, length);
    const others = Array.from(name, (_, at) => `${name.slice(0, at)}X${name.slice(at + 1)}`);
    const names = [name, ...others, `${name}0`, `${name}01`];
    const busOf = (given: string) => names.indexOf(given);
    const text = names.map((each) => line(each, '0102030405060708').repeat(3)).join('');
    const { frames } = readText(text.repeat(2), { busOf });
    const buses = names.flatMap((_, bus) => [bus, bus, bus]);
    expect(frames.map(({ bus }) => bus)).toEqual([...buses, ...buses]);
  });

  test('with one bus in the truck file the first name of the log is taken for it', () => {
    const { frames, problems, counts } = readText(
      line('can1', '01').repeat(2) + line('can2', '02') + line('can1', '03'),
      {
        oneBus: true,
      },
    );
    expect(frames.map(({ bus, data }) => `${bus}${data}`)).toEqual(['001', '001', '003']);
    expect(counts.unknownInterface).toBe(1);
    expect(problems.map((text) => text.split(';')[0])).toEqual([
      'x.log:1: interface can1 is taken as the only bus',
      'x.log:3: interface can2 is no bus of the truck file',
    ]);
  });

  test('… until the configured name turns up', () => {
    const text = line('can1', '01').repeat(2) + line('can0', '02').repeat(2) + line('can1', '03').repeat(2);
    const { frames, problems } = readText(text, { oneBus: true });
    expect(frames.map(({ data }) => data)).toEqual(['01', '01', '02', '02']);
    expect(problems[1]).toBe('x.log:3: interface can0 comes after all; frames of can1 are skipped from here on');
  });

  test('… and not at all when the configured name came first', () => {
    const { frames } = readText(line('can0', '01') + line('can1', '02'), { oneBus: true });
    expect(frames.map(({ data }) => data)).toEqual(['01']);
  });

  test('a flood of names is counted without being remembered', () => {
    const { counts, problems } = readText(Array.from({ length: 300 }, (_, n) => line(`x${n}`, '01')).join(''));
    expect(counts.unknownInterface).toBe(300);
    expect(problems).toHaveLength(21);
  });
});

describe('time over several files', () => {
  const at = (second: number, us = '000000') => `(${String(second).padStart(10, '0')}.${us}) can0 18FEF100#00\n`;

  test('is one stream; line numbers begin anew', () => {
    const { frames, problems, steps } = readTexts([at(100) + at(101), `${at(102)}hello\n`]);
    expect(frames.map(({ t }) => t)).toEqual([0, 1000, 2000]);
    expect(problems).toEqual([expect.stringMatching(/^x\.log:2:1: /)]);
    expect(steps).toEqual([]);
  });

  test('gaps and seams are told before the frame that shows them, also by frames that are skipped', () => {
    const interest = new Uint8Array(2 ** 18);
    const { steps, counts, zeroMs } = readTexts([at(100) + at(500, '500000'), at(50)], { interest });
    expect(steps).toEqual([
      ['gap', 0, 400_500],
      ['seam', 400_501, 50_000 - 400_501],
    ]);
    expect(counts).toMatchObject({ gaps: 1, seams: 1, clamped: 0 });
    expect(zeroMs).toBe(50_000 - 400_501);
  });

  test('bad lines do not move it', () => {
    const { steps, lastT } = readText(`${at(100)}(0999999999.000000) can0 18FEF100#0\n${at(101)}`);
    expect(steps).toEqual([]);
    expect(lastT).toBe(1000);
  });

  test('zero can be given', () => {
    const { frames } = readText(at(100, '999999'), { zeroMs: 98_500 });
    expect(frames[0]!.t).toBe(2499);
  });
});

describe('how the text is cut up changes nothing', () => {
  const pieces = [
    GOOD,
    GOOD.replace('can0', 'can1'),
    '(0000000101.000000) can0 0CF00400#F0FF7D0000',
    '(0000000101.500000) can0 18EAFF00#00EE00\r',
    '(0000000099.900000) can0 18FEF100#01',
    '(0000000900.000000) can0 20000008#0000000000000000',
    ' (0000000101.250000)  can0  18FEF100   [2]  FF 00',
    '(0000000101.000000) can0 123#00',
    '(0000000101.000000) can0 18FEF100##1AA',
    '(0000000101.000000) can0 18FEF100#ABC',
    '(0000000101.000000) can0 18FEF10',
    '',
    '\0\0',
    'y'.repeat(4100),
  ];
  const text = fc.tuple(fc.array(fc.constantFrom(...pieces), { maxLength: 60 }), fc.boolean());
  const cuts = fc.array(fc.oneof(fc.integer({ min: 1, max: 9 }), fc.integer({ min: 10, max: 3000 })), {
    minLength: 1,
    maxLength: 20,
  });

  test('for any lines and any chunks', () => {
    fc.assert(
      fc.property(text, cuts, ([lines, ended], lengths) => {
        const whole = lines.join('\n') + (ended ? '\n' : '');
        expect(readText(whole, {}, lengths)).toEqual(readText(whole));
      }),
    );
  });

  test('for any one byte changed in plain lines', () => {
    // Behind the first KB, chunks of one byte leave no line plain: all are read by the complete parser.
    const before = Math.ceil(1024 / (GOOD.length + 1));
    const lines = Buffer.from(`${GOOD}\n`.repeat(before + 5), 'latin1');
    const hit = fc.tuple(
      fc.nat(2 * GOOD.length),
      fc.oneof(fc.nat(255), fc.constantFrom(...Buffer.from('\r\n 0Ff#R.()-\0x'))),
    );
    fc.assert(
      fc.property(hit, ([at, byte]) => {
        const bytes = Uint8Array.from(lines);
        bytes[before * (GOOD.length + 1) + at] = byte;
        expect(JSON.stringify(readText(bytes))).toBe(JSON.stringify(readText(bytes, {}, [1])));
      }),
      { numRuns: 300 },
    );
  });

  test('for any bytes at all', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 3000 }), cuts, (bytes, lengths) => {
        const whole = readText(bytes);
        expect(readText(bytes, {}, lengths)).toEqual(whole);
        const { lines, blank, notes, bad, frames } = whole.counts;
        expect(lines).toBe(blank + notes + bad + frames);
      }),
    );
  });
});

test('a table of the wrong size is our own mistake', () => {
  const sink = { frame: () => {}, errorFrame: () => {} };
  expect(() => new LogParser({ interest: new Uint8Array(8), busOf: () => 0, sink })).toThrow(RangeError);
});
