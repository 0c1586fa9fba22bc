import type { SignalReader, SignalShape } from '../j1939/decode.js';
import type { StreamMs } from '../time.js';

/** Codes of at most so many bits are counted one by one. */
const CODE_BITS = 5;

/** What one signal of one sender said. */
export class Values {
  /** Times it was looked for in a frame: = good + absent + error + other. */
  count = 0;
  good = 0;
  /** Not available, or the frame was too short. */
  absent = 0;
  error = 0;
  /** Reserved or signal-specific codes. */
  other = 0;
  /** Of the good ones; NaN before the first. */
  last = Number.NaN;
  least = Number.NaN;
  most = Number.NaN;
  lastAt: StreamMs | null = null;
  /** Frames by raw code, for codes of a few bits; else empty. */
  readonly codes: number[];

  /** @param bits length of a code that is to be counted; 0: a number */
  constructor(bits = 0) {
    this.codes = bits > 0 && bits <= CODE_BITS ? new Array<number>(2 ** bits).fill(0) : [];
  }

  take(t: StreamMs, reader: SignalReader<SignalShape>, data: Uint8Array, length: number): void {
    const value = reader.read(data, length);
    this.count++;
    if (reader.quality === 'good') this.#good(t, value);
    else if (reader.quality === 'absent') this.absent++;
    else if (reader.quality === 'error') this.error++;
    else this.other++;
    if (this.codes.length > 0 && !Number.isNaN(reader.raw)) this.codes[reader.raw]!++;
  }

  /** A value that another has found good. */
  put(t: StreamMs, value: number): void {
    this.count++;
    this.#good(t, value);
  }

  miss(quality: 'absent' | 'error' | 'other'): void {
    this.count++;
    this[quality]++;
  }

  /** Was there a good value from least to most? A sender that has nothing to tell may send a raw 0. */
  isWithin(least: number, most: number): boolean {
    return this.good > 0 && this.most >= least && this.least <= most;
  }

  #good(t: StreamMs, value: number): void {
    this.good++;
    this.last = value;
    this.lastAt = t;
    if (!(value >= this.least)) this.least = value;
    if (!(value <= this.most)) this.most = value;
  }
}
