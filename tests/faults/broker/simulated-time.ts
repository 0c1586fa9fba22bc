import { vi } from 'vitest';

const turn = (): Promise<void> => new Promise((resolve) => setImmediate(resolve));
/** Turns of the event loop without anything happening, after which nothing more is expected. */
const QUIET_TURNS = 4;
const MOST_TURNS = 5_000;

/**
 * Minutes in milliseconds: timers are simulated, sockets are real. After each step everything that is on its way over the
 * loopback arrives before time goes on.
 */
export class SimulatedTime {
  nowMs = 0;
  /** Grows whenever something happens on a socket. */
  readonly #activity: () => number;

  constructor(activity: () => number) {
    this.#activity = activity;
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'setInterval', 'clearInterval', 'Date', 'performance'] });
  }

  /** `each` is called after every step. */
  async pass(ms: number, each: () => void = () => {}, stepMs = 250): Promise<void> {
    for (const end = this.nowMs + ms; this.nowMs < end; ) {
      this.nowMs += stepMs;
      vi.advanceTimersByTime(stepMs);
      await this.settled();
      each();
    }
  }

  async settled(): Promise<void> {
    for (let quiet = 0, turns = 0; quiet < QUIET_TURNS && turns < MOST_TURNS; turns++) {
      const before = this.#activity();
      await turn();
      quiet = this.#activity() === before ? quiet + 1 : 0;
    }
  }

  end(): void {
    vi.useRealTimers();
  }
}
