import type { ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { describe, expect, it } from 'vitest';
import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { Database } from '../../../adapters/store/sqlite.js';
import type { TruckConfig } from '../../../config/resolved.js';
import { couple } from '../../../office/core/decide.js';
import type { OfficeAlert } from '../../../office/core/model.js';
import { until } from '../../adapters/mqtt/harness.js';
import { folder, freePort, mosquittoIsInstalled, startMosquitto } from '../../adapters/mqtt/mosquitto.js';
import { tempDir } from '../../adapters/store/helpers.js';
import { FakeBus, live, truckText } from '../../daemon/commands/live.js';
import { truckOf } from '../../support/truck-file.js';
import { eventsAt, KEY, untilSo, wholeOffice } from './whole-office.js';

/* Received means received: trucks and the office as they are, with their stores, and a broker between them that is killed. */

if (!mosquittoIsInstalled) console.warn('skipped: a broker that is killed between truck and office needs mosquitto');

/** Speed 0 (SPN 84 in CCVS): an alert of a truck that stands can be closed. */
const CCVS = 0x18fef100;
const STANDS = Buffer.from('FF0000FFFFFFFFFF', 'hex');
const PATIENCE_MS = 90_000;

const truckFile = (url: string, path: string): TruckConfig =>
  truckOf(truckText(url, path).replace('confirm: broker', 'confirm: office'));

interface TruckRow {
  seq: number;
  rule: string;
  change: string;
}

/** What the truck has decided, and how many of it wait, from its own database. */
function truckRows(path: string): { events: TruckRow[]; waiting: number } {
  const db = new Database(path, { readonly: true });
  try {
    const events = db.prepare('SELECT seq, rule, change FROM events ORDER BY seq').all() as TruckRow[];
    const { count } = db.prepare("SELECT count(*) AS count FROM outbox WHERE kind = 'event'").get() as {
      count: number;
    };
    return { events, waiting: count };
  } finally {
    db.close();
  }
}

const told = (events: readonly ReceivedEvent[], ...changes: string[]) =>
  events
    .filter(({ change }) => changes.includes(change))
    .map(({ alert, change, who, note, snoozeS, reason }) => ({ alert, change, who, note, snoozeS, reason }));

describe.skipIf(!mosquittoIsInstalled)('a broker that is killed between a truck and its office', () => {
  async function scene() {
    const directory = folder();
    const port = await freePort();
    const url = `mqtt://127.0.0.1:${port}`;
    const start = (): Promise<ChildProcess> =>
      startMosquitto(directory, [`listener ${port} 127.0.0.1`, 'allow_anonymous true']);
    const broker = { process: await start() };
    const office = await wholeOffice(url);
    await until(() => office.link.isConnected);
    const bus = new FakeBus();
    bus.frames.set(CCVS, STANDS);
    const path = `${tempDir()}/truck.db`;
    const { daemon } = await live(truckFile(url, path), bus);
    const kill = async (): Promise<void> => {
      broker.process.kill('SIGKILL');
      await once(broker.process, 'exit');
    };
    const restart = async (): Promise<void> => {
      broker.process = await start();
      office.heard.push('RESTART');
    };
    const alerts = (test: (list: OfficeAlert[]) => boolean): Promise<OfficeAlert[]> =>
      untilSo(async () => {
        const state = await office.state();
        return state !== null && test(state.alerts) && state.alerts;
      });
    return { office, bus, path, daemon, kill, restart, alerts };
  }

  it(
    'nothing is lost, nothing is done twice: take, snooze, resume and close with who and note',
    async () => {
      const { office, bus, path, kill, restart, alerts } = await scene();
      bus.lamp = true;
      bus.codes.set(3, 117);
      bus.codes.set(11, 118);
      const open = await alerts((list) => list.length >= 3);
      const lamp = open.find(({ urgency }) => urgency === 'pull-over')!;
      const [first, second] = open.filter(({ urgency }) => urgency === 'next-stop').map(({ id }) => id);

      // Wanted while the broker is away: it reaches the truck when it is there again.
      await kill();
      expect(await office.wish({ alert: lamp.id, do: 'take', note: 'driver called' })).toBe(null);
      expect(await office.wish({ alert: first!, do: 'snooze', who: 'Juno', minutes: 90 })).toBe(null);
      expect(await office.wish({ alert: lamp.id, do: 'snooze', minutes: 90 })).toMatch(/cannot|not put off/);
      // And the truck goes on meanwhile.
      bus.codes.set(17, 117);
      await until(() => truckRows(path).events.length >= 4);
      await restart();
      await alerts((list) => list.some(({ taken }) => taken !== null) && list.some(({ snoozed }) => snoozed !== null));
      await alerts((list) => list.length >= 4);

      await kill();
      bus.codes.delete(17);
      await restart();
      expect(await office.wish({ alert: first!, do: 'resume', who: 'Juno', note: 'on its way' })).toBe(null);
      expect(await office.wish({ alert: second!, do: 'close', note: 'lamp changed' })).toBe(null);
      await untilSo(async () => told(await eventsAt(office), 'resumed', 'closed').length >= 2);

      await untilSo(async () => truckRows(path).waiting === 0 && (await office.state())!.decisions.length === 0);
      const events = await eventsAt(office);
      const { events: decided } = truckRows(path);
      expect(events.map(({ seq, rule, change }) => ({ seq, rule, change }))).toEqual(
        decided.map(({ seq, rule, change }) => ({ seq, rule, change })),
      );
      expect(told(events, 'taken', 'snoozed', 'resumed', 'closed')).toEqual(
        expect.arrayContaining([
          { alert: lamp.id, change: 'taken', who: 'Mara', note: 'driver called' },
          { alert: first, change: 'snoozed', who: 'Juno', snoozeS: 5400 },
          { alert: first, change: 'resumed', who: 'Juno', note: 'on its way' },
          { alert: second, change: 'closed', who: 'Mara', note: 'lamp changed', reason: 'said-repaired' },
        ]),
      );
      expect(told(events, 'taken', 'snoozed', 'resumed', 'closed')).toHaveLength(4);
      expect(office.heard.filter((line) => line.startsWith('ERROR'))).toEqual([]);
      // After each start of the broker the list of open alerts comes before any event, and has what comes after it.
      const rounds = office.heard.join('\n').split('RESTART');
      expect(rounds).toHaveLength(3);
      for (const round of rounds.slice(1)) expect(/^(open|event) /m.exec(round)?.[1]).toBe('open');
    },
    PATIENCE_MS,
  );

  it(
    'an answer that the broker took and lost is said again',
    async () => {
      const { office, bus, path, kill, restart, alerts } = await scene();
      bus.lamp = true;
      const [lamp] = await alerts((list) => list.length > 0);
      // The truck has nothing to say again, which would bring it an answer in any case.
      await untilSo(async () => truckRows(path).waiting === 0);
      await kill();
      expect(await office.wish({ alert: lamp!.id, do: 'take', note: 'driver called' })).toBe(null);
      const { published } = office.office.answers.counts;
      // The office is back before the truck is: the broker has the answer, and nobody has read it.
      await restart();
      await until(() => office.office.answers.counts.published > published);
      await kill();
      await restart();
      await untilSo(async () => told(await eventsAt(office), 'taken').length > 0);
      await untilSo(async () => (await office.state())!.decisions.length === 0);
      expect(told(await eventsAt(office), 'taken')).toEqual([
        { alert: lamp!.id, change: 'taken', who: 'Mara', note: 'driver called' },
      ]);
    },
    PATIENCE_MS,
  );

  it(
    'trailers come and go: the truck is told which is coupled, and events say with which',
    async () => {
      const { office, bus, kill, restart } = await scene();
      const say = async (trailer: string): Promise<void> => {
        await office.store.change(KEY, (_, state) => {
          const decided = couple(state, trailer);
          return 'folded' in decided ? decided.folded : null;
        });
        office.office.gatherer.nudge(KEY);
      };
      const coupled = (trailer: string) => untilSo(async () => (await office.state())?.open?.trailer === trailer);
      bus.codes.set(3, 117);
      await coupled('TR-77');
      await say('TR-9');
      await coupled('TR-9');
      await kill();
      bus.codes.set(11, 118);
      await restart();
      const raised = await untilSo(async () => (await eventsAt(office)).at(1));
      expect(raised).toMatchObject({ change: 'raised', trailer: 'TR-9' });
      await say('TR-77');
      await coupled('TR-77');
      bus.codes.set(17, 117);
      const last = await untilSo(async () => (await eventsAt(office)).at(2));
      expect(last).toMatchObject({ change: 'raised', trailer: 'TR-77' });
    },
    PATIENCE_MS,
  );
});
