import type { BusTime } from '../../adapters/clock/bus-time.js';
import type { HostClock } from '../../adapters/clock/host-clock.js';
import type { SyncSource } from '../../adapters/clock/sync-source.js';
import type { BusHealth, Health, LogHealth, StoreHealth } from '../../adapters/host/health.js';
import type { LoopDelay } from '../../adapters/host/loop-delay.js';
import type { PublisherHealth } from '../../adapters/mqtt/publisher-options.js';
import type { RecorderHealth } from '../../adapters/recorder/contract.js';
import type { Store, StoreStats } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import { isoTime } from '../alerts/iso-time.js';
import type { LifeState } from '../effects.js';
import type { Counters } from '../pipeline-state.js';
import { VERSION } from './version.js';

export type { BusHealth, ClockHealth, Health, LogHealth, LoopHealth, StoreHealth } from '../../adapters/host/health.js';

/** There is a tick a second. Without one for so long nothing is decided any more. */
export const TICK_LATE_MS = 3_000;
/** The store's thread may be busy with a large commit; nobody waits longer for its numbers. */
const STATS_MS = 1_000;

/** Where each part of the page comes from; asked anew for each reader. */
export interface HealthParts {
  config: () => TruckConfig;
  clock: Pick<HostClock, 'run' | 'isSet' | 'streamNow'>;
  sync: SyncSource;
  busTime: Pick<BusTime, 'contradictedByS'>;
  life: () => LifeState;
  counters: () => Counters;
  decisionsUnknown: () => number;
  /** Milliseconds since the last tick was decided. */
  sinceTickMs: () => number;
  buses: () => BusHealth[] | Promise<BusHealth[]>;
  store: Pick<Store, 'pending' | 'stats'>;
  /** The store refuses commits. */
  isDegraded: () => boolean;
  /** History rows that the session dropped meanwhile. */
  droppedRows: () => number;
  broker: () => PublisherHealth | null;
  recorder: () => RecorderHealth | null;
  loop: Pick<LoopDelay, 'health'>;
  log: LogHealth;
}

/** Everything that is known about how we are, now. Rejects only for a mistake of ours. */
export async function readHealth(parts: HealthParts): Promise<Health> {
  const [stats, buses] = await Promise.all([statsOf(parts.store), parts.buses()]);
  const { clock, sync, busTime } = parts;
  const config = parts.config();
  const memory = process.memoryUsage();
  const health: Health = {
    v: 1,
    degraded: [],
    version: VERSION,
    config: config.hash,
    fleet: config.fleet,
    truck: config.truck,
    state: parts.life(),
    startedAt: clock.run.synced ? isoTime(clock.run.zeroWallMs) : null,
    uptimeS: Math.floor(clock.streamNow() / 1000),
    lastTickAgeMs: parts.sinceTickMs(),
    clock: {
      state: clock.isSet ? 'set' : 'waiting for clock',
      synced: clock.run.synced,
      source: sync.by,
      contradictedByBusS: busTime.contradictedByS,
    },
    buses,
    store: { degraded: parts.isDegraded(), pending: parts.store.pending, droppedRows: parts.droppedRows(), stats },
    broker: parts.broker(),
    recorder: parts.recorder(),
    loop: parts.loop.health,
    memory: { rssBytes: memory.rss, heapUsedBytes: memory.heapUsed },
    pipeline: { ...parts.counters() },
    decisionsUnknown: parts.decisionsUnknown(),
    log: { ...parts.log },
  };
  health.degraded = reasonsOf(health);
  return health;
}

/** What keeps the program from doing its job. A broker that is away is not among it: alerts wait for it. */
function reasonsOf({ buses, store, recorder, lastTickAgeMs }: Health): string[] {
  const reasons = buses.filter(({ state }) => state === 'down').map(({ name }) => `bus/${name}: down`);
  const storeReason = storeReasonOf(store);
  if (storeReason !== null) reasons.push(storeReason);
  if (recorder?.state === 'failed') reasons.push('recorder: the disk does not take it');
  if (lastTickAgeMs > TICK_LATE_MS) reasons.push(`ticks: none for ${Math.floor(lastTickAgeMs / 1000)} s`);
  return reasons;
}

function storeReasonOf({ degraded, stats }: StoreHealth): string | null {
  if (degraded) return 'store: cannot be written';
  return stats === null ? 'store: no answer' : null;
}

async function statsOf(store: HealthParts['store']): Promise<StoreStats | null> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<null>((resolve) => {
    timer = setTimeout(() => resolve(null), STATS_MS);
  });
  const stats = await Promise.race([store.stats().catch(() => null), late]);
  clearTimeout(timer);
  return stats;
}
