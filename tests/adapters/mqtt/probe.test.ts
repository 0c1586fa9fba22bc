import { readFileSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:net';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { parseBrokerUrl } from '../../../adapters/mqtt/broker-url.js';
import { type ProbeOptions, type ProbeStep, probeBroker } from '../../../adapters/mqtt/probe.js';
import { Authority, opensslIsInstalled } from './authority.js';
import { cleanup, makeBroker } from './harness.js';
import { folder, freePort, mosquittoIsInstalled, passwordFile, startMosquitto } from './mosquitto.js';
import { ACCEPT_5, ACCEPT_311, startStubBroker } from './stub-broker.js';

const canMosquitto = mosquittoIsInstalled && opensslIsInstalled;
if (!canMosquitto) console.warn('skipped: the probe of a real broker needs mosquitto and openssl');

const TOPIC = 'axlepost/1/northline/T-1042/event';
const PAYLOAD = '{"v":1}';

function probe(url: string, more: Partial<ProbeOptions> = {}): Promise<ProbeStep[]> {
  const { address, error } = parseBrokerUrl(url);
  if (address === null) throw new Error(error);
  return probeBroker({ address, client: {}, clientId: 'probe-1', topic: TOPIC, payload: PAYLOAD, ...more });
}

/** `name ok` or `name: line`, one after the other. */
const told = (steps: ProbeStep[]): string[] =>
  steps.map(({ name, ok, line }) => (ok ? `${name} ok` : `${name}: ${line}`));

const ALL = ['resolve ok', 'tcp ok', 'connect ok', 'subscribe ok', 'puback ok', 'echo ok'];

/** A server of its own kind on loopback. */
async function serve(server: Server): Promise<string> {
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  cleanup(async () => server.close());
  return `127.0.0.1:${(server.address() as { port: number }).port}`;
}

/** Takes connections and never says a word. */
function silentServer(): Server {
  return createServer((socket) => {
    socket.on('error', () => {});
    cleanup(async () => socket.destroy());
  });
}

describe('a broker in this process', () => {
  it('takes the message and gives it back; each step is told as it is done, with its time', async () => {
    const broker = await makeBroker();
    const live: ProbeStep[] = [];
    const steps = await probe(broker.url, { onStep: (step) => live.push(step) });
    expect(told(steps)).toEqual(ALL);
    expect(live).toEqual(steps);
    expect(steps.every(({ ms }) => Number.isInteger(ms) && ms >= 0)).toBe(true);
    // aedes speaks 3.1.1 only.
    expect(steps[2]!.line).toBe('MQTT 3.1.1');
    expect(broker.aedes.connectedClients).toBe(0);
  });

  it('leaves no will behind when it goes', async () => {
    const broker = await makeBroker();
    const topics: string[] = [];
    broker.aedes.on('publish', (packet, client) => {
      if (client !== null) topics.push(packet.topic);
    });
    await probe(broker.url);
    expect(topics).toEqual([TOPIC]);
  });
});

describe('no broker', () => {
  it('a name that nobody knows', async () => {
    // RFC 6761 §6.4: names under .invalid never exist.
    const [step, ...more] = await probe('mqtt://broker.invalid:1883');
    expect(step).toMatchObject({ name: 'resolve', ok: false });
    expect(step!.line).toMatch(/^broker\.invalid is not known \((ENOTFOUND|EAI_AGAIN)\)/);
    expect(more).toEqual([]);
  });

  it('a port where nothing listens', async () => {
    const port = await freePort();
    expect(told(await probe(`mqtt://127.0.0.1:${port}`))).toEqual([
      'resolve ok',
      `tcp: nothing listens on port ${port} (ECONNREFUSED)`,
    ]);
  });

  it('a server that says nothing', async () => {
    const place = await serve(silentServer());
    expect(told(await probe(`mqtt://${place}`, { stepMs: 50 }))).toEqual([
      'resolve ok',
      'tcp ok',
      'connect: no answer to CONNECT',
    ]);
    expect(told(await probe(`mqtts://${place}`, { stepMs: 50 }))).toEqual([
      'resolve ok',
      'tcp ok',
      'tls: no answer to TLS: is that the port for encrypted connections? (0.1 s)',
    ]);
  });

  it('a server that hangs up', async () => {
    const place = await serve(createServer((socket) => socket.destroy()));
    expect(told(await probe(`mqtt://${place}`)).at(-1)).toMatch(
      /^connect: (connection closed before CONNACK|ECONNRESET)$/,
    );
    expect(told(await probe(`mqtts://${place}`)).at(-1)).toMatch(/^tls: /);
  });
});

describe('a broker that hangs or lies', () => {
  it('takes the message and never acknowledges it', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5, puback: () => null });
    expect(told(await probe(stub.url, { stepMs: 400 }))).toEqual([...ALL.slice(0, 4), 'puback: no PUBACK in 0 s']);
  });

  it('acknowledges it and never gives it back', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5 });
    expect(told(await probe(stub.url, { stepMs: 400 })).slice(4)).toEqual([
      'puback ok',
      'echo: acknowledged, but it did not come back: this user may not write there, or not read (0.4 s)',
    ]);
  });

  it('refuses MQTT 5 and takes 3.1.1', async () => {
    // MQTT 5.0 §3.2.2.2: 0x84, unsupported protocol version.
    const stub = await startStubBroker({ connack: (version) => (version === 5 ? [0, 0x84, 0] : ACCEPT_311) });
    const steps = await probe(stub.url, { stepMs: 50 });
    expect(steps[2]).toMatchObject({ name: 'connect', ok: true, line: 'MQTT 3.1.1' });
    expect(stub.versions).toEqual([5, 4]);
  });
});

describe.skipIf(!canMosquitto)('mosquitto with TLS, passwords and rights', () => {
  async function secured(rights: string[]) {
    const directory = folder();
    const authority = new Authority(directory, 'fleet');
    const server = authority.sign('broker', 'IP:127.0.0.1');
    const acl = join(directory, 'acl');
    writeFileSync(acl, ['user T-1042', ...rights, ''].join('\n'), { mode: 0o600 });
    const port = await freePort();
    await startMosquitto(directory, [
      `listener ${port} 127.0.0.1`,
      `cafile ${authority.ca}`,
      `certfile ${server.cert}`,
      `keyfile ${server.key}`,
      'allow_anonymous false',
      `password_file ${passwordFile(directory, { 'T-1042': 'one' })}`,
      `acl_file ${acl}`,
    ]);
    const client = { username: 'T-1042', password: 'one', ca: readFileSync(authority.ca, 'utf8') };
    return { url: `mqtts://127.0.0.1:${port}`, client };
  }
  const WITH_TLS = [...ALL.slice(0, 2), 'tls ok', ...ALL.slice(2)];

  it('all the way', async () => {
    const { url, client } = await secured(['topic readwrite axlepost/1/northline/T-1042/#']);
    const steps = await probe(url, { client });
    expect(told(steps)).toEqual(WITH_TLS);
    expect(steps[2]!.line).toMatch(/^TLSv1\.3, certificate of broker until /);
    expect(steps[3]!.line).toBe('MQTT 5');
  });

  it('a wrong password, an unknown authority', async () => {
    const { url, client } = await secured(['topic readwrite #']);
    const wrong = await probe(url, { client: { ...client, password: 'another' } });
    expect(told(wrong)).toEqual([...WITH_TLS.slice(0, 3), 'connect: Connection refused: Not authorized']);
    const { ca: _, ...without } = client;
    expect(told(await probe(url, { client: without })).at(-1)).toMatch(
      /^tls: the broker's certificate is signed by an authority that mqtt\.ca does not have \(/,
    );
  });

  it('a topic that may not be written', async () => {
    const { url, client } = await secured(['topic read axlepost/1/northline/T-1042/#']);
    expect(told(await probe(url, { client })).slice(4)).toEqual([
      'subscribe ok',
      `puback: the broker refuses the message on ${TOPIC} (Publish error: Not authorized): give this user the right to write it`,
    ]);
  });

  it('a topic that may not be read: it is written all the same', async () => {
    const { url, client } = await secured(['topic write axlepost/1/northline/T-1042/#']);
    const steps = told(await probe(url, { client, stepMs: 300 }));
    expect(steps.slice(5)).toEqual(['puback ok', expect.stringMatching(/^echo: acknowledged, but/)]);
  });
});
