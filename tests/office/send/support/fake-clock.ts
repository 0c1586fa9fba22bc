import type { OfficeClock } from '../../../../office/service/clock.js';

interface Armed {
  atMs: number;
  callback: () => void;
}

/** Lets everything that needs no time happen. */
export async function settled(): Promise<void> {
  for (let i = 0; i < 2; i++) await new Promise((resolve) => setImmediate(resolve));
}

/** A clock that goes on only when the test says so. */
export class FakeClock implements OfficeClock {
  ms: number;
  readonly #armed = new Set<Armed>();

  constructor(ms: number) {
    this.ms = ms;
  }

  readonly nowMs = (): number => this.ms;

  readonly after = (ms: number, callback: () => void): (() => void) => {
    const armed = { atMs: this.ms + ms, callback };
    this.#armed.add(armed);
    return () => void this.#armed.delete(armed);
  };

  /** Timers go off in their order, and what they start is done before the next. */
  async pass(ms: number): Promise<void> {
    const endMs = this.ms + ms;
    await settled();
    for (;;) {
      const next = [...this.#armed].sort((a, b) => a.atMs - b.atMs)[0];
      if (next === undefined || next.atMs > endMs) break;
      this.#armed.delete(next);
      this.ms = next.atMs;
      next.callback();
      await settled();
    }
    this.ms = endMs;
  }

  /** From one timer to the next, however far it is, until `isOver`; at most so many. */
  async passUntil(isOver: () => boolean, most = 100_000): Promise<void> {
    await settled();
    for (let i = 0; i < most && !isOver(); i++) {
      const next = [...this.#armed].sort((a, b) => a.atMs - b.atMs)[0];
      if (next === undefined) throw new Error('nothing waits any more');
      await this.pass(next.atMs - this.ms);
    }
    if (!isOver()) throw new Error('it does not end');
  }
}
