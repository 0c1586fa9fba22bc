import type { FrameSink } from '../../daemon/input.js';
import { CandumpLine } from './candump-line.js';
import { DECIMAL_PAIR, HEX_PAIR } from './hex.js';
import { type InterfaceName, type Interfaces, UNKNOWN_BUS } from './interfaces.js';
import type { FrameCounts } from './log-counts.js';
import type { Stamps } from './stamps.js';

/** PDU format, PDU specific and the page bits: index into the table of what is of interest. */
export const INTEREST_SIZE = 2 ** 18;

export interface FrameReaderOptions {
  /** 2^18 entries by (id >>> 8) & 0x3ffff; 0: the frame is skipped. */
  interest: Uint8Array;
  /** Index of the bus behind an interface name, −1 where it is none. */
  busOf(name: string): number;
  /** The truck file has one bus: a log whose first interface has another name is taken for it. */
  oneBus?: boolean;
  sink: FrameSink;
}

/** What all files of one stream of time share, whatever their form. */
export interface Stream {
  stamps: Stamps;
  interfaces: Interfaces;
  counters: FrameCounts;
}

/** `(ssssssssss.uuuuuu) ` + interface + ` iiiiiiii#` + 16 digits + line end, the interface up to 16 bytes. */
const LONGEST_PLAIN = 64;
const LONGEST_PLAIN_NAME = 16;
const STAMP_BYTES = 20;
const [LF, CR, SPACE, HASH] = [0x0a, 0x0d, 0x20, 0x23];
/** `)` and space, as a little-endian word. */
const STAMP_END = 0x2029;

/**
 * Lines → frames of interest to the sink, everything else to the counters.
 *
 * A line is *plain* when it has a 29-bit id, the stamp's second of the line before and an interface seen before. Plain
 * lines cost some tens of nanoseconds, no allocation, and are checked to the last digit; all others go through
 * CandumpLine.
 */
export class FrameReader {
  /** The line that was read last, where it was not plain. */
  readonly line = new CandumpLine();
  private readonly options: FrameReaderOptions;
  private readonly stamps: Stamps;
  private readonly interfaces: Interfaces;
  private readonly counters: FrameCounts;
  private readonly tell: (column: number | null, text: string, hint: string) => void;

  /** What plain lines begin with: twelve bytes of stamp as words, then the interface. */
  private second = 0;
  private readonly secondWords = new Int32Array(3);
  private name: InterfaceName | null = null;
  private bus = UNKNOWN_BUS;

  /** @param tell told of problems of the line that `counters.lines` counted last */
  constructor(
    options: FrameReaderOptions,
    { stamps, interfaces, counters }: Stream,
    tell: (column: number | null, text: string, hint: string) => void,
  ) {
    this.options = options;
    this.stamps = stamps;
    this.interfaces = interfaces;
    this.counters = counters;
    this.tell = tell;
  }

  /** Between two files what an interface stands for may change. */
  forget(): void {
    this.name = null;
  }

  /** Plain lines from p on; returns where the first line begins that is not plain, or not whole. */
  takePlain(bytes: Uint8Array, view: DataView, p: number): number {
    const { stamps, interfaces, second, counters } = this;
    const { interest, sink } = this.options;
    const { data } = this.line;
    const word0 = this.secondWords[0]!;
    const word1 = this.secondWords[1]!;
    const word2 = this.secondWords[2]!;
    let { name, bus } = this;
    if (name === null) return p;
    const limit = bytes.length - LONGEST_PLAIN;
    let lines = 0;
    let unknown = 0;
    let interesting = 0;
    while (p <= limit) {
      if (view.getInt32(p, true) !== word0 || view.getInt32(p + 4, true) !== word1) break;
      if (view.getInt32(p + 8, true) !== word2 || view.getUint16(p + 18, true) !== STAMP_END) break;
      const micros = view.getInt32(p + 12, true);
      const u0 = DECIMAL_PAIR[micros & 0xffff]!;
      const u1 = DECIMAL_PAIR[micros >>> 16]!;
      const u2 = DECIMAL_PAIR[view.getUint16(p + 16, true)]!;
      let q = p + STAMP_BYTES;
      if (!standsAt(bytes, view, q, name)) {
        const other = interfaces.recall(bytes, q, LONGEST_PLAIN_NAME);
        if (other === null) break;
        name = other;
        bus = interfaces.bus;
      }
      q += name.length + 1;
      const high = view.getInt32(q, true);
      const low = view.getInt32(q + 4, true);
      const i0 = HEX_PAIR[high & 0xffff]!;
      const i1 = HEX_PAIR[high >>> 16]!;
      const i2 = HEX_PAIR[low & 0xffff]!;
      const i3 = HEX_PAIR[low >>> 16]!;
      if ((u0 | u1 | u2 | i0 | i1 | i2 | i3) < 0 || i0 > 0x1f || bytes[q + 8] !== HASH) break;
      q += 9;
      const isWanted = bus >= 0 && interest[((i0 & 3) << 16) | (i1 << 8) | i2] !== 0;
      let length = 8;
      if (bytes[q + 16] !== LF) {
        length = readUpTo8(view, q, data);
        q += 2 * length;
        if (bytes[q] === CR) q++;
        if (bytes[q] !== LF) break;
      } else if (read8(view, q, isWanted ? data : null)) q += 16;
      else break;
      p = q + 1;
      lines++;
      const t = stamps.at(second, u0 * 10000 + u1 * 100 + u2);
      if (bus < 0) unknown++;
      else if (isWanted) {
        interesting++;
        sink.frame(t, bus, (i0 << 24) | (i1 << 16) | (i2 << 8) | i3, data, length);
      }
    }
    this.name = name;
    this.bus = bus;
    counters.lines += lines;
    counters.frames += lines;
    counters.unknownInterface += unknown;
    counters.interesting += interesting;
    return p;
  }

  /** Any line, bytes[start, end) without its LF. `prefix` goes before the words of a problem. */
  takeLine(bytes: Uint8Array, start: number, end: number, prefix = ''): void {
    const { line, counters } = this;
    counters.lines++;
    if (end > start && bytes[end - 1] === CR) end--;
    const kind = line.parse(bytes, start, end);
    if (kind === 'blank') counters.blank++;
    else if (kind === 'note') counters.notes++;
    else if (kind === 'bad') counters.bad++;
    else this.takeFrame(bytes, start);
    if (line.text !== '') this.tell(line.column, prefix + line.text, line.hint);
  }

  private takeFrame(bytes: Uint8Array, start: number): void {
    const { line, counters, interfaces } = this;
    const { interest, sink } = this.options;
    counters.frames++;
    const name = interfaces.find(bytes, line.ifaceStart, line.ifaceEnd);
    const { bus } = interfaces;
    this.name = name !== null && name.length <= LONGEST_PLAIN_NAME ? name : null;
    this.bus = bus;
    this.learnSecond(bytes, start);
    const t = this.stamps.at(line.sec, line.us);
    if (bus < 0) counters.unknownInterface++;
    else if (line.kind === 'rtr') counters.rtr++;
    else if (line.kind === 'fd') counters.fd++;
    else if (line.kind === 'short') counters.shortIds++;
    else if (line.kind === 'error') {
      counters.errorFrames++;
      sink.errorFrame(t, bus, line.id, line.data, line.length);
    } else if (interest[(line.id >>> 8) & (INTEREST_SIZE - 1)] !== 0) {
      counters.interesting++;
      sink.frame(t, bus, line.id, line.data, line.length);
    }
  }

  /** Makes lines of this line's second plain, where its stamp is laid out as theirs. */
  private learnSecond(bytes: Uint8Array, start: number): void {
    if (bytes[start] !== 0x28 || bytes[start + 11] !== 0x2e || bytes[start + 18] !== 0x29) return;
    for (let word = 0, p = start; word < 3; word++, p += 4) {
      this.secondWords[word] = bytes[p]! | (bytes[p + 1]! << 8) | (bytes[p + 2]! << 16) | (bytes[p + 3]! << 24);
    }
    this.second = this.line.sec;
  }
}

/** Does the name stand there, and a space behind it? Of usual names its first four bytes and its last four with the space are the whole. */
function standsAt(bytes: Uint8Array, view: DataView, at: number, name: InterfaceName): boolean {
  const { length } = name;
  if (length >= 3 && length <= 7)
    return view.getInt32(at, true) === name.head && view.getInt32(at + length - 3, true) === name.tail;
  for (let n = 0; n < length; n++) if (bytes[at + n] !== name.bytes[n]) return false;
  return bytes[at + length] === SPACE;
}

/** Sixteen hex digits into `data`, where somebody wants them; false where one is none. Four at once: most of a log is this. */
function read8(view: DataView, at: number, data: Uint8Array | null): boolean {
  const word0 = view.getInt32(at, true);
  const word1 = view.getInt32(at + 4, true);
  const word2 = view.getInt32(at + 8, true);
  const word3 = view.getInt32(at + 12, true);
  const d0 = HEX_PAIR[word0 & 0xffff]!;
  const d1 = HEX_PAIR[word0 >>> 16]!;
  const d2 = HEX_PAIR[word1 & 0xffff]!;
  const d3 = HEX_PAIR[word1 >>> 16]!;
  const d4 = HEX_PAIR[word2 & 0xffff]!;
  const d5 = HEX_PAIR[word2 >>> 16]!;
  const d6 = HEX_PAIR[word3 & 0xffff]!;
  const d7 = HEX_PAIR[word3 >>> 16]!;
  if ((d0 | d1 | d2 | d3 | d4 | d5 | d6 | d7) < 0) return false;
  if (data === null) return true;
  data[0] = d0;
  data[1] = d1;
  data[2] = d2;
  data[3] = d3;
  data[4] = d4;
  data[5] = d5;
  data[6] = d6;
  data[7] = d7;
  return true;
}

/** Pairs of hex digits into `data`, at most eight; gives how many. */
function readUpTo8(view: DataView, at: number, data: Uint8Array): number {
  let length = 0;
  for (; length < 8; length++, at += 2) {
    const byte = HEX_PAIR[view.getUint16(at, true)]!;
    if (byte < 0) break;
    data[length] = byte;
  }
  return length;
}
