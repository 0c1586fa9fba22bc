import type { StreamMs, WallMs } from '../../daemon/time.js';

const LF = 0x0a;
const SPACE = 0x20;
const HASH = 0x23;
const ZERO = 0x30;
const [OPEN, CLOSE, POINT] = [0x28, 0x29, 0x2e];
/** Flag of an error frame in its id (linux/can.h, CAN_ERR_FLAG); candump prints it. */
const ERROR_FLAG = 0x20000000;
const ID_MASK = 0x1fffffff;
const STAMP_DIGITS = 10;
/** `(` + seconds + `.` */
const SECOND_BYTES = STAMP_DIGITS + 2;
const MAX_DATA = 8;

const DIGITS = Buffer.from('0123456789ABCDEF', 'latin1');
/** Both hex digits of a byte, one after the other. */
const HEX = Uint8Array.from({ length: 512 }, (_, n) => DIGITS[n % 2 === 0 ? n >> 5 : (n >> 1) & 0xf]!);

/**
 * Frames as lines of `candump -L`: `(1700000000.123000) can0 18FEF533#0102030405060708`, into bytes that the caller has.
 * Nothing is allocated for a line. The stamp is zero + t, so it never steps.
 */
export class LineWriter {
  /** Bytes that must be free for one line. */
  readonly longest: number;
  readonly #zeroMs: WallMs;
  readonly #names: readonly Uint8Array[];
  /** `(1700000000.` of the second of the line before. */
  readonly #second = new Uint8Array(SECOND_BYTES);
  #secondFrom = Number.NaN;

  /** @param zeroMs wall time of stream time 0, at least 0; names: of the interfaces, by number of the bus */
  constructor(zeroMs: WallMs, names: readonly string[]) {
    this.#zeroMs = zeroMs;
    this.#names = names.map((name) => Buffer.from(`${name} `, 'latin1'));
    this.longest = Math.max(0, ...this.#names.map((name) => name.length)) + SECOND_BYTES + 8 + 9 + 2 * MAX_DATA + 1;
  }

  /** Writes the line at `at`; returns where the next one goes. */
  write(
    out: Uint8Array,
    at: number,
    t: StreamMs,
    bus: number,
    id: number,
    data: Uint8Array,
    length: number,
    isError: boolean,
  ): number {
    const ms = this.#zeroMs + t - this.#secondFrom;
    let p = this.#stamp(out, at, ms >= 0 && ms < 1000 ? ms : this.#otherSecond(t));
    const name = this.#names[bus]!;
    for (let n = 0; n < name.length; n++) out[p++] = name[n]!;
    const shown = isError ? (id & ID_MASK) | ERROR_FLAG : id & ID_MASK;
    for (let shift = 24; shift >= 0; shift -= 8) {
      const pair = ((shown >>> shift) & 0xff) << 1;
      out[p++] = HEX[pair]!;
      out[p++] = HEX[pair + 1]!;
    }
    out[p++] = HASH;
    for (let n = 0; n < length && n < MAX_DATA; n++) {
      const pair = data[n]! << 1;
      out[p++] = HEX[pair]!;
      out[p++] = HEX[pair + 1]!;
    }
    out[p++] = LF;
    return p;
  }

  #stamp(out: Uint8Array, p: number, ms: number): number {
    for (let n = 0; n < SECOND_BYTES; n++) out[p++] = this.#second[n]!;
    out[p++] = ZERO + ((ms / 100) | 0);
    out[p++] = ZERO + (((ms / 10) | 0) % 10);
    out[p++] = ZERO + (ms % 10);
    out[p++] = ZERO;
    out[p++] = ZERO;
    out[p++] = ZERO;
    out[p++] = CLOSE;
    out[p++] = SPACE;
    return p;
  }

  /** Milliseconds into the second of t, whose digits are kept. */
  #otherSecond(t: StreamMs): number {
    const wallMs = this.#zeroMs + t;
    let seconds = Math.floor(wallMs / 1000);
    this.#secondFrom = seconds * 1000;
    this.#second[0] = OPEN;
    for (let n = STAMP_DIGITS; n > 0; n--, seconds = Math.floor(seconds / 10)) this.#second[n] = ZERO + (seconds % 10);
    this.#second[SECOND_BYTES - 1] = POINT;
    return wallMs - this.#secondFrom;
  }
}
