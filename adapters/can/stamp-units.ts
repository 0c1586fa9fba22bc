/** Largest stamp of candump text, so that all forms have the same limits. */
const MOST_SECONDS = 9_999_999_999;
/** Finest resolutions that are read: a picosecond, 2^-38 s. Every product of them below is exact. */
const FINEST = { decimal: 12, binary: 38 } as const;
const BINARY = 0x80;
const MICRO = 1_000_000;

/** 64-bit stamps in units of a second's part → whole seconds and microseconds, exact and without allocation. */
export class StampUnits {
  /** Of the last `set`. */
  sec = 0;
  us = 0;
  private readonly perSecond: number;
  private readonly binary: boolean;
  private readonly offsetS: number;
  /** The second of the last stamp begins at baseHigh · 2^32 + baseLow units. */
  private baseHigh = 0;
  private baseLow = 1;

  /**
   * @param perSecond units per second, as `resolution` gives them
   * @param offsetS seconds to add
   */
  constructor(perSecond = MICRO, offsetS = 0, binary = false) {
    this.perSecond = perSecond;
    this.binary = binary;
    this.offsetS = offsetS;
  }

  /** if_tsresol of pcapng: a power of ten, or of two with the upper bit set. null: finer than anything that is read. */
  static resolution(byte: number): { perSecond: number; binary: boolean } | null {
    const power = byte & 0x7f;
    const binary = (byte & BINARY) !== 0;
    if (power > (binary ? FINEST.binary : FINEST.decimal)) return null;
    return { perSecond: binary ? 2 ** power : 10 ** power, binary };
  }

  /** Sets sec and us; false where the stamp is out of range. */
  set(high: number, low: number): boolean {
    const units = (high - this.baseHigh) * 2 ** 32 + (low - this.baseLow);
    if (units >= 0 && units < this.perSecond) {
      this.us = this.micros(units);
      return this.inRange;
    }
    return this.setSecond(high, low);
  }

  private get inRange(): boolean {
    return this.sec >= 0 && this.sec <= MOST_SECONDS;
  }

  /** Long division, a byte of the lower word at a time: no intermediate value reaches 2^53. */
  private setSecond(high: number, low: number): boolean {
    const { perSecond } = this;
    let quotient = Math.floor(high / perSecond);
    let rest = high % perSecond;
    for (let shift = 24; shift >= 0; shift -= 8) {
      rest = rest * 256 + ((low >>> shift) & 0xff);
      const digit = Math.floor(rest / perSecond);
      rest -= digit * perSecond;
      quotient = quotient * 256 + digit;
    }
    this.sec = quotient + this.offsetS;
    this.us = this.micros(rest);
    this.baseHigh = high;
    this.baseLow = low - rest;
    return this.inRange;
  }

  private micros(units: number): number {
    const { perSecond } = this;
    // 10^6 is 15,625 · 2^6: the product stays below 2^53, and the division is one by a power of two.
    if (this.binary) return Math.floor((units * (MICRO / 64)) / (perSecond / 64));
    return perSecond >= MICRO ? Math.floor(units / (perSecond / MICRO)) : units * (MICRO / perSecond);
  }
}
