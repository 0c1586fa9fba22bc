interface Armed {
  ms: number;
  callback: () => void;
}

/** Timers that go off when the test says so, and a monotonic clock that stands still in between. */
export class HandTimers {
  now = 0;
  readonly #armed = new Set<Armed>();
  #onArmed: () => void = () => {};

  readonly nowMs = (): number => this.now;

  readonly after = (ms: number, callback: () => void): (() => void) => {
    const armed = { ms, callback };
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

  /** Resolves when something waits. */
  async armed(): Promise<void> {
    if (this.#armed.size > 0) return;
    await new Promise<void>((resolve) => {
      this.#onArmed = resolve;
    });
  }
}
