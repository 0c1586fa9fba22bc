import { once } from 'node:events';
import { describe, expect, it } from 'vitest';
import { hostTimers, type PublisherClock } from '../../adapters/mqtt/clock.js';
import { Random } from '../../simulator/random.js';
import { cleanup, makeInbox, until } from '../adapters/mqtt/harness.js';
import { folder, freePort, mosquittoIsInstalled, startMosquitto } from '../adapters/mqtt/mosquitto.js';
import { type Latencies, latencies, percentile } from '../bench/fleet/latencies.js';
import { type Change, type Commit, FLEET, truckName } from '../bench/fleet/messages.js';
import { readOptions } from '../bench/fleet/options.js';
import { Truck } from '../bench/fleet/truck.js';

if (!mosquittoIsInstalled) console.warn('skipped: simulated trucks at a broker need mosquitto');

const TRUCKS = 20;
const EVENTS = 60;

function trucksAt(port: number): Truck[] {
  const run = { zeroWallMs: Math.floor(Date.now() / 1000) * 1000, synced: true };
  const clock: PublisherClock = {
    ...hostTimers(),
    streamNow: () => Date.now() - run.zeroWallMs,
    wallNow: () => Date.now(),
  };
  const nothing = (): void => {};
  const on = { onCommit: nothing, onConfirmed: nothing, onUp: nothing, onDown: nothing };
  const trucks = Array.from(
    { length: TRUCKS },
    (_, i) => new Truck({ ...{ fleet: FLEET, name: truckName(i), port, run, clock, random: new Random(i) }, ...on }),
  );
  cleanup(async () => {
    for (const truck of trucks) truck.stop();
  });
  return trucks;
}

describe('simulated trucks', () => {
  it.skipIf(!mosquittoIsInstalled)(
    'keep to the contract over a broker that is killed: the board first, then each event, until the office confirms',
    async () => {
      const directory = folder();
      const port = await freePort();
      const lines = [`listener ${port} 127.0.0.1`, 'allow_anonymous true'];
      const broker = await startMosquitto(directory, lines);
      const trucks = trucksAt(port);
      const heard = new Map<string, string[]>();
      const seqs = new Map<string, number[]>();
      const hear = (kind: string, { truck }: { truck: string }): void => {
        heard.set(truck, [...(heard.get(truck) ?? []), kind]);
      };
      const inbox = await makeInbox({
        url: `mqtt://127.0.0.1:${port}`,
        onOpen: (_, from) => hear('open', from),
        onPresence: ({ state }, from) => hear(state, from),
        onReading: (_, from) => hear('reading', from),
        onTrip: (_, from) => hear('summary', from),
        onStartCheck: (_, from) => hear('start-check', from),
        onEvent: ({ seq }, from) => {
          hear('event', from);
          seqs.set(from.truck, [...(seqs.get(from.truck) ?? []), seq]);
        },
      });
      for (const truck of trucks) {
        truck.raise();
        truck.connect();
      }
      await until(() => seqs.size === TRUCKS);
      for (const kinds of heard.values())
        expect([...kinds.slice(0, 2).sort(), kinds[2]]).toEqual(['awake', 'open', 'event']);
      for (const truck of trucks) for (let i = 0; i < 3; i++) truck.nextPresence();
      await until(() =>
        [...heard.values()].every((kinds) => kinds.includes('summary') && kinds.includes('start-check')),
      );

      broker.kill('SIGKILL');
      await once(broker, 'exit');
      for (const truck of trucks) for (let i = 1; i < EVENTS; i++) truck.raise();
      await startMosquitto(directory, lines);
      const all = Array.from({ length: EVENTS }, (_, i) => i + 1);
      await until(() => [...seqs.values()].every((of) => of.length === EVENTS));
      for (const of of seqs.values()) expect(of).toEqual(all);
      expect(inbox.counts).toMatchObject({ invalid: 0, foreign: 0 });
      expect(trucks.map(({ store }) => store.waiting)).toEqual(trucks.map(() => EVENTS));
      for (const { name, store } of trucks) {
        const received = { store: store.opened.store, seq: EVENTS - 1 };
        await inbox.answer({ fleet: FLEET, truck: name }, { v: 1, rev: 1, received, trailer: null, decisions: [] });
      }
      await until(() => trucks.every(({ store }) => store.waiting === 1));
    },
  );
});

const plan = (ms: number): Change => ['a', 'plan', ms];
const worse = (ms: number): Change => ['a', 'next-stop', ms];
const gone = (ms: number): Change => ['a', 'gone', ms];

describe('from commit to board', () => {
  const rows: [string, Change[], Change[], Latencies][] = [
    ['when each was shown', [plan(10), gone(30)], [plan(15), gone(31)], { ms: [1, 5], overtaken: 0, unseen: 0 }],
    [
      'of two quick ones when the second was',
      [plan(10), worse(20)],
      [worse(25)],
      { ms: [5, 15], overtaken: 0, unseen: 0 },
    ],
    ['not by what was shown before', [plan(10), worse(20), plan(30)], [plan(12)], { ms: [2], overtaken: 2, unseen: 0 }],
    ['a whole life between two looks', [plan(10), gone(20)], [], { ms: [], overtaken: 2, unseen: 0 }],
    ['the board is wrong at the end', [plan(10), worse(20)], [plan(12)], { ms: [2], overtaken: 0, unseen: 1 }],
    [
      'alerts apart from each other',
      [plan(10), ['b', 'plan', 10]],
      [['b', 'plan', 17]],
      { ms: [7], overtaken: 0, unseen: 1 },
    ],
  ];
  it.each(rows)('%s', (_, committed, seen, expected) => {
    const commits = committed.map((change): Commit => [...change, true]);
    expect(latencies(commits, seen.toReversed())).toEqual(expected);
  });

  it('two that leave an alert as it was shown before are not missed', () => {
    const there: Commit[] = [
      ['a', 'next-stop', 10, true],
      ['a', 'plan', 20, true],
    ];
    expect(latencies(there, [], new Map([['a', 'plan']]))).toEqual({ ms: [], overtaken: 2, unseen: 0 });
    expect(latencies(there, [], new Map([['a', 'next-stop']]))).toEqual({ ms: [], overtaken: 0, unseen: 2 });
  });

  it('what a truck committed without a connection is looked for, and its time is not counted', () => {
    const aside: Commit[] = [
      ['a', 'plan', 10, false],
      ['b', 'plan', 10, false],
    ];
    expect(latencies(aside, [plan(500)])).toEqual({ ms: [], overtaken: 0, unseen: 1 });
  });

  it('99 of 100', () => {
    const hundred = Array.from({ length: 100 }, (_, i) => i + 1);
    expect([percentile(hundred, 0.5), percentile(hundred, 0.99), percentile([7], 0.99)]).toEqual([50, 99, 7]);
    expect(percentile([], 0.99)).toBeNaN();
  });
});

describe('options', () => {
  it('what cannot be meant is told in one line', () => {
    expect(readOptions(['--short', '--trucks', '50', '--rate', '1', '--rate', '5'])).toMatchObject({
      ...{ trucks: 50, stormTrucks: 200, rates: [1, 5] },
    });
    expect(() => readOptions(['--trucks', 'many'])).toThrow('--trucks is a number from 1 to 25000');
    expect(() => readOptions(['--only', 'sometimes'])).toThrow('--only is one of steady, storm, shared');
  });
});
