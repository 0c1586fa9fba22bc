import { setTimeout as sleep } from 'node:timers/promises';
import type { FrameSink } from '../input.js';
import type { StreamMs, WallMs } from '../time.js';

/** Shorter waits are not worth a timer. */
const LEAST_MS = 5;
/** No wait is longer, so that ticks between frames come in time too. */
const LONGEST_MS = 250;

/** Where frames go when their time has come. */
export interface Stream extends FrameSink {
  seam(t: StreamMs, zeroWallMs: WallMs): void;
  /** Nothing comes before t. */
  advance(t: StreamMs): void;
}

/** Keeps what one read of a log gave, and lets it go at N times real time. Holds no more than one read: see READ_BYTES. */
export class Paced implements FrameSink {
  readonly #stream: Stream;
  readonly #speed: number;
  readonly #starts: (t: StreamMs) => boolean;
  readonly #waiting: { t: StreamMs; act: () => void }[] = [];
  /** performance.now() at stream time 0; null before the paced part. */
  #zeroMs: number | null = null;

  /** @param starts false: t still comes as fast as it goes (what lies before `--from`) */
  constructor(stream: Stream, speed: number, starts: (t: StreamMs) => boolean) {
    this.#stream = stream;
    this.#speed = speed;
    this.#starts = starts;
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    const copy = data.slice(0, length);
    this.#waiting.push({ t, act: () => this.#stream.frame(t, bus, id, copy, length) });
  }

  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    const copy = data.slice(0, length);
    this.#waiting.push({ t, act: () => this.#stream.errorFrame(t, bus, id, copy, length) });
  }

  seam(t: StreamMs, zeroWallMs: WallMs): void {
    this.#waiting.push({ t, act: () => this.#stream.seam(t, zeroWallMs) });
  }

  /** Lets go of everything that waits, each at its time. */
  async release(): Promise<void> {
    for (const { t, act } of this.#waiting.splice(0)) {
      await this.until(t);
      act();
    }
  }

  async until(t: StreamMs): Promise<void> {
    if (!this.#starts(t)) return;
    this.#zeroMs ??= performance.now() - t / this.#speed;
    for (;;) {
      const ahead = this.#zeroMs + t / this.#speed - performance.now();
      if (ahead < LEAST_MS) return;
      await sleep(Math.min(ahead, LONGEST_MS));
      const now = Math.floor((performance.now() - this.#zeroMs) * this.#speed);
      this.#stream.advance(Math.min(now, t));
    }
  }
}
