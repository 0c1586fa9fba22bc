import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type RealBroker, startBroker } from './support/broker.js';
import { LAST_ALERTS, LASTING, openNow } from './support/nothing-lost.js';
import { type Arrived, Office, openAfter } from './support/office.js';
import { FaultRow } from './support/row.js';
import { type Order, Shim, shimIsMissing } from './support/shim.js';
import { Truck } from './support/trucks.js';

const missing = shimIsMissing();
if (missing !== null) console.log(`disk-full: skipped: ${missing}`);
const row = new FaultRow('disk-full', { short: 3, full: 60 });
const SPEED = 20;
const FULL: Order = { ops: ['write', 'create'], action: 'fail-from', nth: 1, error: 'ENOSPC' };
const READ_ONLY: Order = {
  ...{ ops: ['write', 'open', 'create', 'rename', 'unlink', 'truncate'], action: 'fail-from', nth: 1, error: 'EROFS' },
};
const FAILING: Order = { ops: ['write', 'sync'], action: 'fail-from', nth: 1, error: 'EIO' };

/** When the disk refuses: while the program runs, or already when it starts, after a stop or a kill. */
const CASES: { order: Order; when: 'running' | 'stopped' | 'killed' }[] = [
  { order: FULL, when: 'running' },
  { order: READ_ONLY, when: 'stopped' },
  { order: FULL, when: 'killed' },
  { order: FAILING, when: 'running' },
  { order: READ_ONLY, when: 'running' },
  { order: FULL, when: 'stopped' },
];

const isVolatile = ({ store, stored }: Arrived): boolean => store.startsWith('~') && stored === false;

describe.skipIf(missing !== null)('a disk that takes nothing', () => {
  let broker: RealBroker;
  let shim: Shim;
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-full-'));
  beforeAll(async () => {
    broker = await startBroker();
    shim = new Shim();
  });
  afterAll(() => {
    broker?.stop();
    shim?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  test('changes go out under a volatile store id, the degraded state is told, and all is well within 60 s of the end', {
    timeout: row.timeoutMs,
  }, async () => {
    await row.each(async (round) => {
      const { order, when } = CASES[round.index % CASES.length]!;
      const name = `F-${round.index}`;
      const truck = new Truck({ truck: name, folder: join(folder, name), brokerUrl: broker.url, speed: SPEED });
      const office = await Office.open(broker.url, name);
      shim.order(null);
      let process = truck.start(shim.env(truck.options.folder));
      await office.until('some stored events', () => office.events.length >= 2 + round.below(6));
      const before = truck.identity!.store;
      if (when === 'stopped') await process.stopped();
      if (when === 'killed') await process.killed();
      const stored = office.events.length;
      shim.order(order);
      if (when !== 'running') {
        process = truck.start(shim.env(truck.options.folder));
        expect(await process.ready).not.toBeNull();
      }
      await office.until('an event without a store', () => office.events.some(isVolatile));
      await office.until('the degraded state', () => office.presences.at(-1)?.degraded.includes('store') === true);
      shim.order(null);
      const endedMs = Date.now();
      await office.until('back to normal', () => office.presences.at(-1)?.degraded.length === 0);
      const tookMs = Date.now() - endedMs;
      expect(tookMs).toBeLessThan(60_000);
      expect(office.presences.at(-1)?.store).toBe(before);
      expect(process.hasEnded).toBe(false);
      // What was known before is neither lost nor told anew; what came meanwhile is in the store.
      const unstored = office.events.slice(stored).filter(isVolatile);
      expect(unstored.filter(({ rule, subject }) => LASTING.startsWith(`${rule} ${subject}`))).toEqual([]);
      await expectTheSame(truck, office);
      expect(await process.stopped()).toBe(0);
      await expectRest(truck, office);
      expect(truck.identity!.store).toBe(before);
      await office.close();
      const told = `${order.error} while ${when}`;
      console.log(`${name}: ${told}: ${unstored.length} events unstored, back after ${tookMs} ms`);
    });
  });
});

/** What is open in the store is what the office has. */
async function expectTheSame(truck: Truck, office: Office): Promise<void> {
  await office.until('the same alerts here and there', () => {
    const here = openNow(truck).join();
    return here.length > 0 && here === openAfter(office.events).join();
  });
}

/** A start after all of it goes on from there. */
async function expectRest(truck: Truck, office: Office): Promise<void> {
  truck.restS = truck.atS + 20;
  const last = truck.start();
  await office.until('alerts at rest', () => truck.atS > truck.restS && openNow(truck).join() === LAST_ALERTS.join());
  await office.until('all of it here', () => office.upTo(truck.identity!.store) === truck.identity!.last_seq);
  expect(openAfter(office.events)).toEqual(LAST_ALERTS);
  const numbers = truck.stored<{ seq: number }>('SELECT seq FROM events ORDER BY seq').map(({ seq }) => seq);
  expect(numbers).toEqual(numbers.map((_, n) => n + 1));
  expect(await last.stopped()).toBe(0);
}
