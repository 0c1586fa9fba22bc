import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type RealBroker, startBroker } from './support/broker.js';
import { expectNothingLost, LAST_ALERTS } from './support/nothing-lost.js';
import { Office } from './support/office.js';
import { FaultRow, isFull } from './support/row.js';
import { Truck } from './support/trucks.js';

/** Of one truck, one after the other. */
const KILLS = 8;
const row = new FaultRow('kill-random', { short: 5, full: 50 });
const SPEED = 20;
/** After it listens. */
const MOST_MS = 800;
/** Wall time from the last start until the codes come to rest. */
const MORE_S = 60;

let broker: RealBroker;
const folder = mkdtempSync(join(tmpdir(), 'axlepost-kill-'));
beforeAll(async () => {
  broker = await startBroker();
});
afterAll(() => {
  broker.stop();
  rmSync(folder, { recursive: true, force: true });
});

test(`${KILLS} kills at random moments: every committed event arrives, counts once, and what is open is what an uninterrupted run has`, {
  timeout: row.timeoutMs,
}, async () => {
  const cpuMs: number[] = [];
  const wallMs: number[] = [];
  let loadingMs = 500;
  await row.each(async (round) => {
    const name = `K-${round.index}`;
    const truck = new Truck({ truck: name, folder: join(folder, name), brokerUrl: broker.url, speed: SPEED });
    const office = await Office.open(broker.url, name);
    let listened = 0;
    for (let kill = 0; kill < KILLS; kill++) {
      const process = truck.start();
      // One in four while it starts.
      const early = round.random() < 0.25;
      const ready = await (early ? Promise.race([process.ready, sleep(round.below(loadingMs), null)]) : process.ready);
      if (ready !== null) {
        listened++;
        loadingMs = ready.wallMs;
        cpuMs.push(ready.cpuMs);
        wallMs.push(ready.wallMs);
        await sleep(round.below(MOST_MS));
      }
      await process.killed();
    }
    truck.restS = truck.atS + MORE_S;
    const last = truck.start();
    const events = await expectNothingLost(truck, office);
    expect(await last.stopped()).toBe(0);
    await office.close();
    console.log(`${name}: ${KILLS} kills, ${listened} of them while it listened; ${events} events`);
  });
  const span = (all: number[]): string => {
    all.sort((a, b) => a - b);
    return `${Math.round(all[0]!)} to ${Math.round(all.at(-1)!)} ms`;
  };
  console.log(`listens after ${span(cpuMs)} of processor time, ${span(wallMs)} by the wall`);
  // By the wall it would tell how busy the machine is.
  if (isFull) expect(cpuMs.at(-1)).toBeLessThan(2_000);
});

test('the oracle: what is open at the end of a run without a kill', { timeout: row.timeoutMs }, async () => {
  const truck = new Truck({ truck: 'K-oracle', folder: join(folder, 'oracle'), brokerUrl: broker.url, speed: SPEED });
  truck.restS = MORE_S;
  const office = await Office.open(broker.url, 'K-oracle');
  const process = truck.start();
  await expectNothingLost(truck, office);
  expect(await process.stopped()).toBe(0);
  await office.close();
  expect(LAST_ALERTS.length).toBe(3);
});
