import { createServer, type IncomingMessage, type RequestListener, type Server, type ServerResponse } from 'node:http';
import { createServer as createTlsServer } from 'node:https';
import type { AddressInfo } from 'node:net';

export interface Received {
  path: string;
  headers: IncomingMessage['headers'];
  body: string;
}

/** A receiver of webhooks: a real server, which answers as the test says. */
export class HookServer {
  readonly received: Received[] = [];
  answer: (response: ServerResponse, received: Received) => void = (response) => response.writeHead(204).end();
  readonly #server: Server;
  #waiting: (() => void)[] = [];

  private constructor(tls: { cert: string; key: string } | null) {
    const listener: RequestListener = (request, response) => void this.#take(request, response);
    this.#server = tls === null ? createServer(listener) : createTlsServer(tls, listener);
    this.#server.on('tlsClientError', () => {});
  }

  static async start(tls: { cert: string; key: string } | null = null, port = 0): Promise<HookServer> {
    const server = new HookServer(tls);
    await new Promise<void>((resolve) => server.#server.listen(port, '127.0.0.1', resolve));
    return server;
  }

  get port(): number {
    return (this.#server.address() as AddressInfo).port;
  }

  url(scheme = 'http', host = '127.0.0.1'): string {
    return `${scheme}://${host}:${this.port}/axlepost`;
  }

  /** Resolves when so many have come in all. */
  async came(count: number): Promise<void> {
    while (this.received.length < count) await new Promise<void>((resolve) => this.#waiting.push(resolve));
  }

  async close(): Promise<void> {
    this.#server.closeAllConnections();
    await new Promise((resolve) => this.#server.close(resolve));
  }

  async #take(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const chunks: Buffer[] = [];
    for await (const chunk of request) chunks.push(chunk as Buffer);
    const received = {
      path: request.url ?? '',
      headers: request.headers,
      body: Buffer.concat(chunks).toString('utf8'),
    };
    this.received.push(received);
    for (const resolve of this.#waiting.splice(0)) resolve();
    response.on('error', () => {});
    this.answer(response, received);
  }
}
