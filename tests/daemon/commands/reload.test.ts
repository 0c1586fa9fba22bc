import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { rmSync, writeFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import type { AnswerMessage, ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { marksText } from '../../../config/marks.js';
import type { Mark } from '../../../config/resolved.js';
import { Answers } from '../../../daemon/commands/answers.js';
import type { Answer } from '../../../daemon/input.js';
import { cleanup, makeBroker, makeInbox, until } from '../../adapters/mqtt/harness.js';
import { truckOf } from '../../support/truck-file.js';
import { CLI, temp } from './helpers.js';
import { FakeBus, live, quietSeconds, truck, truckText } from './live.js';

describe('a reload of a daemon that listens', () => {
  it('a rule whose limits changed has its alert closed, and all others stay as they are', async () => {
    const broker = await makeBroker();
    const events: string[] = [];
    await makeInbox({
      url: broker.url,
      onEvent: (e) => events.push(`${e.rule} ${e.change} ${e.reason ?? '-'} ${e.config}`),
    });
    const store = temp('reload-limits.db');
    const before = truck(broker.url, store);
    const after = truckOf(truckText(broker.url, store).replace('raiseAfter: 1 s', 'raiseAfter: 2 s'));
    expect(after.hash).not.toBe(before.hash);
    const bus = new FakeBus();
    bus.lamp = true;
    bus.codes.set(3, 117);
    const { daemon, log } = await live(before, bus);
    await until(() => events.length === 2);
    daemon.reload(after);
    await until(() => events.some((event) => event.includes('closed')));
    await until(() => events.length >= 4);
    expect(events.filter((event) => !event.startsWith('stop-lamp'))).toHaveLength(1);
    // Signed by what decided: the closing by the new configuration, as what was before by the old one.
    expect(events.filter((event) => event.startsWith('stop-lamp'))).toEqual([
      `stop-lamp raised - ${before.hash}`,
      `stop-lamp closed rule-changed ${after.hash}`,
      `stop-lamp raised - ${after.hash}`,
    ]);
    expect(log.find(({ msg }) => msg === 'reloaded')).toMatchObject({ config: after.hash, was: before.hash });
    expect(bus.opened).toBe(1);
  });

  it('another broker is used from then on; another bus is opened and the one before is let go', async () => {
    const [one, two] = [await makeBroker(), await makeBroker()];
    const heard: string[] = [];
    const presence: string[] = [];
    await makeInbox({ url: one.url, onPresence: (p) => presence.push(p.state) });
    await makeInbox({ url: two.url, onEvent: (e) => heard.push(`${e.rule} ${e.change}`) });
    const store = temp('reload-broker.db');
    const bus = new FakeBus();
    const { daemon } = await live(truck(one.url, store), bus);
    await until(() => presence.at(-1) === 'awake');
    const { buses, ...rest } = truck(two.url, store);
    daemon.reload({ ...rest, buses: [{ ...buses[0]!, interface: 'can7' }] });
    await until(() => presence.at(-1) === 'offline');
    expect([bus.opened, bus.closed]).toEqual([2, 1]);
    bus.lamp = true;
    await until(() => heard.includes('stop-lamp raised'));
  });
});

interface Process {
  child: ChildProcess;
  log: { msg: string; level: number; config?: string }[];
}

function start(path: string): Process {
  const child = spawn(process.execPath, [CLI, 'run', '--config', path], { stdio: ['ignore', 'ignore', 'pipe'] });
  cleanup(async () => child.kill('SIGKILL'));
  const log: Process['log'] = [];
  let rest = '';
  child.stderr!.setEncoding('utf8').on('data', (text: string) => {
    const lines = (rest + text).split('\n');
    rest = lines.pop()!;
    for (const line of lines) log.push(JSON.parse(line));
  });
  return { child, log };
}

describe('SIGHUP', () => {
  const NO_BUS = (text: string): string => text.replace('can0', 'nocan0');

  it('a good file is in force at once; a bad one is told line by line and leaves the old one in force', async () => {
    const store = temp('hup.db');
    const good = NO_BUS(truckText(null, store));
    const path = temp('hup.yaml', good);
    const { child, log } = start(path);
    await until(() => log.some(({ msg }) => msg === 'started'));
    const first = log.find(({ msg }) => msg === 'started')!.config!;
    writeFileSync(path, good.replace('coldPressure: 120 psi', 'coldPressure: 900 psi'));
    child.kill('SIGHUP');
    await until(() => log.some(({ msg }) => /the configuration in force stays/.test(msg)));
    expect(log.some(({ msg }) => /hup\.yaml:\d+:\d+: .*900 psi/.test(msg))).toBe(true);
    expect(log.some(({ msg }) => msg === 'reloaded')).toBe(false);
    writeFileSync(path, good.replace('coldPressure: 120 psi', 'coldPressure: 110 psi').replace(store, `${store}-2`));
    child.kill('SIGHUP');
    await until(() => log.some(({ msg }) => msg === 'reloaded'));
    expect(log.find(({ msg }) => msg === 'reloaded')!.config).not.toBe(first);
    expect(log.some(({ msg }) => /^store: changed in .*, and changes at the next start$/.test(msg))).toBe(true);
    child.kill('SIGTERM');
    expect((await once(child, 'close'))[0]).toBe(0);
  });

  it('marks beside the store are taken up within seconds, and again when they are gone or broken', async () => {
    const store = temp('marks.db');
    const path = temp('marks.yaml', NO_BUS(truckText(null, store)));
    const marks = `${store}.marks.json`;
    const mark: Mark = {
      subject: 'tractor/2/left/outer',
      what: 'sensor-bad',
      who: 'R. Vale',
      untilMs: Date.now() + 6e8,
    };
    const { child, log } = start(path);
    await until(() => log.some(({ msg }) => msg === 'started'));
    const first = log.find(({ msg }) => msg === 'started')!.config!;
    const reloads = (): string[] => log.filter(({ msg }) => msg === 'reloaded').map(({ config }) => config!);
    writeFileSync(marks, marksText([mark]));
    await until(() => reloads().length === 1);
    expect(reloads()[0]).not.toBe(first);
    writeFileSync(marks, '{');
    await until(() => log.some(({ msg }) => /the marks in force stay$/.test(msg)));
    expect(reloads()).toHaveLength(1);
    rmSync(marks);
    await until(() => reloads().length === 2);
    expect(reloads()[1]).toBe(first);
    child.kill('SIGTERM');
    expect((await once(child, 'close'))[0]).toBe(0);
  }, 40_000);
});

describe('answers of the office', () => {
  const decision = { rev: 1, alert: 'T-1.store.5', do: 'take' as const, who: 'Mara' };

  function answers(known: Record<string, number>, fails = 0) {
    const handed: Answer[] = [];
    const lines: string[] = [];
    let left = fails;
    const taken = new Answers({
      ordinals: async (ids) => {
        if (left-- > 0) throw new Error('the store is closed');
        return ids.map((id) => known[id] ?? null);
      },
      volatileOrdinal: (id) => (id === 'T-1.~abc.1' ? 9 : null),
      hand: (answer) => handed.push(answer),
      log: (line) => lines.push(line),
    });
    return { taken, handed, lines };
  }

  it('ids become ordinals, also of alerts that were only told unstored; an unknown one is counted', async () => {
    const { taken, handed } = answers({ 'T-1.store.5': 2 });
    await taken.take({
      trailer: 'TR-77',
      decisions: [
        decision,
        { rev: 2, alert: 'T-1.~abc.1', do: 'snooze', who: 'Mara', note: 'at the dock', minutes: 30 },
        { rev: 3, alert: 'T-9.other.1', do: 'close', who: 'Mara' },
      ],
    });
    expect(handed).toEqual([
      {
        trailer: 'TR-77',
        decisions: [
          { rev: 1, alert: 2, do: 'take', who: 'Mara', note: null, minutes: null },
          { rev: 2, alert: 9, do: 'snooze', who: 'Mara', note: 'at the dock', minutes: 30 },
        ],
      },
    ]);
    expect(taken.unknown).toBe(1);
  });

  it('an answer that only confirms more is not handed on; one that the store could not serve is, when it comes again', async () => {
    const { taken, handed, lines } = answers({ 'T-1.store.5': 2 }, 1);
    await taken.take({ trailer: null, decisions: [decision] });
    expect([handed.length, lines.length]).toEqual([0, 1]);
    for (let n = 0; n < 3; n++) await taken.take({ trailer: null, decisions: [decision] });
    expect(handed).toHaveLength(1);
  });

  it('a take from the office is an event of the truck, once', async () => {
    const broker = await makeBroker();
    const events: ReceivedEvent[] = [];
    const inbox = await makeInbox({ url: broker.url, onEvent: (e) => events.push(e) });
    const bus = new FakeBus();
    bus.lamp = true;
    await live(truck(broker.url, temp('take.db')), bus);
    await until(() => events.length === 1);
    const answer: AnswerMessage = {
      v: 1,
      rev: 1,
      received: null,
      trailer: null,
      decisions: [{ ...decision, alert: events[0]!.alert }],
    };
    await inbox.answer({ fleet: 'northline', truck: 'T-1042' }, answer);
    await until(() => events.length === 2);
    await inbox.answer({ fleet: 'northline', truck: 'T-1042' }, { ...answer, rev: 2 });
    await quietSeconds(2);
    expect(events.map(({ change, who }) => [change, who])).toEqual([
      ['raised', undefined],
      ['taken', 'Mara'],
    ]);
  });
});
