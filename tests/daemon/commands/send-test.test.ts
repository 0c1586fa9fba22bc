import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import mqtt from 'mqtt';
import { afterAll, describe, expect, it } from 'vitest';
import { eventSchema, MAX_EVENT_BYTES, parsePayload, type ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { checkCommand } from '../../../daemon/commands/check.js';
import { cleanup, makeBroker } from '../../adapters/mqtt/harness.js';
import {
  freePort,
  mosquittoIsInstalled,
  folder as mqttFolder,
  passwordFile,
  startMosquitto,
} from '../../adapters/mqtt/mosquitto.js';
import { LAYOUT } from '../../support/truck-file.js';

if (!mosquittoIsInstalled) console.warn('skipped: a test message through a broker with rights needs mosquitto');

const folder = mkdtempSync(join(tmpdir(), 'axlepost-send-test-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
let files = 0;

async function sendTest(mqttSection: string) {
  const path = join(folder, `${++files}.yaml`);
  writeFileSync(path, `${LAYOUT}clock: {trust: yes}\nstore: {path: ${join(folder, 'axlepost.db')}}\n${mqttSection}`);
  let [out, err] = ['', ''];
  const code = await checkCommand(
    [path],
    { write: (text) => (out += text) },
    { write: (text) => (err += text) },
    { sendTest: true },
  );
  return { code, out, err };
}

const EVENT = 'axlepost/1/northline/T-1042/event';
/** Words of the steps that went well, in order. */
const steps = (out: string): string[] =>
  [...out.matchAll(/^ {2}([a-z ]+?) +\d+ ms {2}(?!NOT)/gm)].map(([, name]) => name!);
const ALL = ['name', 'port', 'broker', 'may read', 'event sent', 'came back'];

describe('check --send-test', () => {
  it('sends what an office takes: raised and cleared, under a store of their own, kept by nobody', async () => {
    const broker = await makeBroker();
    const received: { topic: string; retain: boolean; event: ReceivedEvent | null }[] = [];
    broker.aedes.on('publish', (packet, client) => {
      if (client === null) return;
      const { message } = parsePayload(eventSchema, Buffer.from(packet.payload), MAX_EVENT_BYTES);
      received.push({ topic: packet.topic, retain: packet.retain, event: message });
    });
    const { code, out, err } = await sendTest(`mqtt: {url: "${broker.url}"}\n`);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(steps(out)).toEqual(ALL);
    expect(out).toContain('The broker took it and gave it back.');
    expect(out).toContain('when an office confirms their numbers; where there is none, write `confirm: broker`');
    expect(received.map(({ topic, retain }) => [topic, retain])).toEqual([
      [EVENT, false],
      [EVENT, false],
    ]);
    const [raised, cleared] = received.map(({ event }) => event!);
    const about = {
      fleet: 'northline',
      truck: 'T-1042',
      rule: 'test-message',
      kind: 'system',
      urgency: 'plan',
      stored: false,
    };
    expect(raised).toMatchObject({ ...about, change: 'raised', seq: 1, was: null });
    expect(cleared).toMatchObject({ ...about, change: 'cleared', seq: 2, was: 'plan', alert: raised!.alert });
    expect(raised!.store).toMatch(/^~/);
    expect(cleared!.store).toBe(raised!.store);
    expect(Math.abs(Date.parse(raised!.at) - Date.now())).toBeLessThan(60_000);
    // No database was made for it, and none was touched.
    expect(readdirSync(folder).filter((name) => name.includes('.db'))).toEqual([]);
  });

  it('asks for no office where the broker’s word is enough', async () => {
    const broker = await makeBroker();
    const { code, out } = await sendTest(`mqtt: {url: "${broker.url}", confirm: broker}\n`);
    expect(code).toBe(0);
    expect(out).not.toContain('confirm');
  });

  it('leaves the connection of the running daemon alone', async () => {
    const broker = await makeBroker();
    const daemon = mqtt.connect(broker.url, { clientId: 'axlepost-northline-T-1042', reconnectPeriod: 0 });
    cleanup(() => daemon.endAsync(true));
    await new Promise((resolve) => daemon.once('connect', resolve));
    expect((await sendTest(`mqtt: {url: "${broker.url}"}\n`)).code).toBe(0);
    await daemon.publishAsync('still/here', 'yes', { qos: 1 });
    expect(daemon.connected).toBe(true);
  });

  it('says where it stopped: no broker there', async () => {
    const port = await freePort();
    const { code, out, err } = await sendTest(`mqtt: {url: "mqtt://127.0.0.1:${port}"}\n`);
    expect(code).toBe(1);
    expect(steps(out)).toEqual(['name']);
    expect(out).toMatch(/port +\d+ ms {2}NOT: nothing listens on port/);
    expect(err).toMatch(/^send-test: stopped at "port": nothing listens on port \d+ [^\n]+\n$/);
  });

  it.each([
    ['no broker in the truck file', '', 'names no broker'],
    [
      'a password that is not there',
      'mqtt: {url: "mqtt://127.0.0.1:1", user: a, password: {env: AXLEPOST_NONE}}\n',
      'AXLEPOST_NONE',
    ],
  ])('%s: one line', async (_what, section, says) => {
    const { code, err } = await sendTest(section);
    expect(code).toBe(1);
    expect(err).toMatch(/^send-test: [^\n]+\n$/);
    expect(err).toContain(says);
  });

  it('a truck file that does not hold sends nothing', async () => {
    const { code, out } = await sendTest('speling: 1\n');
    expect({ code, out }).toEqual({ code: 2, out: '' });
  });
});

describe.skipIf(!mosquittoIsInstalled)('check --send-test through a broker with rights', () => {
  async function broker(rights: string[]): Promise<string> {
    const directory = mqttFolder();
    const port = await freePort();
    const acl = join(directory, 'acl');
    writeFileSync(acl, ['user t1042', ...rights, ''].join('\n'));
    const passwords = passwordFile(directory, { t1042: 'correct-horse' });
    const lines = [`listener ${port} 127.0.0.1`, `password_file ${passwords}`, `acl_file ${acl}`];
    await startMosquitto(directory, lines);
    writeFileSync(join(directory, 'secret'), 'correct-horse\n', { mode: 0o600 });
    return `mqtt: {url: "mqtt://127.0.0.1:${port}", user: t1042, password: {file: ${join(directory, 'secret')}}}\n`;
  }

  it('with all rights goes all the way, by MQTT 5', async () => {
    const { code, out } = await sendTest(await broker(['topic readwrite axlepost/1/northline/T-1042/#']));
    expect(code).toBe(0);
    expect(out).toContain('MQTT 5');
    expect(steps(out)).toEqual(ALL);
    expect(out).not.toContain('correct-horse');
  });

  it('with no right to write is stopped, and says so', async () => {
    const { code, err } = await sendTest(await broker(['topic read axlepost/1/northline/T-1042/#']));
    expect(code).toBe(1);
    expect(err).toMatch(/^send-test: stopped at "/);
  });

  it('with a wrong password is stopped at the broker', async () => {
    const section = await broker(['topic readwrite #']);
    writeFileSync(/file: ([^}]+)\}/.exec(section)![1]!, 'wrong-horse\n', { mode: 0o600 });
    const { code, err } = await sendTest(section);
    expect(code).toBe(1);
    expect(err).toMatch(/^send-test: stopped at "broker": /);
    expect(err).not.toContain('wrong-horse');
  });
});
