import { once } from 'node:events';
import { createServer, request } from 'node:http';
import { type AddressInfo, connect, type Socket } from 'node:net';
import { text } from 'node:stream/consumers';
import { afterEach, describe, expect, it } from 'vitest';
import type { Health } from '../../../adapters/host/health.js';
import { HealthPage } from '../../../adapters/host/health-page.js';
import { fullHealth } from '../../support/health.js';
import { readOpenMetrics } from '../../support/open-metrics.js';
import { HandTimers } from '../../support/timers.js';

const opened: { close(): unknown }[] = [];
afterEach(async () => {
  for (const one of opened.splice(0).reverse()) await one.close();
});

class Bench {
  readonly log: string[] = [];
  readonly timers = new HandTimers();
  health: Health = fullHealth();
  reads = 0;
  read: () => Promise<Health> = async () => {
    this.reads++;
    return this.health;
  };
  readonly page: HealthPage;

  constructor(port = 0, requestMs = 5_000) {
    this.page = new HealthPage({
      port,
      requestMs,
      read: () => this.read(),
      log: (_level, line) => void this.log.push(line),
      timers: this.timers,
    });
    opened.push(this.page);
  }

  static async started(port = 0, requestMs?: number): Promise<Bench> {
    const bench = new Bench(port, requestMs);
    await bench.page.start();
    return bench;
  }

  async ask(path: string, options: { method?: string; host?: string } = {}) {
    const { method = 'GET', host = 'localhost' } = options;
    const asked = request({ host: '127.0.0.1', port: this.page.port!, path, method, headers: { host } }).end();
    const [response] = await once(asked, 'response');
    return { status: response.statusCode as number, headers: response.headers, body: await text(response) };
  }
}

describe('the health page', () => {
  it('/health is the whole page as JSON: 200 while all is well', async () => {
    const bench = await Bench.started();
    const { status, headers, body } = await bench.ask('/health');
    expect(status).toBe(200);
    expect(headers['content-type']).toBe('application/json; charset=utf-8');
    expect(JSON.parse(body)).toEqual(bench.health);
  });

  it('/health is 503 with the reasons, and /metrics is there all the same', async () => {
    const bench = await Bench.started();
    bench.health.degraded = ['bus/main: down'];
    const { status, body } = await bench.ask('/health');
    expect(status).toBe(503);
    expect(JSON.parse(body).degraded).toEqual(['bus/main: down']);
    const metrics = await bench.ask('/metrics');
    expect(metrics.status).toBe(200);
    expect(readOpenMetrics(metrics.body).get('axlepost_degraded_reasons')!.samples[0]!.value).toBe(1);
  });

  it('/metrics is OpenMetrics, and says so', async () => {
    const { status, headers, body } = await (await Bench.started()).ask('/metrics?x=1');
    expect(status).toBe(200);
    expect(headers['content-type']).toBe('application/openmetrics-text; version=1.0.0; charset=utf-8');
    expect(readOpenMetrics(body).size).toBeGreaterThan(50);
  });

  it.each([
    ['/', 'GET', 404],
    ['/health/', 'GET', 404],
    ['/metrics/../health', 'GET', 404],
    ['/constructor', 'GET', 404],
    ['/health', 'POST', 405],
    ['/metrics', 'DELETE', 405],
    ['/health', 'OPTIONS', 405],
  ])('%s asked with %s is answered %i, and nothing is read', async (path, method, expected) => {
    const bench = await Bench.started();
    const { status, headers } = await bench.ask(path, { method });
    expect(status).toBe(expected);
    if (expected === 405) expect(headers.allow).toBe('GET');
    expect(bench.reads).toBe(0);
  });

  it.each([
    ['localhost', 200],
    ['localhost:9100', 200],
    ['LOCALHOST', 200],
    ['127.0.0.1:9100', 200],
    ['[::1]:9100', 200],
    ['office.example', 403],
    ['localhost.office.example', 403],
    ['127.0.0.1.office.example:9100', 403],
    ['10.0.0.7', 403],
  ])('for the name "%s" (a page elsewhere may have its name pointed here): %i', async (host, expected) => {
    expect((await (await Bench.started()).ask('/health', { host })).status).toBe(expected);
  });

  it('is on 127.0.0.1 and on no other address', async () => {
    const bench = await Bench.started();
    const elsewhere = connect({ host: '127.0.0.2', port: bench.page.port! });
    const [error] = await once(elsewhere, 'error');
    expect((error as NodeJS.ErrnoException).code).toBe('ECONNREFUSED');
  });

  it('says in one line where it is', async () => {
    const bench = await Bench.started();
    expect(bench.log).toEqual([`health page on http://127.0.0.1:${bench.page.port}/health`]);
  });

  it('a mistake of ours is answered 500, and the page goes on', async () => {
    const bench = await Bench.started();
    const { read } = bench;
    bench.read = () => Promise.reject(new Error('a mistake'));
    const { status, body } = await bench.ask('/health');
    expect({ status, body }).toEqual({ status: 500, body: 'health cannot be read: a mistake\n' });
    bench.read = read;
    expect((await bench.ask('/health')).status).toBe(200);
  });
});

describe('limits', () => {
  const closed = (socket: Socket): Promise<unknown> => once(socket.on('error', () => {}).resume(), 'close');

  it('a connection serves one request, whatever the reader asks for', async () => {
    const bench = await Bench.started();
    const socket = connect({ host: '127.0.0.1', port: bench.page.port! });
    socket.write('GET /health HTTP/1.1\r\nHost: localhost\r\nConnection: keep-alive\r\n\r\n'.repeat(2));
    const answer = await text(socket);
    expect(answer.match(/HTTP\/1\.1 /g)).toHaveLength(1);
    expect(answer).toMatch(/\r\nConnection: close\r\n/);
  });

  it('a ninth connection is closed at once, and the eight that hang cost nothing else', async () => {
    const bench = await Bench.started();
    const port = bench.page.port!;
    const hanging = Array.from({ length: 8 }, () => connect({ host: '127.0.0.1', port }));
    await Promise.all(hanging.map((socket) => once(socket, 'connect')));
    const ninth = connect({ host: '127.0.0.1', port });
    let heard = '';
    ninth.on('data', (data) => {
      heard += data;
    });
    await closed(ninth);
    // Not even told that it took too long.
    expect(heard).toBe('');
    hanging[0]!.destroy();
    await once(hanging[0]!, 'close');
    await expect.poll(async () => (await bench.ask('/health').catch(() => null))?.status).toBe(200);
    for (const socket of hanging) socket.destroy();
  });

  it('half a request is ended after its time', async () => {
    const bench = await Bench.started(0, 100);
    const socket = connect({ host: '127.0.0.1', port: bench.page.port! });
    socket.write('GET /health HTTP/1.1\r\nHost: local');
    expect(await text(socket)).toMatch(/^HTTP\/1\.1 408 /);
  });

  it('long headers are refused', async () => {
    const bench = await Bench.started();
    const socket = connect({ host: '127.0.0.1', port: bench.page.port! });
    socket.write(`GET /health HTTP/1.1\r\nHost: localhost\r\nX: ${'x'.repeat(5000)}\r\n\r\n`);
    expect(await text(socket)).toMatch(/^HTTP\/1\.1 431 /);
  });

  it('readers that come together cause one reading', async () => {
    const bench = await Bench.started();
    let release = (): void => {};
    const gate = new Promise<void>((resolve) => {
      release = resolve;
    });
    let begun = (): void => {};
    const reading = new Promise<void>((resolve) => {
      begun = resolve;
    });
    bench.read = async () => {
      bench.reads++;
      begun();
      await gate;
      return bench.health;
    };
    const first = bench.ask('/health');
    await reading;
    const second = bench.ask('/metrics');
    // Asked later, answered at once: the second has been taken as well.
    for (let i = 0; i < 3; i++) expect((await bench.ask('/nothing')).status).toBe(404);
    release();
    expect((await first).status).toBe(200);
    expect((await second).status).toBe(200);
    expect(bench.reads).toBe(1);
  });

  it('closing cuts off who hangs', async () => {
    const bench = await Bench.started();
    const socket = connect({ host: '127.0.0.1', port: bench.page.port! });
    await once(socket, 'connect');
    const gone = closed(socket);
    await bench.page.close();
    await gone;
    expect(bench.page.port).toBeNull();
  });
});

describe('a port that is taken', () => {
  it('costs one line; the program goes on, and the page is there a minute after the port is free', async () => {
    const taken = createServer().listen(0, '127.0.0.1');
    await once(taken, 'listening');
    const { port } = taken.address() as AddressInfo;
    const bench = await Bench.started(port);
    expect(bench.log).toEqual([
      `health page: port ${port} is in use; name another one in the truck file (health: {port}); it is tried again each minute`,
    ]);
    expect({ waiting: bench.timers.waiting, port: bench.page.port }).toEqual({ waiting: [60_000], port: null });
    bench.timers.fire();
    await bench.timers.armed();
    expect(bench.log).toHaveLength(1);
    taken.close();
    await once(taken, 'close');
    bench.timers.fire();
    await expect.poll(() => bench.page.port).toBe(port);
    expect(bench.log).toHaveLength(2);
    expect((await bench.ask('/health')).status).toBe(200);
  });

  it('is not tried again after closing', async () => {
    const taken = createServer().listen(0, '127.0.0.1');
    opened.push(taken);
    await once(taken, 'listening');
    const bench = await Bench.started((taken.address() as AddressInfo).port);
    await bench.page.close();
    expect(bench.timers.waiting).toEqual([]);
  });
});
