import { HEX_DIGIT, HEX_PAIR } from './hex.js';

/** What is wrong with a line that no candump wrote. */
export const NO_STAMP = 'no stamp in brackets';

/**
 * `data`: a 29-bit frame. `error`: a CAN error frame. `short`: an 11-bit id. `note`: words that candump itself adds
 * (`-e` explanations, lost-frame counts). `bad`: column, text and hint say why.
 */
export type LineKind = 'data' | 'error' | 'short' | 'rtr' | 'fd' | 'blank' | 'note' | 'bad';

/** Flag that SocketCAN sets in the id of an error frame (linux/can.h, CAN_ERR_FLAG). */
const ERROR_FLAG = 0x20000000;
const ID_MASK = 0x1fffffff;
const STAMP_DIGITS = 10;
const MAX_DATA = 8;
const MAX_FD_DATA = 64;

const TAB = 0x09;
const SPACE = 0x20;
const code = (character: string): number => character.charCodeAt(0);
const isBlank = (byte: number): boolean => byte === SPACE || byte === TAB;
const isDigit = (byte: number): boolean => byte >= 0x30 && byte <= 0x39;

/**
 * One line of `candump -L` (`(sec.usec) iface ID#DATA`) or `candump -t a|A|z` (`(sec.usec)  iface  ID   [n]  D0 D1 …`),
 * read byte by byte with a place for every mistake. Complete, and slow beside the loop in candump.ts, which gives it
 * only the lines that are not plain. The fields are reused: valid until the next `parse`.
 */
export class CandumpLine {
  kind: LineKind = 'blank';
  /** Stamp: whole seconds, and microseconds 0…999,999. */
  sec = 0;
  us = 0;
  /** The interface name stands in bytes[ifaceStart, ifaceEnd). */
  ifaceStart = 0;
  ifaceEnd = 0;
  /** 29 or 11 bits; of an error frame its class bits. */
  id = 0;
  /** Data bytes of a data or error frame, in data[0, length). */
  length = 0;
  readonly data = new Uint8Array(MAX_DATA);
  /** Why a line is bad; the column counts from 1. */
  column = 0;
  text = '';
  hint = '';

  private bytes: Uint8Array = this.data;
  private start = 0;
  private end = 0;
  private p = 0;
  private errorId = false;

  /** Reads bytes[start, end), a line without its line end. */
  parse(bytes: Uint8Array, start: number, end: number): LineKind {
    this.bytes = bytes;
    this.start = start;
    while (end > start && isBlank(bytes[end - 1]!)) end--;
    this.end = end;
    this.p = start;
    this.kind = 'data';
    this.text = '';
    if (end === start) this.kind = 'blank';
    else if (this.isNote()) this.kind = 'note';
    else if (!this.readFrame()) this.kind = 'bad';
    if (this.kind === 'bad' && bytes.subarray(start, end).includes(0)) {
      this.fail(bytes.indexOf(0, start), 'NUL bytes in the line', 'the recorder may have lost power here');
    }
    return this.kind;
  }

  private readFrame(): boolean {
    if (!this.readStamp() || !this.readInterface() || !this.readId()) return false;
    if (this.at(this.p) === code('#')) return this.readCompact();
    this.skipBlanks();
    if (this.at(this.p) === code('[')) return this.readColumns();
    return this.fail(this.p, "neither '#' nor '[' after the id", 'a frame is ID#DATA or ID [n] DATA');
  }

  private isNote(): boolean {
    if (this.at(this.start) === TAB) return true;
    if (this.at(this.start) !== code('D') || !this.wordsAt(this.start).startsWith('DROPCOUNT:')) return false;
    this.column = 1;
    this.text = 'the recorder lost frames here';
    this.hint = 'give the socket a larger receive buffer (candump -r)';
    return true;
  }

  private readStamp(): boolean {
    this.skipBlanks();
    if (this.at(this.p) !== code('(')) {
      return this.fail(this.p, NO_STAMP, 'record with candump -L or candump -t a');
    }
    const from = ++this.p;
    const whole = this.decimal(STAMP_DIGITS);
    if (this.p - from === 4 && this.at(this.p) === code('-')) return this.readDate(from);
    if (this.p === from) return this.fail(from, 'bad stamp', STAMP_HINT);
    if (isDigit(this.at(this.p))) return this.fail(from, 'stamp out of range', STAMP_HINT);
    this.sec = whole;
    return this.readFraction(from);
  }

  /** `2026-03-02 14:03:11.000000` of `candump -t A`: local time of an unknown place, taken as UTC; only steps matter. */
  private readDate(from: number): boolean {
    const words = /^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(?=\.)/.exec(this.wordsAt(from))?.[0] ?? '';
    const ms = Date.parse(`${words.replace(' ', 'T')}Z`);
    if (Number.isNaN(ms) || ms < 0) return this.fail(from, 'bad stamp', STAMP_HINT);
    this.sec = ms / 1000;
    this.p = from + words.length;
    return this.readFraction(from);
  }

  private readFraction(from: number): boolean {
    if (this.at(this.p) !== code('.')) return this.fail(from, 'bad stamp', STAMP_HINT);
    const first = ++this.p;
    this.us = this.decimal(6);
    const digits = this.p - first;
    this.us *= 10 ** (6 - digits);
    while (isDigit(this.at(this.p))) this.p++;
    if (digits === 0 || this.at(this.p) !== code(')')) return this.fail(from, 'bad stamp', STAMP_HINT);
    this.p++;
    return true;
  }

  private readInterface(): boolean {
    this.skipBlanks();
    this.ifaceStart = this.p;
    this.skipWord();
    this.ifaceEnd = this.p;
    this.skipBlanks();
    // `candump -x` prints direction and the FD flags before the id, e.g. `RX - -` or `TX B E`.
    const direction = this.at(this.p);
    if ((direction === code('R') || direction === code('T')) && this.at(this.p + 1) === code('X')) {
      for (let column = 0; column < 3; column++) {
        this.skipWord();
        this.skipBlanks();
      }
    }
    return this.p < this.end || this.fail(this.p, 'no frame after the interface', 'the line may be cut short');
  }

  private readId(): boolean {
    const from = this.p;
    let id = 0;
    for (; HEX_DIGIT[this.at(this.p)]! >= 0 && this.p - from < 9; this.p++) id = id * 16 + HEX_DIGIT[this.at(this.p)]!;
    const digits = this.p - from;
    if (digits !== 3 && digits !== 8) return this.fail(from, 'bad id', 'an id is 3 hex digits, or 8 for 29 bits');
    this.errorId = digits === 8 && id >= ERROR_FLAG && id < 2 * ERROR_FLAG;
    if (digits === 8 && id > ID_MASK && !this.errorId) {
      return this.fail(from, 'id out of range', 'the largest 29-bit id is 1FFFFFFF');
    }
    if (digits === 3 && id > 0x7ff) return this.fail(from, 'id out of range', 'the largest 11-bit id is 7FF');
    this.id = id & ID_MASK;
    this.kind = this.errorId ? 'error' : digits === 3 ? 'short' : 'data';
    return true;
  }

  private readCompact(): boolean {
    this.p++;
    if (this.at(this.p) === code('R')) return this.readCompactRemote();
    let limit = MAX_DATA;
    if (this.at(this.p) === code('#')) {
      this.kind = 'fd';
      limit = MAX_FD_DATA;
      if (HEX_DIGIT[this.at(this.p + 1)]! < 0) return this.fail(this.p + 1, 'no flags after ##', FD_HINT);
      this.p += 2;
    }
    const from = this.p;
    let length = 0;
    for (; HEX_DIGIT[this.at(this.p)]! >= 0; length++) {
      const byte = this.hexByte();
      if (byte < 0) {
        if (HEX_DIGIT[this.at(this.p + 1)]! < 0 && this.endsAt(this.p + 1)) {
          return this.fail(this.p, 'odd number of hex digits', 'a byte is two digits; the line may be cut short');
        }
        return this.fail(this.p + 1, 'not a hex digit', '');
      }
      if (length < MAX_DATA) this.data[length] = byte;
      this.p += 2;
      if (this.at(this.p) === code('.')) this.p++;
    }
    this.length = length;
    if (!this.endsAt(this.p)) return this.fail(this.p, 'not a hex digit', '');
    if (length <= limit) return true;
    return this.fail(from, `${length} data bytes`, `a ${this.kind === 'fd' ? 'FD ' : ''}frame has at most ${limit}`);
  }

  private readCompactRemote(): boolean {
    this.kind = 'rtr';
    this.p++;
    if (isDigit(this.at(this.p))) {
      if (this.at(this.p) > code('8')) return this.fail(this.p, 'length over 8 in a remote frame', '');
      this.p++;
    }
    return this.endsAt(this.p) || this.fail(this.p, 'unexpected text after a remote frame', '');
  }

  /** `[8]  FF 00 …`; two digits in the brackets mark an FD frame. */
  private readColumns(): boolean {
    const from = ++this.p;
    const length = this.decimal(2);
    const digits = this.p - from;
    if (digits === 0 || this.at(this.p) !== code(']')) return this.fail(from, 'bad length', 'expected [0] to [8]');
    if (digits === 2) this.kind = 'fd';
    const limit = digits === 2 ? MAX_FD_DATA : MAX_DATA;
    if (length > limit) return this.fail(from, `${length} data bytes`, `a frame has at most ${limit}`);
    this.p++;
    this.skipBlanks();
    if (this.at(this.p) === code('r') && this.wordsAt(this.p) === 'remote request') {
      this.kind = 'rtr';
      return true;
    }
    for (let at = 0; at < length; at++, this.skipBlanks()) {
      if (this.p >= this.end) return this.fail(this.p, `${at} of ${length} data bytes`, 'the line may be cut short');
      const byte = this.hexByte();
      if (byte < 0 || !(this.p + 2 >= this.end || isBlank(this.at(this.p + 2)))) {
        return this.fail(this.p, 'not a hex byte', 'record without -S and -i');
      }
      if (at < MAX_DATA) this.data[at] = byte;
      this.p += 2;
    }
    this.length = length;
    if (this.p < this.end && HEX_DIGIT[this.at(this.p)]! >= 0 && !this.errorId) {
      return this.fail(this.p, `more than ${length} data bytes`, 'the length in the brackets is smaller');
    }
    return true;
  }

  /** The line is over here, or only a direction (`R`, `T`) and flags follow, as newer writers add them. */
  private endsAt(p: number): boolean {
    if (p >= this.end) return true;
    return isBlank(this.at(p)) && /^[ \t]+[RT]( [BE-])*$/.test(this.wordsAt(p));
  }

  private hexByte(): number {
    return HEX_PAIR[this.at(this.p) | (this.at(this.p + 1) << 8)]!;
  }

  /** At most `most` digits; none give 0. */
  private decimal(most: number): number {
    let value = 0;
    const end = this.p + most;
    for (; this.p < end && isDigit(this.at(this.p)); this.p++) value = value * 10 + this.at(this.p) - 0x30;
    return value;
  }

  private skipBlanks(): void {
    while (this.p < this.end && isBlank(this.at(this.p))) this.p++;
  }

  private skipWord(): void {
    while (this.p < this.end && !isBlank(this.at(this.p))) this.p++;
  }

  private wordsAt(p: number): string {
    return latin1(this.bytes, p, this.end);
  }

  /** The byte at p; 0, which is part of nothing, behind the end of the line. */
  private at(p: number): number {
    return p < this.end ? this.bytes[p]! : 0;
  }

  private fail(p: number, text: string, hint: string): false {
    this.kind = 'bad';
    this.column = p - this.start + 1;
    this.text = text;
    this.hint = hint;
    return false;
  }
}

const STAMP_HINT = 'expected (seconds.microseconds), at most 10 digits before the point';
const FD_HINT = 'an FD frame is ID##, one digit of flags, data';

export function latin1(bytes: Uint8Array, start: number, end: number): string {
  return end <= start ? '' : Buffer.from(bytes.buffer, bytes.byteOffset + start, end - start).toString('latin1');
}
