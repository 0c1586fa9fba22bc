import type { StreamMs, WallMs } from '../../daemon/time.js';

/** A stamp may lag the newest one by this much and is then clamped; beyond it begins a seam. */
export const CLAMP_US = 1_000_000;
/** A step forward beyond this is a gap: the caller runs ticks until the pipeline is asleep and skips the rest. */
export const GAP_US = 60_000_000;

export interface StampEvents {
  /** The first stamp has set zero, wall time. Called once, before its frame; not when zero was given. */
  onZero?(zeroMs: WallMs): void;
  /**
   * Stamps went back by more than a second: zero was moved so that the coming frame is at `t`, 1 ms after the one
   * before. Called before that frame; evidence stops as if asleep. `zeroMs` is the new zero, wall time.
   */
  onSeam?(t: StreamMs, zeroMs: WallMs): void;
  /** No line between `from` and `to`, more than 60 s. Called before the frame at `to`. */
  onGap?(from: StreamMs, to: StreamMs): void;
}

/**
 * Log stamps into stream time: t = floor(stamp − zero) in whole milliseconds, never going back.
 *
 * Seconds are whole numbers of at most ten digits, microseconds 0…999,999. All sums stay below 2^53, so nothing is
 * rounded; within one second of the log only small integers are touched.
 */
export class Stamps {
  /** Stamps behind the newest by at most a second; their frames take its time. */
  clamped = 0;
  seams = 0;
  gaps = 0;
  /** Stream time of the last stamp; 0 before the first. */
  t: StreamMs = 0;

  /** Newest stamp, and the stream time at which its second begins (below 0 right after a seam). */
  private sec = -1;
  private us = 0;
  private secondT: StreamMs = 0;
  private readonly events: StampEvents;

  /** @param zeroMs wall time of stream time 0, a whole millisecond; null: the first stamp cut to a whole second. */
  constructor(zeroMs: WallMs | null = null, events: StampEvents = {}) {
    this.events = events;
    if (zeroMs === null) return;
    if (!Number.isInteger(zeroMs) || zeroMs < 0) throw new RangeError(`zero is not a whole millisecond: ${zeroMs}`);
    this.sec = Math.floor(zeroMs / 1000);
    this.us = (zeroMs % 1000) * 1000;
    this.secondT = -(zeroMs % 1000);
  }

  /** Wall time of stream time 0 as of the last stamp; null before the first. */
  get zeroMs(): WallMs | null {
    return this.sec < 0 ? null : this.sec * 1000 - this.secondT;
  }

  at(sec: number, us: number): StreamMs {
    if (sec !== this.sec || us < this.us) return this.otherSecond(sec, us);
    this.us = us;
    this.t = this.secondT + ((us / 1000) | 0);
    return this.t;
  }

  /** Time of what has no stamp of its own: the last one's. */
  again(): StreamMs {
    return this.sec < 0 ? this.at(0, 0) : this.t;
  }

  private otherSecond(sec: number, us: number): StreamMs {
    const ms = (us / 1000) | 0;
    if (this.sec < 0) {
      this.settle(sec, us, 0);
      this.events.onZero?.(sec * 1000);
      return this.t;
    }
    const stepUs = (sec - this.sec) * 1_000_000 + (us - this.us);
    if (stepUs < -CLAMP_US) {
      this.seams++;
      this.settle(sec, us, this.t + 1 - ms);
      this.events.onSeam?.(this.t, sec * 1000 - this.secondT);
      return this.t;
    }
    if (stepUs < 0) {
      this.clamped++;
      return this.t;
    }
    const secondT = this.secondT + (sec - this.sec) * 1000;
    if (stepUs > GAP_US) {
      this.gaps++;
      this.events.onGap?.(this.t, secondT + ms);
    }
    return this.settle(sec, us, secondT);
  }

  private settle(sec: number, us: number, secondT: StreamMs): StreamMs {
    this.sec = sec;
    this.us = us;
    this.secondT = secondT;
    this.t = secondT + ((us / 1000) | 0);
    return this.t;
  }
}
