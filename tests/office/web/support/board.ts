import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { request as httpRequest, type IncomingHttpHeaders, type RequestOptions } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { onTestFinished } from 'vitest';
import type { HashCost } from '../../../../office/web/hash.js';
import { Hasher } from '../../../../office/web/hash.js';
import { type BoardServer, type BoardServerOptions, startBoardServer } from '../../../../office/web/server.js';
import type { WebSettings } from '../../../../office/web/settings.js';
import { MadeUpSource } from './source.js';

/** Quick: what is looked at here is not how hard it is to guess. */
export const CHEAP: HashCost = { N: 2 ** 10, r: 8, p: 1 };
export const NAME = 'Anna';
export const PASSWORD = 'seven quiet winters';

export const PAGE = { 'index.html': '<!doctype html><title>Board</title>', 'board.js': 'void 0;', 'board.css': 'b{}' };

export interface Answer {
  status: number;
  headers: IncomingHttpHeaders;
  body: string;
  json: unknown;
}

export interface Ask {
  method?: string;
  headers?: Record<string, string | string[]>;
  /** An object is sent as JSON. */
  body?: unknown;
}

/** A server that listens, with a made-up office behind it. */
export interface Rig {
  server: BoardServer;
  source: MadeUpSource;
  lines: string[];
  port: number;
  /** What a browser would send with requests of the board's own page. */
  origin: string;
  ask(path: string, options?: Ask): Promise<Answer>;
  /** Headers of a session that may do everything. */
  signIn(name?: string, password?: string): Promise<{ cookie: string; 'x-axlepost-token': string; origin: string }>;
}

export type RigOptions = Partial<Omit<BoardServerOptions, 'settings' | 'source' | 'log'>> & {
  settings?: Partial<WebSettings>;
  source?: MadeUpSource;
};

export function pageFolder(files: Record<string, string | Buffer> = PAGE): string {
  const folder = mkdtempSync(join(tmpdir(), 'board-page-'));
  onTestFinished(() => rmSync(folder, { recursive: true }));
  for (const [name, text] of Object.entries(files)) writeFileSync(join(folder, name), text);
  return folder;
}

export async function startRig({ settings, source = new MadeUpSource(), ...options }: RigOptions = {}): Promise<Rig> {
  const lines: string[] = [];
  const log = {
    info: (line: string) => lines.push(`info ${line}`),
    warn: (line: string) => lines.push(`warn ${line}`),
    error: (line: string) => lines.push(`error ${line}`),
  };
  if (!source.store.hashes.has(NAME)) {
    const hasher = new Hasher({ cost: options.hashCost ?? CHEAP });
    source.store.hashes.set(NAME, await hasher.hash(PASSWORD));
  }
  const server = await startBoardServer({
    hashCost: CHEAP,
    ...options,
    pageFolder: options.pageFolder ?? pageFolder(),
    source,
    log,
    settings: {
      listen: { kind: 'tcp', host: '127.0.0.1', port: 0 },
      origin: null,
      signIn: { kind: 'accounts' },
      ...settings,
    },
  });
  onTestFinished(() => server.close());
  const path = server.listening.startsWith('unix:') ? server.listening.slice(5) : null;
  const port = path === null ? Number(new URL(server.listening).port) : 0;
  const origin = settings?.origin ?? `http://127.0.0.1:${port}`;
  const at: RequestOptions = path === null ? { host: '127.0.0.1', port } : { socketPath: path };
  const ask: Rig['ask'] = (url, asked) => send({ ...at, path: url }, asked);
  return { server, source, lines, port, origin, ask, signIn };

  async function signIn(name = NAME, password = PASSWORD) {
    const answer = await ask('/sign-in', { method: 'POST', headers: { origin }, body: { name, password } });
    const cookie = cookieOf(answer);
    const me = (await ask('/me', { headers: { cookie } })).json as { token: string };
    return { cookie, 'x-axlepost-token': me.token, origin };
  }
}

/** `name=value` of the one cookie that was set. */
export function cookieOf({ headers, status, body }: Answer): string {
  const cookies = headers['set-cookie'] ?? [];
  if (cookies.length !== 1) throw new Error(`no cookie: ${status} ${body}`);
  return cookies[0]!.split(';', 1)[0]!;
}

function send(target: RequestOptions, { method = 'GET', headers = {}, body }: Ask = {}): Promise<Answer> {
  const text = body === undefined || typeof body === 'string' ? body : JSON.stringify(body);
  const type =
    text === undefined ? {} : { 'content-type': 'application/json', 'content-length': Buffer.byteLength(text) };
  return new Promise((resolve, reject) => {
    const request = httpRequest({ ...target, method, agent: false, headers: { ...type, ...headers } }, (response) => {
      const parts: Buffer[] = [];
      response.on('data', (part: Buffer) => parts.push(part));
      response.on('error', reject);
      response.on('end', () => {
        const all = Buffer.concat(parts).toString();
        const isJson = response.headers['content-type']?.startsWith('application/json') ?? false;
        const json: unknown = isJson && all !== '' ? JSON.parse(all) : null;
        resolve({ status: response.statusCode!, headers: response.headers, body: all, json });
      });
    });
    request.on('error', reject);
    request.end(text);
  });
}
