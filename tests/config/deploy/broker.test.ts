import { readFileSync } from 'node:fs';
import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import { afterEach, describe, expect, it } from 'vitest';
import { MESSAGES } from '../../../adapters/mqtt/contract.js';
import { type TopicName, topicOf } from '../../../adapters/mqtt/topics.js';
import { type Authority, opensslIsInstalled } from '../../adapters/mqtt/authority.js';
import { PASSWORDS, startDeployedBroker } from '../../adapters/mqtt/deployed-broker.js';
import { mosquittoIsInstalled } from '../../adapters/mqtt/mosquitto.js';

/* The broker's files of config/deploy/broker under mosquitto itself. */

const canRun = opensslIsInstalled && mosquittoIsInstalled;
if (!canRun) console.warn('skipped: the broker of the deploy notes needs openssl and mosquitto');

const REASON_NOT_AUTHORIZED = 135;

const clients: MqttClient[] = [];
afterEach(async () => {
  await Promise.all(clients.splice(0).map((client) => client.endAsync(true)));
});

interface Fleet {
  authority: Authority;
  connect(options: IClientOptions): Promise<MqttClient>;
}

async function broker(options: { byCertificate?: boolean } = {}): Promise<Fleet> {
  const { authority, url } = await startDeployedBroker(options);
  const connect = async (more: IClientOptions): Promise<MqttClient> => {
    const client = await mqtt.connectAsync(
      url,
      { protocolVersion: 5, ca: readFileSync(authority.ca), reconnectPeriod: 0, ...more },
      false,
    );
    clients.push(client);
    return client;
  };
  return { authority, connect };
}

const as = (user: keyof typeof PASSWORDS): IClientOptions => ({ username: user, password: PASSWORDS[user] });
const topic = (truck: string, name: TopicName): string => topicOf('axlepost', 'northline', truck, name);

/** null: taken. */
async function refusedBecause(client: MqttClient, to: string): Promise<number | null> {
  const ended = await client.publishAsync(to, 'x', { qos: 1 }).then(
    () => null,
    (error: { code?: number }) => error.code ?? -1,
  );
  return ended;
}

const mayHear = (client: MqttClient, to: string): Promise<boolean> =>
  client.subscribeAsync(to, { qos: 1 }).then(
    ([granted]) => granted!.qos === 1,
    () => false,
  );

describe.skipIf(!canRun)('the broker of the deploy notes', () => {
  it('takes from a truck what a truck says, of itself only', async () => {
    const { connect } = await broker();
    const truck = await connect(as('northline/T-1042'));
    for (const { topic: name, from } of MESSAGES) {
      expect([name, await refusedBecause(truck, topic('T-1042', name))]).toEqual([
        name,
        from === 'truck' ? null : REASON_NOT_AUTHORIZED,
      ]);
      expect([name, await refusedBecause(truck, topic('T-208', name))]).toEqual([name, REASON_NOT_AUTHORIZED]);
    }
    expect(await refusedBecause(truck, 'anything/else')).toBe(REASON_NOT_AUTHORIZED);
  });

  it('brings what the office answers to that truck, and to no other', async () => {
    const { connect } = await broker();
    const [truck, other] = [await connect(as('northline/T-1042')), await connect(as('northline/T-208'))];
    const office = await connect(as('office'));
    const heard: string[] = [];
    for (const [name, client] of Object.entries({ truck, other }))
      client.on('message', (at, payload) => heard.push(`${name} ${at} ${payload.toString()}`));
    expect(await mayHear(truck, topic('T-1042', 'answer'))).toBe(true);
    // A filter of all trucks is granted and brings nothing of others: mosquitto looks at each message.
    for (const filter of [topic('T-1042', 'answer'), topic('+', 'answer'), '#']) await mayHear(other, filter);
    expect(await refusedBecause(office, topic('T-1042', 'answer'))).toBe(null);
    // Its own answer comes behind whatever else was brought to it.
    expect(await refusedBecause(office, topic('T-208', 'answer'))).toBe(null);
    while (!heard.some((line) => line.startsWith('other ')) || !heard.some((line) => line.startsWith('truck ')))
      await new Promise((resolve) => setTimeout(resolve, 5));
    expect(heard.filter((line) => line.startsWith('other ')).every((line) => line.includes('T-208/answer'))).toBe(true);
    expect(heard.filter((line) => line.startsWith('truck '))).toEqual([`truck ${topic('T-1042', 'answer')} x`]);
  });

  it('lets the office hear everything of its fleet and write answers, nothing else', async () => {
    const { connect } = await broker();
    const [office, truck] = [await connect(as('office')), await connect(as('northline/T-1042'))];
    const heard: string[] = [];
    office.on('message', (at) => heard.push(at));
    for (const { topic: name } of MESSAGES)
      expect([name, await mayHear(office, topic('+', name))]).toEqual([name, true]);
    const sent = [...new Set(MESSAGES.filter(({ from }) => from === 'truck').map(({ topic: name }) => name))];
    for (const name of sent) await truck.publishAsync(topic('T-1042', name), 'x', { qos: 1 });
    while (heard.length < sent.length) await new Promise((resolve) => setTimeout(resolve, 5));
    expect(heard).toEqual(sent.map((name) => topic('T-1042', name)));
    for (const name of sent)
      expect([name, await refusedBecause(office, topic('T-1042', name))]).toEqual([name, REASON_NOT_AUTHORIZED]);
  });

  it.each<[string, IClientOptions]>([
    ['without a name', {}],
    ['with another truck’s password', { username: 'northline/T-1042', password: 'two' }],
    ['under a name that would match others', { username: 'northline/+', password: 'one' }],
  ])('nobody comes in %s', async (_how, options) => {
    const { connect } = await broker();
    await expect(connect(options)).rejects.toThrow(/Not authorized|Bad User Name or Password/i);
  });

  it('with certificates: the common name is the truck', async () => {
    const { authority, connect } = await broker({ byCertificate: true });
    const pair = authority.sign('northline/T-1042', 'DNS:T-1042');
    const truck = await connect({ cert: readFileSync(pair.cert), key: readFileSync(pair.key) });
    expect(await refusedBecause(truck, topic('T-1042', 'event'))).toBe(null);
    expect(await refusedBecause(truck, topic('T-208', 'event'))).toBe(REASON_NOT_AUTHORIZED);
    await expect(connect(as('northline/T-1042'))).rejects.toThrow();
  });
});
