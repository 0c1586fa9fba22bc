import type { PublisherClock } from '../../../adapters/mqtt/clock.js';

interface Armed {
  atMs: number;
  callback: () => void;
  real: NodeJS.Timeout | null;
}

/** A clock that is turned by hand for days, and then runs by itself. */
export class LongClock implements PublisherClock {
  #nowMs = 0;
  #realSince: number | null = null;
  readonly #armed = new Set<Armed>();

  readonly nowMs = (): number =>
    this.#realSince === null ? this.#nowMs : this.#nowMs + performance.now() - this.#realSince;

  readonly after = (ms: number, callback: () => void): (() => void) => {
    const armed: Armed = { atMs: this.nowMs() + ms, callback, real: null };
    this.#armed.add(armed);
    if (this.#realSince !== null) this.#arm(armed);
    return () => {
      this.#armed.delete(armed);
      if (armed.real !== null) clearTimeout(armed.real);
    };
  };

  readonly random = Math.random;
  readonly streamNow = (): number => Math.floor(this.nowMs());
  readonly wallNow = (): number => Date.parse('2026-03-02T08:00:00Z') + this.streamNow();

  /** Turns it on by `ms`; what is due goes off in order. */
  turn(ms: number): void {
    const end = this.#nowMs + ms;
    for (;;) {
      const due = [...this.#armed].filter(({ atMs }) => atMs <= end).sort((a, b) => a.atMs - b.atMs)[0];
      if (due === undefined) break;
      this.#nowMs = Math.max(this.#nowMs, due.atMs);
      this.#armed.delete(due);
      due.callback();
    }
    this.#nowMs = end;
  }

  /** From now on it runs as real time does. */
  run(): void {
    this.#realSince = performance.now();
    for (const armed of this.#armed) this.#arm(armed);
  }

  #arm(armed: Armed): void {
    armed.real = setTimeout(
      () => {
        this.#armed.delete(armed);
        armed.callback();
      },
      Math.max(0, armed.atMs - this.nowMs()),
    );
  }
}
