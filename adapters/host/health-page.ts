import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { hostTimers, type PublisherClock } from '../mqtt/clock.js';
import type { Health } from './health.js';

/** The page is for this machine. */
const ADDRESS = '127.0.0.1';
/** Names under which this machine knows itself. A page of the internet whose name was pointed here comes with its own. */
const HOSTS: readonly string[] = ['localhost', '127.0.0.1', '[::1]'];
/** A reader or two at a time; a third of them may hang. */
const MAX_CONNECTIONS = 8;
const MAX_HEADER_BYTES = 4_096;
const REQUEST_MS = 5_000;
/** A port that is taken is tried again after this long. */
const RETRY_MS = 60_000;

export interface HealthPageOptions {
  /** 0: any, for tests. */
  port: number;
  read: () => Promise<Health>;
  /** One line for people. */
  log: (level: 'info' | 'warn', line: string) => void;
  timers?: Pick<PublisherClock, 'after'>;
  /** A request must be whole within this time. Other than the default in tests. */
  requestMs?: number;
}

interface Answer {
  status: number;
  type: string;
  body: string;
}

const text = (status: number, body: string): Answer => ({
  status,
  type: 'text/plain; charset=utf-8',
  body: `${body}\n`,
});

const PAGES: Record<string, (health: Health) => Promise<Answer>> = {
  '/health': async (health) => ({
    status: health.degraded.length === 0 ? 200 : 503,
    type: 'application/json; charset=utf-8',
    body: `${JSON.stringify(health, null, 1)}\n`,
  }),
  '/metrics': async (health) => {
    // Only for the first who asks: the library takes longer to load than the rest of the program to start.
    const { METRICS_TYPE, metricsText } = await import('./metrics.js');
    return { status: 200, type: METRICS_TYPE, body: await metricsText(health) };
  },
};

/** A page on loopback: `GET /health` (200, or 503 with reasons) as JSON and `GET /metrics` as OpenMetrics text. Reads only. */
export class HealthPage {
  readonly #options: HealthPageOptions;
  readonly #timers: Pick<PublisherClock, 'after'>;
  #server: Server | null = null;
  #cancel: () => void = () => {};
  #said = '';
  #closed = false;
  #reading: Promise<Health> | null = null;

  constructor(options: HealthPageOptions) {
    this.#options = options;
    this.#timers = options.timers ?? hostTimers();
  }

  /** Where it listens; null: it does not, or not yet. */
  get port(): number | null {
    return (this.#server?.address() as AddressInfo | null | undefined)?.port ?? null;
  }

  /** Resolves when it listens, or could not for now: then it tries again each minute. Never rejects. */
  start(): Promise<void> {
    if (this.#closed) return Promise.resolve();
    const { requestMs = REQUEST_MS } = this.#options;
    const server = createServer(
      {
        maxHeaderSize: MAX_HEADER_BYTES,
        headersTimeout: requestMs,
        requestTimeout: requestMs,
        connectionsCheckingInterval: requestMs / 5,
        keepAlive: false,
      },
      (request, response) => void this.#answer(request, response),
    );
    server.maxConnections = MAX_CONNECTIONS;
    // Also for who does not read what was asked for.
    server.setTimeout(2 * requestMs);
    this.#server = server;
    return new Promise((resolve) => {
      server.on('error', (error) => {
        this.#failed(error);
        resolve();
      });
      server.listen({ host: ADDRESS, port: this.#options.port }, () => {
        this.#said = '';
        this.#options.log('info', `health page on http://${ADDRESS}:${this.port}/health`);
        resolve();
      });
    });
  }

  /** Readers are cut off. */
  close(): Promise<void> {
    this.#closed = true;
    this.#cancel();
    const server = this.#server;
    this.#server = null;
    if (server === null || !server.listening) return Promise.resolve();
    return new Promise((resolve) => {
      server.close(() => resolve());
      server.closeAllConnections();
    });
  }

  #failed(error: NodeJS.ErrnoException): void {
    const why =
      error.code === 'EADDRINUSE' ? 'is in use; name another one in the truck file (health: {port})' : error.message;
    const line = `health page: port ${this.#options.port} ${why}; it is tried again each minute`;
    if (line !== this.#said) this.#options.log('warn', line);
    this.#said = line;
    this.#server = null;
    if (!this.#closed) this.#cancel = this.#timers.after(RETRY_MS, () => void this.start());
  }

  async #answer(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const { status, type, body } = await this.#page(request).catch((error: unknown) =>
      text(500, `health cannot be read: ${error instanceof Error ? error.message : error}`),
    );
    response.writeHead(status, {
      'Content-Type': type,
      'Content-Length': Buffer.byteLength(body),
      'Cache-Control': 'no-store',
      'X-Content-Type-Options': 'nosniff',
      Connection: 'close',
      ...(status === 405 ? { Allow: 'GET' } : {}),
    });
    response.end(body);
  }

  async #page({ method, url, headers }: IncomingMessage): Promise<Answer> {
    const host = (headers.host ?? '').replace(/:\d*$/, '').toLowerCase();
    if (!HOSTS.includes(host)) return text(403, `this page is for ${HOSTS.join(', ')}`);
    const path = (url ?? '').split('?', 1)[0]!;
    if (!Object.hasOwn(PAGES, path)) return text(404, `here are ${Object.keys(PAGES).join(' and ')}`);
    if (method !== 'GET') return text(405, 'this page is only read');
    return PAGES[path]!(await this.#read());
  }

  /** Readers that come while one is served get the same. */
  #read(): Promise<Health> {
    this.#reading ??= this.#options.read().finally(() => {
      this.#reading = null;
    });
    return this.#reading;
  }
}
