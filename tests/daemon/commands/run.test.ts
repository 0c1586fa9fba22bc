import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { describe, expect, it } from 'vitest';
import type { PresenceMessage, ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import type { OfficeInbox } from '../../../adapters/mqtt/office-inbox.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { openStore } from '../../../adapters/store/store.js';
import { cleanup, makeBroker, makeInbox, until, upTo } from '../../adapters/mqtt/harness.js';
import { CLI, temp } from './helpers.js';
import { FakeBus, LISTEN_ONLY, live, quietSeconds, truck, truckText } from './live.js';

let stores = 0;
const newStore = (): string => temp(`live-${++stores}.db`);

interface Office {
  inbox: OfficeInbox;
  events: ReceivedEvent[];
  presence: PresenceMessage[];
  open: { alerts: unknown[] }[];
}
async function office(url: string): Promise<Office> {
  const heard: Omit<Office, 'inbox'> = { events: [], presence: [], open: [] };
  const inbox = await makeInbox({
    url,
    onEvent: (event) => heard.events.push(event),
    onPresence: (presence) => heard.presence.push(presence),
    onOpen: (open) => heard.open.push(open),
  });
  return { inbox, ...heard };
}
const told = (events: ReceivedEvent[]): string[] => events.map((e) => `${e.seq} ${e.rule} ${e.change}`);

function rows(store: string): { seq: number; rule: string; change: string; confirmed: number }[] {
  const db = new Database(store, { readonly: true });
  try {
    return db.prepare('SELECT seq, rule, change FROM events ORDER BY seq').all() as ReturnType<typeof rows>;
  } finally {
    db.close();
  }
}

describe('a live run', () => {
  it('raises from live frames, commits, publishes; presence goes from awake to offline', async () => {
    const broker = await makeBroker();
    const { events, presence, open } = await office(broker.url);
    const bus = new FakeBus();
    const store = newStore();
    const started = Date.now();
    const { daemon } = await live(truck(broker.url, store), bus);
    await until(() => presence.at(-1)?.bus.main === 'listen-only');
    bus.lamp = true;
    await until(() => events.length === 1);
    expect(told(events)).toEqual(['1 stop-lamp raised']);
    const [raised] = events;
    expect(raised).toMatchObject({
      boot: 1,
      synced: true,
      subject: 'lamp/main',
      urgency: 'pull-over',
      trailer: 'TR-77',
    });
    expect(raised!.heldS).toBeLessThan(5);
    expect(Date.parse(raised!.at)).toBeGreaterThanOrEqual(started - 1000);
    expect(Date.parse(raised!.at)).toBeLessThanOrEqual(Date.now());
    await until(() => open.at(-1)?.alerts.length === 1);
    bus.lamp = false;
    await until(() => events.length === 2);
    expect(events[1]).toMatchObject({ seq: 2, change: 'cleared', alert: raised!.alert });
    expect(rows(store).map(({ seq, change }) => [seq, change])).toEqual([
      [1, 'raised'],
      [2, 'cleared'],
    ]);
    expect(presence.at(-1)).toMatchObject({ state: 'awake', degraded: [], since: expect.any(String) });
    await Promise.all([daemon.stop(), daemon.stop()]);
    await until(() => presence.at(-1)?.state === 'offline');
    expect(bus.closed).toBe(1);
    const db = new Database(store, { readonly: true });
    expect(db.prepare('SELECT count(*) FROM outbox').pluck().get()).toBe(0);
    db.close();
  });

  it('a broker that is down at start and comes later gets what waited, each event once', async () => {
    const gone = await makeBroker();
    await gone.close();
    const bus = new FakeBus();
    const store = newStore();
    const { log } = await live(truck(gone.url, store), bus);
    bus.lamp = true;
    await until(() => log.some(({ msg }) => msg === 'raised'));
    bus.lamp = false;
    await until(() => log.some(({ msg }) => msg === 'cleared'));
    const broker = await makeBroker(gone.port);
    const { events, inbox, presence } = await office(broker.url);
    await until(() => events.length === 2);
    expect(told(events)).toEqual(['1 stop-lamp raised', '2 stop-lamp cleared']);
    await until(() => presence.length > 0);
    expect(inbox.counts.repeated).toBe(0);
  });

  it('a restart on the same database goes on: no announcement twice, ids and numbers continue', async () => {
    const broker = await makeBroker();
    const { events, open } = await office(broker.url);
    const store = newStore();
    const first = new FakeBus();
    first.lamp = true;
    const before = await live(truck(broker.url, store), first);
    await until(() => events.length === 1);
    await before.daemon.stop();
    const second = new FakeBus();
    second.lamp = true;
    await live(truck(broker.url, store), second);
    const lists = open.length;
    await quietSeconds(4);
    expect(told(events)).toEqual(['1 stop-lamp raised']);
    expect(open.slice(lists).every(({ alerts }) => alerts.length === 1)).toBe(true);
    second.lamp = false;
    await until(() => events.length === 2);
    expect(events[1]).toMatchObject({
      seq: 2,
      change: 'cleared',
      boot: 2,
      store: events[0]!.store,
      alert: events[0]!.alert,
    });
    second.codes.set(3, 117);
    await until(() => events.length === 3);
    expect(events[2]).toMatchObject({
      seq: 3,
      rule: 'fault-code',
      change: 'raised',
      alert: `T-1042.${events[0]!.store}.3`,
    });
  });

  it('a store that cannot be opened is one line', async () => {
    const path = temp('no/such/folder/live.db');
    const started = live(truck(null, path), new FakeBus());
    await expect(started).rejects.toMatchObject({ exitCode: 1, message: expect.stringContaining(path) });
    await expect(started).rejects.not.toThrow('\n');
  });
});

describe('a store that cannot be written any more', () => {
  it('events go out at once, marked as not stored, and presence says degraded', async () => {
    const broker = await makeBroker();
    const { events, presence } = await office(broker.url);
    const bus = new FakeBus();
    const config = truck(broker.url, newStore());
    bus.lamp = true;
    await live(config, bus);
    await until(() => events.length === 1);
    // Another program takes the file: from here on every commit is refused.
    const thief = await openStore({ ...config.store!, truck: 'T-1042', run: { zeroWallMs: 0, synced: false } });
    cleanup(() => thief.close());
    bus.lamp = false;
    await until(() => events.length === 2);
    expect(events[1]).toMatchObject({ change: 'cleared', stored: false, seq: 1, alert: events[0]!.alert });
    expect(events[1]!.store).toMatch(/^~/);
    await until(() => presence.at(-1)?.degraded[0] === 'store');
  });
});

describe('the interface', () => {
  it('that is missing is no reason to end: presence says down, and it is tried again', async () => {
    const broker = await makeBroker();
    const { presence, events } = await office(broker.url);
    const bus = new FakeBus();
    bus.mode = { kind: 'absent', up: false };
    bus.lamp = true;
    const { log } = await live(truck(broker.url, newStore()), bus);
    await until(() => presence.at(-1)?.bus.main === 'down');
    await until(() => log.some(({ msg }) => msg === 'can0: no such interface; look with "ip link"'));
    bus.mode = { kind: 'virtual', up: true };
    await until(() => presence.at(-1)?.bus.main === 'virtual');
    await until(() => events.length === 1);
    bus.fail();
    await until(() => presence.at(-1)?.bus.main === 'down');
    await until(() => bus.opened === 2 && presence.at(-1)?.bus.main === 'virtual');
  });

  it('with an acknowledging controller is refused, with the remedy; nothing is opened', async () => {
    const bus = new FakeBus();
    bus.mode = { kind: 'acknowledging', up: true };
    const store = newStore();
    await expect(live(truck(null, store), bus)).rejects.toMatchObject({
      exitCode: 1,
      message: expect.stringMatching(
        /^can0: the controller is not in listen-only mode; set it with "ip link set can0 down && .* listen-only on .*", or write "acknowledge: yes" for bus main in the truck file$/,
      ),
    });
    expect(bus.opened).toBe(0);
  });

  it('that comes up acknowledging later is refused all the same', async () => {
    const bus = new FakeBus();
    bus.mode = { kind: 'absent', up: false };
    const { log } = await live(truck(null, newStore()), bus);
    bus.mode = { kind: 'acknowledging', up: true };
    await until(() => log.some(({ msg }) => msg.startsWith('can0: the controller is not in listen-only mode')));
    expect(bus.opened).toBe(0);
    bus.mode = LISTEN_ONLY;
    await until(() => bus.opened === 1);
  });

  it('may acknowledge where the truck file says so, and presence says that it does', async () => {
    const broker = await makeBroker();
    const { presence } = await office(broker.url);
    const bus = new FakeBus();
    bus.mode = { kind: 'acknowledging', up: true };
    await live(truck(broker.url, newStore(), ', acknowledge: yes'), bus);
    await until(() => presence.at(-1)?.bus.main === 'acknowledging');
  });

  it.each([
    [{ kind: 'foreign', up: true } as const, /^can0: is no CAN interface/],
    [new Error('can0: its control mode cannot be read'), /^can0: its control mode cannot be read$/],
  ])('of which %j is known is refused', async (mode, line) => {
    const bus = new FakeBus();
    bus.mode = mode;
    await expect(live(truck(null, newStore()), bus)).rejects.toMatchObject({
      exitCode: 1,
      message: expect.stringMatching(line),
    });
  });
});

describe('the process', () => {
  const file = (name: string, url: string, store: string): string =>
    temp(
      name,
      `fleet: northline\ntruck: T-1\nbuses: [{name: main, interface: nocan0}]\nlayout:\n  tractor:\n    axles:\n      - {kind: steer, tires: single, coldPressure: 120 psi, chamber: {type: 20}}\nmqtt: {url: "${url}", confirm: broker}\nstore: {path: "${store}"}\n`,
    );

  it('listens until SIGTERM, then says offline and ends with 0', async () => {
    const broker = await makeBroker();
    const { presence } = await office(broker.url);
    const path = file('term.yaml', broker.url, newStore());
    const child = spawn(process.execPath, [CLI, 'run', '--config', path], { stdio: ['ignore', 'pipe', 'pipe'] });
    let err = '';
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      err += text;
    });
    await until(() => presence.at(-1)?.state === 'awake' && /no such interface/.test(err));
    child.kill('SIGTERM');
    expect((await once(child, 'close'))[0]).toBe(0);
    expect(presence.at(-1)).toMatchObject({ state: 'offline', bus: { main: 'down' } });
    for (const line of err.trimEnd().split('\n')) expect(JSON.parse(line)).toMatchObject({ level: expect.any(Number) });
  });

  it('a mistake of ours is logged and ends it with 1; the will says offline', async () => {
    const broker = await makeBroker();
    const { presence } = await office(broker.url);
    const path = file('bug.yaml', broker.url, newStore());
    const bug = "process.on('SIGUSR2', () => { throw new Error('broken') })";
    const args = ['--import', `data:text/javascript,${encodeURIComponent(bug)}`, CLI, 'run', '--config', path];
    const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] });
    let err = '';
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      err += text;
    });
    await until(() => presence.at(-1)?.state === 'awake');
    child.kill('SIGUSR2');
    expect((await once(child, 'close'))[0]).toBe(1);
    // Not always the last line: one that was on its way to the disk at that moment may land after it.
    const lines = err
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line) as { level: number });
    expect(lines.filter(({ level }) => level === 60)).toMatchObject([{ err: { message: 'broken' } }]);
    await until(() => presence.at(-1)?.state === 'offline');
  });
});

const RUN = new URL('../../../dist/daemon/commands/run.js', import.meta.url).href;
const LOAD = new URL('../../../dist/config/load.js', import.meta.url).href;

/** The program on a bus in its own process: every 100 ms SPN 117, FMI 1 of up to 40 control units, one more each time. */
const CHILD = `
  import { startDaemon } from ${JSON.stringify(RUN)};
  import { loadTruckFile } from ${JSON.stringify(LOAD)};
  const silent = { info() {}, warn() {}, error() {}, fatal() {} };
  let frame = () => {};
  const openBus = async (name, filters, onFrame) => { frame = onFrame; return { close() {} }; };
  await startDaemon(loadTruckFile(process.argv[1]).config, { openBus, modeOf: async () => ({ kind: 'virtual', up: true }), log: silent });
  let units = 1;
  setInterval(() => {
    units = Math.min(40, units + 1);
    frame(0x0cf00400, Buffer.from('F07D7D401F00FFFF', 'hex'), false);
    for (let source = 1; source <= units; source++) frame(0x18feca00 | source, Uint8Array.of(0, 255, 117, 0, 1, 1, 255, 255), false);
  }, 100);
`;

describe('kill -9', () => {
  it('what the office was told is in the database, and the next run goes on with it', async () => {
    const broker = await makeBroker();
    const { events, inbox } = await office(broker.url);
    const store = newStore();
    const path = temp('kill.yaml', truckText(broker.url, store));
    for (const wanted of [10, 25, 40]) {
      const child = spawn(process.execPath, ['--input-type=module', '-e', CHILD, path], {
        stdio: ['ignore', 'inherit', 'inherit'],
      });
      cleanup(async () => child.kill('SIGKILL'));
      await until(() => events.length >= wanted);
      child.kill('SIGKILL');
      await once(child, 'close');
      const stored = rows(store);
      expect(stored.map(({ seq }) => seq)).toEqual(upTo(stored.length));
      for (const event of events)
        expect(stored[event.seq - 1]).toMatchObject({ rule: event.rule, change: event.change });
    }
    // Three runs, forty units: each was announced once, whatever happened in between.
    expect(events.every(({ change }) => change === 'raised')).toBe(true);
    expect(new Set(events.map(({ subject }) => subject)).size).toBe(events.length);
    expect(new Set(events.map(({ store: id }) => id)).size).toBe(1);
    expect(inbox.counts).toMatchObject({ invalid: 0, foreign: 0 });
  }, 60_000);
});
