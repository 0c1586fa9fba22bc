import { readFileSync, writeFileSync } from 'node:fs';
import { createServer as createHttpServer, type Server as HttpServer } from 'node:http';
import { createServer as createHttpsServer, type Server as HttpsServer } from 'node:https';
import { createRequire } from 'node:module';
import { connect, createServer } from 'node:net';
import { createServer as createTlsServer, type TlsOptions } from 'node:tls';
import { describe, expect, it } from 'vitest';
import { readCredentials } from '../../../adapters/mqtt/credentials.js';
import type { Publisher } from '../../../adapters/mqtt/publisher.js';
import type { PublisherOptions } from '../../../adapters/mqtt/publisher-options.js';
import type { BrokerConfig } from '../../../config/resolved.js';
import { Authority, opensslIsInstalled, type Pair } from './authority.js';
import { cleanup, MemoryOutbox, makeBroker, makePublisher, until } from './harness.js';
import { folder, freePort, mosquittoIsInstalled, passwordFile, startMosquitto } from './mosquitto.js';

const canTls = opensslIsInstalled;
const canMosquitto = opensslIsInstalled && mosquittoIsInstalled;
if (!canMosquitto) console.warn('skipped: encrypted connections need openssl and mosquitto');

const NO_CREDENTIALS: BrokerConfig = {
  url: '',
  confirm: 'office',
  unencrypted: true,
  user: null,
  password: null,
  ca: null,
  cert: null,
  key: null,
};
const LOCAL = 'IP:127.0.0.1';
const DAY_MS = 86_400_000;

/** A publisher that reads these credentials at each connect. */
function publisherOf(
  outbox: MemoryOutbox,
  url: string,
  credentials: Partial<BrokerConfig>,
  more: Partial<Omit<PublisherOptions, 'timings'>> = {},
): Publisher {
  const config = { ...NO_CREDENTIALS, ...credentials, url };
  const publisher = makePublisher(outbox, url, { credentials: () => readCredentials(config), ...more });
  publisher.start();
  return publisher;
}

describe.skipIf(!canMosquitto)('mosquitto with TLS, client certificates and passwords', () => {
  async function secured() {
    const directory = folder();
    const authority = new Authority(directory, 'fleet');
    const server = authority.sign('broker', LOCAL);
    const truck = authority.sign('T-1042', 'DNS:T-1042');
    const port = await freePort();
    await startMosquitto(directory, [
      `listener ${port} 127.0.0.1`,
      `cafile ${authority.ca}`,
      `certfile ${server.cert}`,
      `keyfile ${server.key}`,
      'require_certificate true',
      'allow_anonymous false',
      `password_file ${passwordFile(directory, { 'T-1042': 'one', 'T-208': 'two' })}`,
    ]);
    const password = { file: `${directory}/password` };
    writeFileSync(password.file, 'one\n');
    const credentials = { user: 'T-1042', password, ca: authority.ca, ...truck };
    return { directory, authority, credentials, url: `mqtts://127.0.0.1:${port}` };
  }

  it('events arrive', async () => {
    const { url, credentials } = await secured();
    const outbox = new MemoryOutbox();
    outbox.append(50);
    const publisher = publisherOf(outbox, url, credentials);
    await until(() => outbox.confirmed === 50);
    expect(publisher.health()).toMatchObject({ state: 'connected', plain: false, lastError: null, failures: 0 });
  });

  it('a wrong password is refused; the right one in its file helps without a restart', async () => {
    const { url, credentials } = await secured();
    writeFileSync(credentials.password.file, 'something else\n');
    const outbox = new MemoryOutbox();
    outbox.append(1);
    const lines: string[] = [];
    const publisher = publisherOf(outbox, url, credentials, { log: (_, line) => lines.push(line) });
    await until(() => publisher.health().failures >= 2);
    expect(publisher.health().lastError).toMatch(/^Connection refused: /);
    writeFileSync(credentials.password.file, 'one\n');
    await until(() => outbox.confirmed === 1);
    expect(lines.join()).not.toMatch(/something else|one\b/);
  });

  it('a password file that goes away is a failed connect with its line, and no more', async () => {
    const { url, credentials } = await secured();
    const outbox = new MemoryOutbox();
    outbox.append(1);
    const missing = `${credentials.password.file}-elsewhere`;
    const publisher = publisherOf(outbox, url, { ...credentials, password: { file: missing } });
    await until(() => publisher.health().failures >= 3);
    expect(publisher.health()).toMatchObject({
      state: 'waiting',
      lastError: `mqtt.password: ${missing} cannot be read (ENOENT); put it there or name another file`,
    });
    writeFileSync(missing, 'one');
    await until(() => outbox.confirmed === 1);
  });

  it('without a certificate of ours the line says that the broker wants one', async () => {
    const { url, credentials } = await secured();
    const publisher = publisherOf(new MemoryOutbox(), url, { ...credentials, cert: null, key: null });
    await until(() => publisher.health().failures >= 1);
    expect(publisher.health().lastError).toBe(
      'the broker wants a certificate of ours: set mqtt.cert and mqtt.key (ERR_SSL_TLSV13_ALERT_CERTIFICATE_REQUIRED)',
    );
  });

  it('with a certificate of another authority the line says so', async () => {
    const { directory, url, credentials } = await secured();
    const stranger = new Authority(directory, 'stranger').sign('T-1042', 'DNS:T-1042');
    const publisher = publisherOf(new MemoryOutbox(), url, { ...credentials, ...stranger });
    await until(() => publisher.health().failures >= 1);
    expect(publisher.health().lastError).toMatch(/our certificate \(mqtt\.cert\) \(ERR_SSL_/);
  });
});

/** A TLS server that leads to a broker in this process. */
async function secureBroker(pair: Pair, more: TlsOptions = {}): Promise<string> {
  const broker = await makeBroker();
  const server = createTlsServer({ cert: readFileSync(pair.cert), key: readFileSync(pair.key), ...more }, (socket) => {
    socket.on('error', () => {});
    broker.aedes.handle(socket);
  });
  server.on('tlsClientError', () => {});
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  cleanup(async () => server.close());
  return `mqtts://127.0.0.1:${(server.address() as { port: number }).port}`;
}

describe.skipIf(!canTls)("the broker's certificate", () => {
  const failing = async (
    url: string,
    ca: string | null,
    more: Partial<Omit<PublisherOptions, 'timings'>> = {},
  ): Promise<string | null> => {
    const publisher = publisherOf(new MemoryOutbox(), url, { ca }, more);
    await until(() => publisher.health().failures >= 1);
    expect(publisher.health().connects).toBe(0);
    return publisher.health().lastError;
  };

  it('of another authority is refused, also when the options of the client ask for less', async () => {
    const directory = folder();
    const url = await secureBroker(new Authority(directory, 'stranger').sign('broker', LOCAL));
    const { ca } = new Authority(directory, 'fleet');
    const line =
      "the broker's certificate is signed by an authority that mqtt.ca does not have (UNABLE_TO_VERIFY_LEAF_SIGNATURE)";
    expect(await failing(url, ca)).toBe(line);
    expect(await failing(url, ca, { client: { rejectUnauthorized: false } })).toBe(line);
    // Without one of ours the public authorities count, which did not sign it either.
    expect(await failing(url, null)).toBe(line);
  });

  it('for another name is refused', async () => {
    const authority = new Authority(folder(), 'fleet');
    const url = await secureBroker(authority.sign('broker', 'DNS:broker.example'));
    expect(await failing(url, authority.ca)).toBe(
      "the broker's certificate is for another name than that in mqtt.url (ERR_TLS_CERT_ALTNAME_INVALID)",
    );
  });

  const past = { fromMs: Date.now() - 9 * DAY_MS, toMs: Date.now() - DAY_MS };
  const future = { fromMs: Date.now() + DAY_MS, toMs: Date.now() + 9 * DAY_MS };
  const clock =
    /^the broker's certificate is not valid at this clock \(\d{4}-\d\d-\d\dT[\d:.]+Z\) and the clock is not known to be right/;
  it.each([
    ['expired, by a right clock', past, true, /^the broker's certificate has expired; .* \(CERT_HAS_EXPIRED\)$/],
    [
      'not valid yet, by a right clock',
      future,
      true,
      /^the broker's certificate is not valid yet \(CERT_NOT_YET_VALID\)$/,
    ],
    ['expired, by a clock that nobody set', past, false, new RegExp(`${clock.source} \\(CERT_HAS_EXPIRED\\)$`)],
    [
      'not valid yet, by a clock that nobody set',
      future,
      false,
      new RegExp(`${clock.source} \\(CERT_NOT_YET_VALID\\)$`),
    ],
  ])('%s', async (_, valid, synced, line) => {
    const authority = new Authority(folder(), 'fleet');
    const url = await secureBroker(authority.sign('broker', LOCAL, valid));
    expect(await failing(url, authority.ca, { clockSynced: () => synced })).toMatch(line);
  });

  it('a port that speaks no TLS is told as such', async () => {
    // Answers a TLS greeting as a web server would.
    const server = createServer((socket) => {
      socket.on('error', () => {});
      socket.on('data', () => socket.end('HTTP/1.1 400 Bad Request\r\n\r\n'));
    });
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    cleanup(async () => server.close());
    const { port } = server.address() as { port: number };
    expect(await failing(`mqtts://127.0.0.1:${port}`, null)).toMatch(/^no TLS there: is that the port/);
  });

  it('TLS 1.1 is not spoken', async () => {
    const authority = new Authority(folder(), 'fleet');
    const old: TlsOptions = { minVersion: 'TLSv1', maxVersion: 'TLSv1.1', ciphers: 'DEFAULT@SECLEVEL=0' };
    const url = await secureBroker(authority.sign('broker', LOCAL), old);
    expect(await failing(url, authority.ca)).toMatch(/^the broker speaks no TLS version that is still safe/);
  });
});

describe('over WebSockets', () => {
  /** The library that MQTT.js brings along; mosquitto is often built without. */
  const { WebSocketServer, createWebSocketStream } = createRequire(import.meta.resolve('mqtt'))('ws');

  async function webBroker(server: HttpServer | HttpsServer, protocol: 'ws' | 'wss'): Promise<string> {
    const broker = await makeBroker();
    const sockets = new WebSocketServer({ server });
    sockets.on('connection', (socket: unknown) => broker.aedes.handle(createWebSocketStream(socket)));
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    cleanup(async () => {
      for (const client of sockets.clients) client.terminate();
      server.close();
    });
    return `${protocol}://127.0.0.1:${(server.address() as { port: number }).port}/mqtt`;
  }

  it('ws: events arrive', async () => {
    const outbox = new MemoryOutbox();
    outbox.append(20);
    const publisher = publisherOf(outbox, await webBroker(createHttpServer(), 'ws'), {});
    await until(() => outbox.confirmed === 20);
    expect(publisher.health().bytesSent).toBeGreaterThan(20 * 1000);
  });

  it.skipIf(!canTls)('wss: with our authority events arrive, without it nothing does', async () => {
    const authority = new Authority(folder(), 'fleet');
    const { cert, key } = authority.sign('broker', LOCAL);
    const server = createHttpsServer({ cert: readFileSync(cert), key: readFileSync(key) });
    const url = await webBroker(server, 'wss');
    const outbox = new MemoryOutbox();
    outbox.append(20);
    const stranger = publisherOf(outbox, url, {}, { client: { rejectUnauthorized: false } });
    await until(() => stranger.health().failures >= 1);
    expect(stranger.health().lastError).toMatch(/an authority that mqtt\.ca does not have/);
    await stranger.stop(0);
    publisherOf(outbox, url, { ca: authority.ca });
    await until(() => outbox.confirmed === 20);
  });
});

describe('bytes over the socket', () => {
  /** Counts what passes on its way to a port, in both directions. */
  async function counter(port: number) {
    const seen = { port: 0, up: 0, down: 0 };
    const server = createServer((socket) => {
      const onward = connect(port, '127.0.0.1');
      for (const each of [socket, onward]) each.on('error', () => {});
      socket.on('data', (data) => {
        seen.up += data.length;
      });
      onward.on('data', (data) => {
        seen.down += data.length;
      });
      socket.pipe(onward).pipe(socket);
    });
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    cleanup(async () => server.close());
    seen.port = (server.address() as { port: number }).port;
    return seen;
  }

  /** Over two connections; afterwards the publisher must have counted what a wire between them has seen. */
  async function counted(target: { url: string; ca: string | null; drop: () => void }) {
    const seen = await counter(Number(new URL(target.url).port));
    const outbox = new MemoryOutbox();
    outbox.append(40);
    const url = `${new URL(target.url).protocol}//127.0.0.1:${seen.port}`;
    const publisher = publisherOf(outbox, url, { ca: target.ca });
    await until(() => outbox.confirmed === 40);
    target.drop();
    outbox.append(20);
    await until(() => outbox.confirmed === 60 && publisher.health().connects === 2);
    await publisher.stop(2000);
    const { bytesSent, bytesReceived } = publisher.health();
    return { bytesSent, bytesReceived, seen };
  }

  it('unencrypted: what the wire has seen', async () => {
    const broker = await makeBroker();
    const { bytesSent, bytesReceived, seen } = await counted({
      url: broker.url,
      ca: null,
      drop: () => broker.dropAll(),
    });
    expect([bytesSent, bytesReceived]).toEqual([seen.up, seen.down]);
  });

  it.skipIf(!canTls)('with TLS: its own bytes are in it', async () => {
    const authority = new Authority(folder(), 'fleet');
    const broker = await makeBroker();
    const pair = authority.sign('broker', LOCAL);
    const sockets = new Set<{ destroy(): void }>();
    const server = createTlsServer({ cert: readFileSync(pair.cert), key: readFileSync(pair.key) }, (socket) => {
      sockets.add(socket);
      socket.on('error', () => {});
      broker.aedes.handle(socket);
    });
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    cleanup(async () => server.close());
    const url = `mqtts://127.0.0.1:${(server.address() as { port: number }).port}`;
    const drop = (): void => {
      for (const socket of sockets) socket.destroy();
    };
    const { bytesSent, bytesReceived, seen } = await counted({ url, ca: authority.ca, drop });
    expect(bytesReceived).toBe(seen.down);
    // The last alert to a connection that was cut is written and arrives nowhere: 24 bytes in TLS 1.3.
    expect(bytesSent - seen.up).toBeGreaterThanOrEqual(0);
    expect(bytesSent - seen.up).toBeLessThanOrEqual(64);
  });
});
