import type { PublisherClock } from './clock.js';

/** Lets one caller wait for something that comes about in many places. */
export class Progress {
  readonly #clock: Pick<PublisherClock, 'after'>;
  #look: (() => void) | null = null;

  constructor(clock: Pick<PublisherClock, 'after'>) {
    this.#clock = clock;
  }

  /** Something has changed. */
  made(): void {
    this.#look?.();
  }

  /** Resolves when the condition holds, at the latest after `ms`. */
  until(ms: number, condition: () => boolean): Promise<void> {
    return new Promise((resolve) => {
      const finish = (): void => {
        this.#look = null;
        cancel();
        resolve();
      };
      const cancel = this.#clock.after(ms, finish);
      this.#look = () => {
        if (condition()) finish();
      };
      this.#look();
    });
  }
}
