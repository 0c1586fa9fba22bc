import { setTimeout as sleep } from 'node:timers/promises';
import { hostTimers } from '../../adapters/mqtt/clock.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Out } from './console.js';
import { EXIT, Failure } from './failure.js';
import { VERSION } from './version.js';

/** How long a replay waits for a broker that takes nothing, and at its end for the rest. */
const PATIENCE_MS = 60_000;
/** Events waiting for the broker, beyond which a replay pauses. */
const MOST_WAITING = 2_000;
const LOOK_AGAIN_MS = 20;

/** Sends a replay to a broker, under its own root, nothing retained. */
export class ReplayPublisher {
  readonly publisher: Publisher;
  /** Highest number that the store has given. */
  lastSeq = 0;

  constructor(url: string, store: Store, config: TruckConfig, err: Out) {
    this.publisher = new Publisher({
      source: store,
      url,
      confirm: 'broker',
      fleet: config.fleet,
      truck: config.truck,
      version: VERSION,
      config: () => config.hash,
      presence: { state: 'awake', bus: {}, degraded: [], since: null },
      clock: { ...hostTimers(), streamNow: () => 0, wallNow: () => null },
      replay: true,
      log: (level, line) => level === 'warn' && err.write(`${line}\n`),
    });
    this.publisher.start();
  }

  /** Waits while too many events wait for the broker. Throws a Failure when it takes nothing for too long. */
  async backPressure(): Promise<void> {
    let movedMs = performance.now();
    let confirmed = -1;
    while (this.lastSeq - this.publisher.health().confirmedSeq > MOST_WAITING) {
      const now = performance.now();
      if (this.publisher.health().confirmedSeq !== confirmed) movedMs = now;
      confirmed = this.publisher.health().confirmedSeq;
      if (now - movedMs > PATIENCE_MS) throw this.#failure();
      await sleep(LOOK_AGAIN_MS);
    }
  }

  /** Sends the rest and says good-bye. Throws a Failure when not everything was taken. */
  async finish(): Promise<void> {
    if (!(await this.publisher.stop(PATIENCE_MS))) throw this.#failure();
  }

  /** Lets go, whatever waits. */
  async abandon(): Promise<void> {
    await this.publisher.stop(0);
  }

  #failure(): Failure {
    const { broker, confirmedSeq, lastError } = this.publisher.health();
    return new Failure(
      EXIT.failed,
      `${broker}: took ${confirmedSeq} of ${this.lastSeq} events (${lastError ?? 'no answer'}); is the broker running?`,
    );
  }
}
