import { TICK_LATE_MS } from './health.js';

/** Commits without one that is answered. A flash card that tidies itself up takes some ten seconds. */
const COMMIT_LATE_MS = 120_000;

export interface MovingParts {
  /** Milliseconds since the last tick was decided. */
  sinceTickMs: () => number;
  /** Commits handed over and not yet answered. */
  pending: () => number;
  /** Monotonic milliseconds. */
  nowMs: () => number;
}

/** Does the pipeline really move: are ticks decided, and do commits get an answer? For the service manager's watchdog. */
export class Moving {
  readonly #parts: MovingParts;
  #answeredMs: number;

  constructor(parts: MovingParts) {
    this.#parts = parts;
    this.#answeredMs = parts.nowMs();
  }

  /** A commit was answered. A refusal is an answer: the program goes on without its store. */
  answered(): void {
    this.#answeredMs = this.#parts.nowMs();
  }

  /** Also to be called once a tick, to see that nothing waits. */
  readonly isMoving = (): boolean => {
    const { sinceTickMs, pending, nowMs } = this.#parts;
    if (pending() === 0) this.answered();
    return sinceTickMs() <= TICK_LATE_MS && nowMs() - this.#answeredMs <= COMMIT_LATE_MS;
  };
}
