import type { TakeFrame } from './frame-queue.js';
import type { Scenario } from './scenario.js';

/** `(1772456461.007000) ` and what else a line may have besides interface and data. */
const LONGEST_LINE = 80;
const FIRST_BYTES = 1 << 16;
const HEX = new TextEncoder().encode('0123456789ABCDEF');
const ZERO = 0x30;
const DATA_BYTES = 8;

/** Frames as the text of `candump -L`, byte by byte: the same lines as `candumpLine`, several times as fast. */
export class CandumpText {
  /** So far. */
  frames = 0;
  private bytes = Buffer.allocUnsafe(FIRST_BYTES);
  private length = 0;
  private readonly startS: number;
  private readonly name: Uint8Array;
  private stampS = -1;
  private stamp: Uint8Array = new Uint8Array();

  constructor(scenario: Scenario) {
    this.startS = Math.floor(Date.parse(scenario.start) / 1000);
    this.name = new TextEncoder().encode(`000) ${scenario.interface} `);
  }

  readonly frame: TakeFrame = (t, id, data) => {
    if (this.length + LONGEST_LINE > this.bytes.length) this.grow();
    const seconds = Math.floor(t / 1000);
    if (seconds !== this.stampS) {
      this.stampS = seconds;
      this.stamp = new TextEncoder().encode(`(${this.startS + seconds}.`);
    }
    const { bytes, stamp, name } = this;
    let at = this.length;
    for (let i = 0; i < stamp.length; i += 1) bytes[at++] = stamp[i]!;
    const ms = t - 1000 * seconds;
    bytes[at++] = ZERO + Math.floor(ms / 100);
    bytes[at++] = ZERO + (Math.floor(ms / 10) % 10);
    bytes[at++] = ZERO + (ms % 10);
    for (let i = 0; i < name.length; i += 1) bytes[at++] = name[i]!;
    for (let shift = 28; shift >= 0; shift -= 4) bytes[at++] = HEX[(id >>> shift) & 15]!;
    bytes[at++] = 0x23;
    for (let i = 0; i < DATA_BYTES; i += 1) {
      bytes[at++] = HEX[data[i]! >> 4]!;
      bytes[at++] = HEX[data[i]! & 15]!;
    }
    bytes[at++] = 0x0a;
    this.length = at;
    this.frames += 1;
  };

  /** The text since the last call. */
  take(): Buffer {
    const text = Buffer.from(this.bytes.subarray(0, this.length));
    this.length = 0;
    return text;
  }

  private grow(): void {
    const wide = Buffer.allocUnsafe(2 * this.bytes.length);
    this.bytes.copy(wide, 0, 0, this.length);
    this.bytes = wide;
  }
}
