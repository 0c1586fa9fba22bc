import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { hostTimers } from '../../adapters/mqtt/clock.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Out } from './check.js';
import { VERSION } from './version.js';

/** How long a replay waits at its end for the broker to take the rest. */
const DRAIN_MS = 60_000;
/** Events waiting for the broker, beyond which a replay pauses. */
const MOST_WAITING = 2_000;

export interface ReplayPublisher {
  /** Where the store goes when the user names none; removed at the end. */
  storePath: string;
  publisher: Publisher | null;
  start(store: Store): void;
  /** Highest number that the store has given. */
  lastSeq: number;
  backPressure(): Promise<void>;
  finish(): Promise<void>;
  cleanUp(): Promise<void>;
}

/** Sends a replay to a broker, under its own root, nothing retained. */
export function publishReplay(url: string, config: TruckConfig, err: Out): ReplayPublisher {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-'));
  const self: ReplayPublisher = {
    storePath: join(folder, 'replay.db'),
    publisher: null,
    lastSeq: 0,
    start(store) {
      self.publisher = new Publisher({
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
      self.publisher.start();
    },
    async backPressure() {
      while (self.lastSeq - (self.publisher?.health().confirmedSeq ?? 0) > MOST_WAITING) {
        await sleep(20);
      }
    },
    async finish() {
      const drained = await self.publisher?.stop(DRAIN_MS);
      if (drained === false)
        err.write(`the broker did not take everything: ${self.publisher?.health().lastError ?? 'no answer'}\n`);
    },
    async cleanUp() {
      rmSync(folder, { recursive: true, force: true });
    },
  };
  return self;
}
