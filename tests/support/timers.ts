interface Armed {
  ms: number;
  atMs: number;
  callback: () => void;
}

/** Timers that go off when the test says so, and a monotonic clock that stands still in between. */
export class HandTimers {
  now = 0;
  readonly #armed = new Set<Armed>();
  #onArmed: () => void = () => {};

  readonly nowMs = (): number => this.now;

  readonly after = (ms: number, callback: () => void): (() => void) => {
    const armed = { ms, atMs: this.now + ms, callback };
    this.#armed.add(armed);
    this.#onArmed();
    return () => void this.#armed.delete(armed);
  };

  /** How long each waits, in the order in which they were armed. */
  get waiting(): number[] {
    return [...this.#armed].map(({ ms }) => ms);
  }

  /** All that wait go off, and time has passed by the longest of them. */
  fire(): void {
    const due = [...this.#armed];
    this.#armed.clear();
    this.now += Math.max(0, ...due.map(({ ms }) => ms));
    for (const { callback } of due) callback();
  }

  /** Time goes on by so much; what falls due in it goes off, in order. */
  pass(ms: number): void {
    const end = this.now + ms;
    for (;;) {
      const due = [...this.#armed].filter(({ atMs }) => atMs <= end).sort((a, b) => a.atMs - b.atMs)[0];
      if (due === undefined) break;
      this.#armed.delete(due);
      this.now = Math.max(this.now, due.atMs);
      due.callback();
    }
    this.now = end;
  }

  /** Resolves when something waits. */
  async armed(): Promise<void> {
    if (this.#armed.size > 0) return;
    await new Promise<void>((resolve) => {
      this.#onArmed = resolve;
    });
  }
}
