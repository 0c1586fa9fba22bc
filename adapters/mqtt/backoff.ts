export interface BackoffOptions {
  minMs: number;
  maxMs: number;
  /** A connection counts as good again after it has lasted this long. */
  stableMs: number;
}

export const DEFAULT_BACKOFF: BackoffOptions = { minMs: 1000, maxMs: 60_000, stableMs: 60_000 };

/**
 * Waiting times between attempts: doubling from minMs to maxMs, each drawn from its upper half so that a fleet that lost its
 * broker at one moment does not come back at one moment.
 */
export class Backoff {
  readonly #options: BackoffOptions;
  readonly #random: () => number;
  #ceilingMs: number;

  constructor(options: BackoffOptions, random: () => number) {
    this.#options = options;
    this.#random = random;
    this.#ceilingMs = options.minMs;
  }

  nextMs(): number {
    const ceiling = this.#ceilingMs;
    this.#ceilingMs = Math.min(ceiling * 2, this.#options.maxMs);
    return ceiling * (0.5 + 0.5 * this.#random());
  }

  /** Call when a connection ends. A broker that accepts and drops again must not be hammered. */
  connectionLasted(ms: number): void {
    if (ms >= this.#options.stableMs) this.#ceilingMs = this.#options.minMs;
  }
}
