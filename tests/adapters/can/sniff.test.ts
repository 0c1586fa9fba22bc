import { describe, expect, test } from 'vitest';
import { interfaceOf } from '../../../adapters/can/interfaces.js';
import { sniff } from '../../../adapters/can/sniff.js';
import { readTexts } from './collect.js';

const GOOD = '(0000000100.250000) can0 18FEF100#FF00112233445566\n';
const hex = (text: string) => Buffer.from(text, 'hex');

describe('what a file is, by its content', () => {
  test.each([
    ['pcap', hex('d4c3b2a1020004000000000000000000ffff0000e3000000')],
    ['pcap', hex('a1b2c3d4')],
    ['pcap', hex('4d3cb2a1')],
    ['pcap', hex('a1b23c4d')],
    ['pcapng', hex('0a0d0d0a1c000000')],
    ['candump', Buffer.from(GOOD)],
    ['candump', Buffer.from(' (100.250000)  can0  18FEF100   [1]  FF\n')],
    ['candump', Buffer.from('(100.250000) can0 18FEF100#FF\0\0\0\n')],
    ['candump', Buffer.from('')],
    ['candump', Buffer.from('words of any kind\n')],
  ])('%s', (form, head) => expect(sniff(head)).toBe(form));
});

// First bytes and lines as the formats' descriptions have them; of text, as its writers make them.
const OTHERS: readonly (readonly [what: string, head: Buffer])[] = [
  ['binary', Buffer.from([1, 2, 3, 0, 5])],
  ['binary', Buffer.concat([Buffer.alloc(1000, 'some words\n'), Buffer.alloc(100)])],
  ['a pcap capture in an older, changed form', hex('34cdb2a102000400')],
  ['gzip data in gzip data', hex('1f8b0800')],
  ['zstd data', hex('28b52ffd24')],
  ['xz data', hex('fd377a585a00')],
  ['bzip2 data', Buffer.from('BZh91AY')],
  ['lz4 data', hex('04224d18')],
  ['a 7z archive', hex('377abcaf271c')],
  ['a zip archive', Buffer.from('PK\x03\x04\x14\x00', 'latin1')],
  ['a rar archive', Buffer.from('Rar!\x1a\x07', 'latin1')],
  [
    'a tar archive',
    Buffer.concat([
      Buffer.from('MANIFEST.json'),
      Buffer.alloc(244),
      Buffer.from('ustar\x0000', 'latin1'),
      Buffer.alloc(248),
    ]),
  ],
  ['a BLF log', Buffer.from('LOGG\x90\x00', 'latin1')],
  ['an MDF log', Buffer.from('MDF     4.10    ')],
  ['an MDF log that was not finished', Buffer.from('UnFinMF 4.10    ')],
  ['a SQLite database', Buffer.from('SQLite format 3\0')],
  ['an ASC log', Buffer.from('date Mon Mar 2 14:03:11.000 2026\nbase hex  timestamps absolute\n')],
  ['an ASC log', Buffer.from('base hex  timestamps absolute\n')],
  ['a TRC log', Buffer.from(';$FILEVERSION=2.1\n')],
  ['candump text without stamps', Buffer.from('  can0  18FEF100   [8]  FF 00 11 22 33 44 55 66\n')],
  ['JSON', Buffer.from('{"v":1,"truck":"T-1042"}')],
  ['JSON', Buffer.from('[\n {"a":1}]')],
  ['YAML', Buffer.from('fleet: northline\ntruck: T-1042\n')],
  ['YAML', Buffer.from('---\nname: x\n')],
  ['XML or HTML', Buffer.from('<?xml version="1.0"?>')],
  ['a table (CSV)', Buffer.from('Time (s),ID,Extended,Dir,Bus,LEN,D1\n0.000,18FEF100,true,Rx,0,1,FF\n')],
  ['a table (CSV)', Buffer.from('timestamp;id;data\n')],
  ['a PDF document', Buffer.from('%PDF-1.7\n')],
  ['a JPEG picture', hex('ffd8ffe0')],
  ['UTF-16 text', Buffer.from(`\ufeff${GOOD}`, 'utf16le')],
];

describe('what is not read is named as such, in one line, and the next file is read', () => {
  test.each(OTHERS)('%s', (what, head) => {
    const { frames, problems, refused, counts } = readTexts([head, GOOD]);
    expect(refused).toEqual([true, false]);
    expect(problems).toEqual([expect.stringMatching(/^x\.log: not a log of CAN: [^;]+; .{10,}/)]);
    expect(problems[0]).toContain(`not a log of CAN: ${what};`);
    expect(frames).toHaveLength(1);
    expect(counts).toMatchObject({ lines: 1, packets: 0 });
  });
});

describe('what a capture without a name for its interface is taken for', () => {
  test.each([
    ['can1.pcap', 'can1'],
    ['/media/stick/can0-2026-03-02.pcap.gz', 'can0'],
    ['vcan7', 'vcan7'],
    ['slcan0_b.pcap', 'slcan0'],
    ['shift-1.pcap', 'unnamed'],
    ['can1up.pcap', 'unnamed'],
    ['scan1.pcap', 'unnamed'],
    ['-', 'unnamed'],
  ])('%s: %s', (path, name) => expect(interfaceOf(path)).toBe(name));
});
