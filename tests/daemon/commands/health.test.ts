import { describe, expect, it } from 'vitest';
import type { Health } from '../../../adapters/host/health.js';
import { type HealthParts, readHealth } from '../../../daemon/commands/health.js';
import { fullHealth } from '../../support/health.js';
import { truckOf } from '../../support/truck-file.js';

const NOON = Date.parse('2026-03-02T12:00:00Z');

/** A program of which all is well, with what a test makes otherwise. */
function parts(change: Partial<HealthParts> = {}): HealthParts {
  const full = fullHealth();
  return {
    config: () => truckOf(),
    clock: { run: { zeroWallMs: NOON, synced: true }, isSet: true, streamNow: () => 61_999 },
    sync: { synced: true, by: 'timesyncd' },
    busTime: { contradictedByS: null },
    life: () => 'awake',
    counters: () => full.pipeline,
    decisionsUnknown: () => 0,
    sinceTickMs: () => 400,
    buses: () => full.buses,
    store: { pending: 0, stats: async () => full.store.stats! },
    isDegraded: () => false,
    droppedRows: () => 0,
    broker: () => full.broker,
    recorder: () => full.recorder,
    loop: { health: full.loop },
    log: { suppressed: 0, dropped: 0 },
    ...change,
  };
}

const reasons = async (change: Partial<HealthParts>): Promise<string[]> => (await readHealth(parts(change))).degraded;

describe('health', () => {
  it('says who runs what since when, and that all is well', async () => {
    const health = await readHealth(parts());
    expect(health).toMatchObject({
      v: 1,
      degraded: [],
      config: truckOf().hash,
      fleet: 'northline',
      truck: 'T-1042',
      state: 'awake',
      startedAt: '2026-03-02T12:00:00.000Z',
      uptimeS: 61,
      lastTickAgeMs: 400,
      clock: { state: 'set', synced: true, source: 'timesyncd', contradictedByBusS: null },
    });
    expect(health.memory.rssBytes).toBeGreaterThan(1e6);
  });

  it('is plain data', async () => {
    const health: Health = await readHealth(parts());
    expect(JSON.parse(JSON.stringify(health))).toEqual(health);
  });

  it('while the clock is not set says so; that and a broker that is away degrade nothing', async () => {
    const health = await readHealth(
      parts({
        clock: { run: { zeroWallMs: 20_000, synced: false }, isSet: false, streamNow: () => 5_000 },
        sync: { synced: false, by: 'timedatectl' },
        broker: () => ({ ...fullHealth().broker!, state: 'holding' }),
      }),
    );
    expect(health.clock).toMatchObject({ state: 'waiting for clock', synced: false, source: 'timedatectl' });
    expect({ startedAt: health.startedAt, degraded: health.degraded }).toEqual({ startedAt: null, degraded: [] });
  });

  it.each<[string, Partial<HealthParts>]>([
    [
      'bus/main: down',
      { buses: () => fullHealth().buses.map((bus, i) => (i === 0 ? { ...bus, state: 'down' } : bus)) },
    ],
    ['store: cannot be written', { isDegraded: () => true }],
    ['store: no answer', { store: { pending: 0, stats: () => Promise.reject(new Error('gone')) } }],
    ['recorder: the disk does not take it', { recorder: () => ({ ...fullHealth().recorder!, state: 'failed' }) }],
    ['ticks: none for 3 s', { sinceTickMs: () => 3_001 }],
  ])('degraded: %s', async (reason, change) => {
    expect(await reasons(change)).toEqual([reason]);
  });

  it('a tick that is late by less is none', async () => {
    expect(await reasons({ sinceTickMs: () => 3_000 })).toEqual([]);
  });

  it('does not wait for a store that hangs', async () => {
    expect(await reasons({ store: { pending: 9, stats: () => new Promise(() => {}) } })).toEqual(['store: no answer']);
  });
});
