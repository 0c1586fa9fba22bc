import { once } from 'node:events';
import { readFileSync, writeFileSync } from 'node:fs';
import { connect as tlsConnect } from 'node:tls';
import { describe, expect, it } from 'vitest';
import { readCredentials } from '../../../adapters/mqtt/credentials.js';
import { fleetFilters, readOfficeFile } from '../../../config/office.js';
import { opensslIsInstalled } from '../../adapters/mqtt/authority.js';
import { type DeployedBroker, PASSWORDS, startDeployedBroker } from '../../adapters/mqtt/deployed-broker.js';
import { MemoryOutbox, makePublisher, until, upTo } from '../../adapters/mqtt/harness.js';
import { folder, freePort, mosquittoIsInstalled, startMosquitto } from '../../adapters/mqtt/mosquitto.js';
import { bareClient, kindsOf, makeLink, type Office, seqsOf } from './harness.js';

const canRun = opensslIsInstalled && mosquittoIsInstalled;
if (!canRun) console.warn('skipped: the office against a broker of its own process needs openssl and mosquitto');

const KEY = { fleet: 'northline', truck: 'T-1042' };

const credentialsOf = ({ authority }: DeployedBroker, user: keyof typeof PASSWORDS) => ({
  username: user,
  password: PASSWORDS[user],
  ca: readFileSync(authority.ca),
});

function truckOf(broker: DeployedBroker, truck: 'T-1042' | 'T-208', events: number): MemoryOutbox {
  const outbox = new MemoryOutbox();
  outbox.append(events);
  const credentials = () => credentialsOf(broker, `northline/${truck}`);
  makePublisher(outbox, broker.url, { truck, credentials }).start();
  return outbox;
}

/** config/deploy/broker/office.yaml as it is, but for where the broker and the files are. */
function officeFileOf({ url, authority }: DeployedBroker) {
  const password = `${folder()}/password`;
  writeFileSync(password, `${PASSWORDS.office}\n`, { mode: 0o600 });
  let text = readFileSync('config/deploy/broker/office.yaml', 'utf8');
  for (const [from, to] of [
    ['mqtts://broker.northline.example:8883', url],
    ['/etc/axlepost/secrets/office-password', password],
    ['/etc/axlepost/office-ca.pem', authority.ca],
  ] as const) {
    expect(text).toContain(from);
    text = text.replace(from, to);
  }
  const { config, problems } = readOfficeFile(text, 'office.yaml');
  if (config === undefined) throw new Error(JSON.stringify(problems));
  return config;
}

const eventsOf = ({ taken }: Office): string[] =>
  taken.flatMap(({ key, incoming }) => (incoming.kind === 'event' ? [`${key.truck} ${incoming.message.seq}`] : []));

describe.skipIf(!canRun)('the broker of the deploy notes, with TLS', () => {
  it('two instances by its office file: each event to exactly one, the state of every truck to both', async () => {
    const broker = await startDeployedBroker();
    const config = officeFileOf(broker);
    const instance = () =>
      makeLink(config.broker.url, {
        fleets: fleetFilters(config),
        sharedGroup: config.shared,
        credentials: () => readCredentials(config.broker),
      });
    expect(config.shared).toBe('axlepost-office');
    const offices = [instance(), instance()];
    await until(() => offices.every(({ link }) => link.isConnected));
    const outboxes = [truckOf(broker, 'T-1042', 300), truckOf(broker, 'T-208', 300)];
    const all = (): string[] => offices.flatMap(eventsOf);
    await until(() => outboxes.every(({ confirmed }) => confirmed === 300) && all().length >= 600);
    expect(all()).toHaveLength(600);
    expect(new Set(all()).size).toBe(600);
    for (const office of offices) {
      expect(eventsOf(office).length).toBeGreaterThan(0);
      const heard = new Set(office.taken.map(({ key, incoming }) => `${key.truck} ${incoming.kind}`));
      for (const truck of ['T-1042', 'T-208']) {
        expect(heard).toContain(`${truck} open`);
        expect(heard).toContain(`${truck} presence`);
      }
      expect(office.link.notes).toEqual([]);
    }
  });

  it('of two instances one goes: the other gets everything from then on', async () => {
    const broker = await startDeployedBroker();
    const instance = () =>
      makeLink(broker.url, { sharedGroup: 'desk', credentials: () => credentialsOf(broker, 'office') });
    const [one, other] = [instance(), instance()];
    await until(() => one.link.isConnected && other.link.isConnected);
    truckOf(broker, 'T-1042', 20);
    await until(() => eventsOf(one).length + eventsOf(other).length === 20);
    await one.link.close();
    const before = eventsOf(other).length;
    truckOf(broker, 'T-208', 20);
    await until(() => eventsOf(other).length === before + 20);
  });

  it('what trucks say while the office is away reaches it when it is back; a trip, which nobody says twice, too', async () => {
    const broker = await startDeployedBroker();
    const office = () =>
      makeLink(broker.url, { clientId: 'desk-1', isKept: true, credentials: () => credentialsOf(broker, 'office') });
    const first = office();
    await until(() => first.link.isConnected);
    await first.link.close();
    const truck = await bareClient(broker.url, credentialsOf(broker, 'northline/T-1042'));
    const trip = { v: 1, store: 'k3f9q2m1x7ab', boot: 1, trip: 4, config: '9c1e44d0', synced: true };
    const times = { start: '2026-03-02T13:00:41.000Z', end: '2026-03-02T16:01:02.000Z', distanceKm: 212.4 };
    const told = JSON.stringify({ ...trip, ...times, alerts: 0, gapS: 0, notJudged: [] });
    await truck.publishAsync('axlepost/1/northline/T-1042/trip', told, { qos: 1 });
    const second = office();
    await until(() => second.taken.length > 0);
    expect(kindsOf(second)).toEqual(['trip']);
    // Taken once, it does not come again.
    await second.link.close();
    const third = office();
    await until(() => third.link.isConnected);
    expect(third.taken).toEqual([]);
  });

  it('the office’s answer reaches the truck, and nothing of its probes stays', async () => {
    const broker = await startDeployedBroker();
    const credentials = () => credentialsOf(broker, 'office');
    const { link } = makeLink(broker.url, { credentials });
    await until(() => link.isConnected);
    await link.answer(KEY, { v: 1, rev: 3, received: null, trailer: null, decisions: [] });
    const heard: number[] = [];
    const truck = makePublisher(new MemoryOutbox(), broker.url, {
      credentials: () => credentialsOf(broker, 'northline/T-1042'),
      onAnswer: ({ rev }) => heard.push(rev),
    });
    truck.start();
    await until(() => heard.length === 1);
    expect(heard).toEqual([3]);
    await link.close();
    const retained: string[] = [];
    const client = await bareClient(broker.url, { ...credentials(), protocolVersion: 5 });
    client.on('message', (topic) => retained.push(topic));
    await client.subscribeAsync('axlepost/1/northline/+/answer', { qos: 1 });
    // What is retained comes before what is said after the subscription.
    await client.publishAsync('axlepost/1/northline/last/answer', 'x', { qos: 1 });
    await until(() => retained.includes('axlepost/1/northline/last/answer'));
    expect(retained).toEqual(['axlepost/1/northline/T-1042/answer', 'axlepost/1/northline/last/answer']);
  });

  it('speaks no WebSocket', async () => {
    const broker = await startDeployedBroker();
    const socket = tlsConnect({ port: broker.port, host: '127.0.0.1', ca: readFileSync(broker.authority.ca) });
    socket.on('error', () => {});
    await once(socket, 'secureConnect');
    let said = '';
    socket.on('data', (data) => (said += data.toString()));
    const key = Buffer.from('a websocket key!').toString('base64');
    socket.write(
      `GET /mqtt HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: ${key}\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Protocol: mqtt\r\n\r\n`,
    );
    await once(socket, 'close');
    expect(said).not.toContain('HTTP/');
  });
});

describe.skipIf(!canRun)('mosquitto as it comes', () => {
  it('speaks MQTT 5 with the office and lacks nothing; killed, it is waited for', async () => {
    const directory = folder();
    const port = await freePort();
    const url = `mqtt://127.0.0.1:${port}`;
    const conf = [`listener ${port} 127.0.0.1`, 'allow_anonymous true'];
    const first = await startMosquitto(directory, conf);
    const lines: string[] = [];
    const office = makeLink(url, { sharedGroup: 'desk', log: (_, line) => lines.push(line) });
    await until(() => office.link.isConnected);
    const outbox = new MemoryOutbox();
    outbox.append(10);
    const truck = makePublisher(outbox, url);
    truck.start();
    await until(() => seqsOf(office).length === 10);
    expect(lines[0]).toBe(`connected to ${url} with MQTT 5`);
    first.kill('SIGKILL');
    await until(() => office.link.notes.length > 0);
    expect(office.link.notes[0]).toMatch(/^the broker mqtt:\S+ is away since \d{4}-\d\d-\d\d \d\d:\d\d UTC: /);
    await startMosquitto(directory, conf);
    await until(() => office.link.isConnected && office.link.notes.length === 0);
    outbox.append(10);
    truck.poke();
    await until(() => new Set(seqsOf(office)).size === 20);
  });

  it('told to retain nothing: trucks and office get on, and the office says so', async () => {
    const port = await freePort();
    const url = `mqtt://127.0.0.1:${port}`;
    await startMosquitto(folder(), [`listener ${port} 127.0.0.1`, 'allow_anonymous true', 'retain_available false']);
    const office = makeLink(url);
    await until(() => office.link.isConnected);
    const outbox = new MemoryOutbox();
    outbox.append(10);
    const rejoined: number[] = [];
    const truck = makePublisher(outbox, url, { onAnswer: ({ rev }) => rejoined.push(rev) });
    truck.start();
    await until(() => seqsOf(office).length === 10);
    expect(seqsOf(office)).toEqual(upTo(10));
    expect(kindsOf(office)).toEqual(expect.arrayContaining(['presence', 'open']));
    await office.link.answer(KEY, { v: 1, rev: 1, received: null, trailer: null, decisions: [] });
    await until(() => rejoined.length === 1);
    expect(truck.health()).toMatchObject({ connects: 1, protocolVersion: 5 });
    expect(office.link.counts.connects).toBe(1);
    expect(office.link.notes).toEqual([expect.stringMatching(/^this broker keeps no retained messages/)]);
  });

  it('held by a slow taker it sends no more than it may, and loses nothing', async () => {
    const port = await freePort();
    const url = `mqtt://127.0.0.1:${port}`;
    await startMosquitto(folder(), [
      `listener ${port} 127.0.0.1`,
      'allow_anonymous true',
      'max_inflight_messages 0',
      'max_queued_messages 0',
    ]);
    const seqs: number[] = [];
    let release = (): void => {};
    const held = new Promise<void>((resolve) => (release = resolve));
    const office = makeLink(url, {
      take: (_, incoming) => {
        if (incoming.kind !== 'event') return undefined;
        seqs.push(incoming.message.seq);
        return seqs.length === 1 ? held : undefined;
      },
    });
    await until(() => office.link.isConnected);
    const outbox = new MemoryOutbox();
    outbox.append(1000);
    makePublisher(outbox, url).start();
    await until(() => outbox.confirmed === 1000);
    expect(seqs).toEqual([1]);
    release();
    await until(() => seqs.length === 1000);
    expect(seqs).toEqual(upTo(1000));
    expect(office.link.counts.connects).toBe(1);
  });
});
