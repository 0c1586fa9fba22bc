import { type IntervalHistogram, monitorEventLoopDelay } from 'node:perf_hooks';
import type { LoopHealth } from './health.js';

/** The loop is looked at this often. What the histogram has is the time between two looks. */
const LOOK_MS = 10;
const MINUTE_MS = 60_000;

/** How long the event loop was held, minute by minute. */
export class LoopDelay {
  readonly #histogram: IntervalHistogram = monitorEventLoopDelay({ resolution: LOOK_MS });
  readonly #timer: NodeJS.Timeout;
  #lastMinute: LoopHealth | null = null;

  constructor() {
    this.#histogram.enable();
    this.#timer = setInterval(() => {
      this.#lastMinute = this.#soFar();
      this.#histogram.reset();
    }, MINUTE_MS);
    this.#timer.unref();
  }

  /** The last whole minute; in the first one, so far. */
  get health(): LoopHealth {
    return this.#lastMinute ?? this.#soFar();
  }

  close(): void {
    clearInterval(this.#timer);
    this.#histogram.disable();
  }

  #soFar(): LoopHealth {
    const { count, max } = this.#histogram;
    if (count === 0) return { p50Ms: 0, p99Ms: 0, maxMs: 0 };
    const [p50Ms, p99Ms, maxMs] = [this.#histogram.percentile(50), this.#histogram.percentile(99), max].map(delayMs);
    return { p50Ms: p50Ms!, p99Ms: p99Ms!, maxMs: maxMs! };
  }
}

const delayMs = (ns: number): number => Math.max(0, Math.round(ns / 1e4 - 100 * LOOK_MS) / 100);
