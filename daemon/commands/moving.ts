import { TICK_LATE_MS } from './health.js';

/** Commits without one that reaches the disk. A flash card that tidies itself up takes some ten seconds. */
const COMMIT_LATE_MS = 120_000;

export interface MovingParts {
  /** Milliseconds since the last tick was decided. */
  sinceTickMs: () => number;
  /** Commits handed over and not yet answered. A refusal is an answer: the program goes on without its store. */
  pending: () => number;
  /** Monotonic milliseconds. */
  nowMs: () => number;
}

/** Does the pipeline really move: are ticks decided, and do commits get an answer? For the service manager's watchdog. */
export class Moving {
  readonly #parts: MovingParts;
  #pending = 0;
  #answeredMs: number;

  constructor(parts: MovingParts) {
    this.#parts = parts;
    this.#answeredMs = parts.nowMs();
  }

  /** Once a tick: whether commits were answered since the last look. */
  look(): void {
    const pending = this.#parts.pending();
    if (pending === 0 || pending < this.#pending) this.#answeredMs = this.#parts.nowMs();
    this.#pending = pending;
  }

  readonly isMoving = (): boolean => {
    this.look();
    return this.#parts.sinceTickMs() <= TICK_LATE_MS && this.#parts.nowMs() - this.#answeredMs <= COMMIT_LATE_MS;
  };
}
