import { copyFileSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type RealBroker, startBroker } from './support/broker.js';
import { LAST_ALERTS, LASTING, openNow } from './support/nothing-lost.js';
import { Office, openAfter } from './support/office.js';
import { FaultRow } from './support/row.js';
import { Truck } from './support/trucks.js';

const row = new FaultRow('corrupt-live', { short: 2, full: 60 });
const SPEED = 20;

/** What happens to the database while the program does not run; `copy` is of the day before. */
const DAMAGES: { what: string; damage: (path: string, copy: string) => void; moved: boolean }[] = [
  {
    what: 'pages of zeros',
    damage: (path) => writeFileSync(path, readFileSync(path).fill(0, 4096, 9 * 4096)),
    moved: true,
  },
  { what: "yesterday's copy", damage: (path, copy) => copyFileSync(copy, path), moved: true },
  { what: 'deleted', damage: (path) => rmSync(path), moved: false },
  { what: 'text', damage: (path) => writeFileSync(path, 'fleet: northline\n'.repeat(1_000)), moved: true },
];

let broker: RealBroker;
const folder = mkdtempSync(join(tmpdir(), 'axlepost-corrupt-'));
beforeAll(async () => {
  broker = await startBroker();
});
afterAll(() => {
  broker.stop();
  rmSync(folder, { recursive: true, force: true });
});

test('the program starts all the same, under a new store id, and tells the office what is open and that a store was lost', {
  timeout: row.timeoutMs,
}, async () => {
  await row.each(async (round) => {
    const { what, damage, moved } = DAMAGES[round.index % DAMAGES.length]!;
    const name = `C-${round.index}`;
    const truck = new Truck({ truck: name, folder: join(folder, name), brokerUrl: broker.url, speed: SPEED });
    const office = await Office.open(broker.url, name);
    const first = truck.start();
    await office.until('some events', () => office.events.length >= 1 + round.below(4));
    expect(await first.stopped()).toBe(0);
    const copy = join(folder, `${name}.yesterday`);
    copyFileSync(truck.database, copy);
    const second = truck.start();
    await second.ready;
    const known = office.events.length;
    await office.until('more events', () => office.events.length > known);
    expect(await second.stopped()).toBe(0);
    const before = truck.identity!.store;
    damage(truck.database, copy);
    truck.restS = truck.atS + 40;
    const third = truck.start();
    expect(await third.ready, what).not.toBeNull();
    await office.until('word of the lost store', () => office.gaps.length === 1);
    const { store } = truck.identity!;
    expect(store, what).not.toBe(before);
    expect(office.gaps[0]).toMatchObject({ store, why: 'the database was damaged, lost or older' });
    await office.until('alerts at rest', () => truck.atS > truck.restS && openNow(truck).join() === LAST_ALERTS.join());
    await office.until('all of it', () => office.upTo(store) === truck.identity!.last_seq);
    const fresh = office.events.filter((event) => event.store === store);
    expect(openAfter(fresh)).toEqual(LAST_ALERTS);
    expect(
      fresh.filter(({ rule, subject, change }) => LASTING.startsWith(`${rule} ${subject} `) && change === 'raised'),
    ).toHaveLength(1);
    expect(office.presences.at(-1)).toMatchObject({ store, degraded: [] });
    const broken = readdirSync(truck.options.folder).filter((file) => file.endsWith('.broken'));
    expect(broken.map((file) => /^axlepost\.db\.\d{8}T\d{6}Z\.broken$/.test(file))).toEqual(moved ? [true] : []);
    expect(await third.stopped()).toBe(0);
    await office.close();
    console.log(`${name}: ${what}: ${fresh.length} events under the new store`);
  });
});
