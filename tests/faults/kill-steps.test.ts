import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openFile } from '../../adapters/store/connection.js';
import { MIGRATIONS } from '../../adapters/store/schema.js';
import { filesIn, PRODUCT, read } from '../tidy/sources.js';
import { type RealBroker, startBroker } from './support/broker.js';
import { expectNothingLost } from './support/nothing-lost.js';
import { Office } from './support/office.js';
import { FaultRow } from './support/row.js';
import { type Order, Shim, shimIsMissing } from './support/shim.js';
import { Truck } from './support/trucks.js';

const missing = shimIsMissing();
if (missing !== null) console.log(`kill-steps: skipped: ${missing}`);
/** A round is one truck on which all steps are taken, each at its n-th time by chance. */
const row = new FaultRow('kill-steps', { short: 1, full: 20 });
const SPEED = 20;
const MORE_S = 60;
/** A process that was not killed by then never met the step. */
const PATIENCE_MS = 90_000;

interface Step extends Pick<Order, 'ops' | 'name'> {
  what: string;
  action: 'kill-before' | 'kill-after';
  /** At the latest at this time. */
  most: number;
  /** Counted from the start of the process, from when it listens, or from when it is told to stop. */
  from: 'start' | 'ready' | 'stop';
}

const WAL = '/axlepost.db-wal';
const MIGRATION: Step = {
  what: 'in a migration',
  ops: ['write'],
  name: WAL,
  action: 'kill-before',
  most: 40,
  from: 'start',
};
const STEPS: Step[] = [
  { what: 'before a commit', ops: ['write'], name: WAL, action: 'kill-before', most: 30, from: 'ready' },
  { what: 'amid a commit', ops: ['sync'], name: WAL, action: 'kill-before', most: 6, from: 'ready' },
  { what: 'after a commit', ops: ['sync'], name: WAL, action: 'kill-after', most: 6, from: 'ready' },
  { what: 'after publish', ops: ['send'], action: 'kill-after', most: 8, from: 'ready' },
  { what: 'before PUBACK', ops: ['receive'], action: 'kill-before', most: 8, from: 'ready' },
  { what: 'in a checkpoint', ops: ['write'], name: '/axlepost.db', action: 'kill-before', most: 8, from: 'stop' },
  {
    what: 'before the sync of a checkpoint',
    ops: ['sync'],
    name: '/axlepost.db',
    action: 'kill-before',
    most: 1,
    from: 'stop',
  },
  {
    what: 'after the sync of a checkpoint',
    ops: ['sync'],
    name: '/axlepost.db',
    action: 'kill-after',
    most: 1,
    from: 'stop',
  },
  { what: 'in recovery', ops: ['read'], name: WAL, action: 'kill-before', most: 3, from: 'start' },
  { what: 'at the first commit of a start', ops: ['sync'], name: WAL, action: 'kill-before', most: 2, from: 'start' },
  {
    what: 'beside the witness',
    ops: ['rename'],
    name: '.last.json.new',
    action: 'kill-before',
    most: 1,
    from: 'start',
  },
  { what: 'after the witness', ops: ['write'], name: '.last.json', action: 'kill-after', most: 2, from: 'ready' },
  { what: 'in a sidecar', ops: ['rename'], name: '.json.tmp', action: 'kill-before', most: 1, from: 'start' },
];

describe.skipIf(missing !== null)('a kill at a named step', () => {
  let broker: RealBroker;
  let shim: Shim;
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-steps-'));
  beforeAll(async () => {
    broker = await startBroker();
    shim = new Shim();
  });
  afterAll(() => {
    broker?.stop();
    shim?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  /** Runs the truck until it is killed there. */
  async function killedAt(truck: Truck, { what, from, most: _, ...step }: Step, nth: number): Promise<void> {
    const order: Order = { ...step, nth };
    shim.order(from === 'start' ? order : null);
    const process = truck.start(shim.env(truck.options.folder));
    if (from !== 'start') {
      expect(await process.ready, what).not.toBeNull();
      shim.order(order);
    }
    const ended = from === 'stop' ? process.stopped() : process.ended();
    const code = await Promise.race([ended, sleep(PATIENCE_MS, 'never')]);
    if (code === 'never') await process.killed();
    // null: by the signal.
    expect([what, nth, code]).toEqual([what, nth, null]);
  }

  test('all of them: every committed event arrives, counts once, and what is open is what an uninterrupted run has', {
    timeout: row.timeoutMs,
  }, async () => {
    await row.each(async (round) => {
      const name = `S-${round.index}`;
      const truck = new Truck({ truck: name, folder: join(folder, name), brokerUrl: broker.url, speed: SPEED });
      const old = openFile(truck.database, [], MIGRATIONS.slice(0, 1));
      old.exec(`INSERT INTO meta VALUES (1, 'k3f9q2m1x7ab', '${name}', 0, 3, 0)`);
      old.close();
      const office = await Office.open(broker.url, name);
      const left = [...STEPS];
      await killedAt(truck, MIGRATION, 1 + round.below(MIGRATION.most));
      while (left.length > 0) {
        const [step] = left.splice(round.below(left.length), 1);
        await killedAt(truck, step!, 1 + round.below(step!.most));
      }
      shim.order(null);
      truck.restS = truck.atS + MORE_S;
      const last = truck.start();
      const events = await expectNothingLost(truck, office);
      expect(truck.identity!.store).toBe('k3f9q2m1x7ab');
      expect(await last.stopped()).toBe(0);
      await office.close();
      console.log(`${name}: ${STEPS.length + 1} kills, ${events} events`);
    });
  });
});

test('nothing of it is in the program: the steps are named by what the kernel is asked for', () => {
  const named = /AXLEPOST_SHIM|AXLEPOST_FAULTS_|AXLEPOST_CRASH|SIGKILL|process\.(?:abort|kill)\(/;
  const sources = PRODUCT.flatMap((path) => (path.includes('scripts') ? [] : filesIn(path, '.ts')));
  expect(sources.length).toBeGreaterThan(200);
  expect(sources.filter((path) => named.test(read(path)))).toEqual([]);
  const built = ['dist/axlepost.js', ...filesIn('dist/chunks', '.js'), ...filesIn('dist/adapters', '.js')];
  expect(built.length).toBeGreaterThan(60);
  expect(built.filter((path) => existsSync(path) && named.test(read(path)))).toEqual([]);
});
