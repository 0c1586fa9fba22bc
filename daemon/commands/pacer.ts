import { setTimeout as sleep } from 'node:timers/promises';
import type { StreamMs } from '../time.js';

/** Shorter waits are not worth a timer. */
const LEAST_MS = 5;

/** Keeps a replay at N times real time. */
export class Pacer {
  readonly #speed: number;
  readonly #startMs = performance.now();

  constructor(speed: number) {
    this.#speed = speed;
  }

  async wait(t: StreamMs): Promise<void> {
    const ahead = this.#startMs + t / this.#speed - performance.now();
    if (ahead >= LEAST_MS) await sleep(ahead);
  }
}
