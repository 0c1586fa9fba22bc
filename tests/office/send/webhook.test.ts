import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import type { OutgoingHttpHeaders } from 'node:http';
import { createServer, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, describe, expect, it } from 'vitest';
import { Webhook, type WebhookOptions } from '../../../office/send/webhook.js';
import { Authority, opensslIsInstalled } from '../../adapters/mqtt/authority.js';
import { notice, officeAlert, T0 } from '../store/messages.js';
import { HookServer } from './support/hook-server.js';
import { withoutOpenssl } from './support/openssl.js';
import { python, withoutPython } from './support/python.js';

const SECRET = '0123456789abcdef ünï';
const QUEUED = { id: 7, notice: notice() };
const goOn = new AbortController().signal;

const endings: (() => unknown)[] = [];
afterEach(async () => {
  for (const end of endings.splice(0).reverse()) await end();
});

async function server(tls: { cert: string; key: string } | null = null): Promise<HookServer> {
  const hook = await HookServer.start(tls);
  endings.push(() => hook.close());
  return hook;
}
const webhook = (url: string, more: Partial<WebhookOptions> = {}): Webhook =>
  new Webhook({ name: 'desk', url, secret: SECRET, ca: null, nowMs: () => T0, ...more });
const sendTo = (url: string, more: Partial<WebhookOptions> = {}) => webhook(url, more).send(QUEUED, goOn);

describe('a webhook', () => {
  it('posts JSON, to its address only', async () => {
    const hook = await server();
    expect(await sendTo(hook.url())).toEqual({ kind: 'sent' });
    const [{ path, headers, body }] = hook.received as [HookServer['received'][0]];
    expect(path).toBe('/axlepost');
    expect(headers['content-type']).toBe('application/json; charset=utf-8');
    expect(JSON.parse(body)).toMatchObject({ v: 1, why: 'raised', fleet: 'northline', truck: 'T-1042' });
    expect(headers['axlepost-notice']).toBe((JSON.parse(body) as { id: string }).id);
  });

  it('is the same message at each attempt, signed anew', async () => {
    const hook = await server();
    await sendTo(hook.url());
    await sendTo(hook.url(), { nowMs: () => T0 + 60_000 });
    const [first, second] = hook.received as [HookServer['received'][0], HookServer['received'][0]];
    expect(second.body).toBe(first.body);
    expect(second.headers['axlepost-notice']).toBe(first.headers['axlepost-notice']);
    expect(second.headers['axlepost-hmac-sha256']).not.toBe(first.headers['axlepost-hmac-sha256']);
    expect(Date.parse(String(second.headers['axlepost-sent'])) - T0).toBe(60_000);
  });

  it('tells apart two notices of one alert, and those of two stores that count alike', async () => {
    const hook = await server();
    const raised = notice();
    for (const [id, told] of [
      [1, raised],
      [1, { ...raised, why: 'ended' as const }],
      [1, { ...raised, ms: T0 + 1 }],
      [2, raised],
    ] as const) {
      await webhook(hook.url()).send({ id, notice: told }, goOn);
    }
    expect(new Set(hook.received.map(({ headers }) => headers['axlepost-notice'])).size).toBe(4);
  });

  it.skipIf(withoutPython)('is signed as Python computes it, text of any script included', async () => {
    const hook = await server();
    const told = notice(T0, { alert: officeAlert({ place: 'アクスル 2, links außen', note: '\u2028"\\</script>' }) });
    await webhook(hook.url()).send({ id: 1, notice: told }, goOn);
    const [{ headers, body }] = hook.received as [HookServer['received'][0]];
    const program = `
import hashlib, hmac, json, sys
given = json.load(sys.stdin)
signed = (given["sent"] + "\\n" + given["body"]).encode()
print(json.dumps(hmac.new(given["secret"].encode(), signed, hashlib.sha256).hexdigest()))
`;
    expect(python(program, { secret: SECRET, sent: headers['axlepost-sent'], body })).toBe(
      headers['axlepost-hmac-sha256'],
    );
  });

  it.skipIf(withoutOpenssl)('is signed as OpenSSL computes it', async () => {
    const hook = await server();
    await sendTo(hook.url());
    const [{ headers, body }] = hook.received as [HookServer['received'][0]];
    const out = execFileSync('openssl', ['dgst', '-sha256', '-hmac', SECRET, '-r'], {
      input: `${String(headers['axlepost-sent'])}\n${body}`,
      encoding: 'utf8',
    });
    expect(out.split(' ')[0]).toBe(headers['axlepost-hmac-sha256']);
  });
});

describe('what the receiver answers', () => {
  const answered = async (status: number, headers: OutgoingHttpHeaders = {}) => {
    const hook = await server();
    hook.answer = (response) => response.writeHead(status, headers).end('<p>said in its own words</p>');
    return sendTo(hook.url());
  };

  it.each([200, 201, 202, 204, 299])('%i: it has it', async (status) => {
    expect(await answered(status)).toEqual({ kind: 'sent' });
  });

  it.each([400, 401, 403, 404, 405, 409, 410, 413, 422, 451])('%i: it will never have it', async (status) => {
    expect(await answered(status)).toEqual({ kind: 'never', why: `HTTP ${status}` });
  });

  it.each([408, 425, 429, 500, 502, 503, 504, 599])('%i: later', async (status) => {
    expect(await answered(status)).toEqual({ kind: 'again', why: `HTTP ${status}`, notBeforeMs: 0 });
  });

  it.each([
    ['120', 120_000],
    ['999999', 3_600_000],
    ['-1', 0],
    ['Fri, 31 Dec 2027 23:59:59 GMT', 0],
  ])('later, and not before %s', async (after, notBeforeMs) => {
    expect(await answered(503, { 'retry-after': after })).toMatchObject({ kind: 'again', notBeforeMs });
  });

  it.each([301, 302, 303, 307, 308])('%i: it is not followed', async (status) => {
    const elsewhere = await server();
    const outcome = await answered(status, { location: elsewhere.url() });
    expect(outcome).toEqual({
      kind: 'again',
      why: `HTTP ${status}: it sends us elsewhere, which is not followed`,
    });
    expect(elsewhere.received).toEqual([]);
  });
});

describe('a receiver that is no good', () => {
  /** A server below HTTP. */
  async function raw(onConnection: (socket: Socket) => void): Promise<string> {
    const listener = createServer(onConnection);
    await new Promise<void>((resolve) => listener.listen(0, '127.0.0.1', resolve));
    endings.push(() => listener.close());
    return `http://127.0.0.1:${(listener.address() as { port: number }).port}/`;
  }

  it('nothing listens', async () => {
    const hook = await HookServer.start();
    await hook.close();
    const hookless = `http://127.0.0.1:${await freePort()}/`;
    expect(await sendTo(hookless)).toEqual({ kind: 'again', why: 'nothing listens there (ECONNREFUSED)' });
  });

  it('takes the message and says nothing', async () => {
    const hook = await server();
    hook.answer = () => {};
    expect(await sendTo(hook.url(), { timeoutMs: 200 })).toEqual({ kind: 'again', why: 'no answer within 0.2 s' });
  });

  it('says nothing at all', async () => {
    const url = await raw((socket) => void socket.on('error', () => {}));
    expect(await sendTo(url, { timeoutMs: 200 })).toEqual({ kind: 'again', why: 'no answer within 0.2 s' });
  });

  it('breaks the connection', async () => {
    const url = await raw((socket) => void socket.destroy());
    expect(await sendTo(url)).toMatchObject({ kind: 'again', why: expect.stringContaining('broken the connection') });
  });

  it('is no web server', async () => {
    const url = await raw((socket) => void socket.end('220 mail.example ESMTP\r\n'));
    const outcome = await sendTo(url);
    expect(outcome.kind).toBe('again');
    expect(JSON.stringify(outcome)).not.toContain('mail.example');
  });

  it('has answered, and does not end: the status counts', async () => {
    const hook = await server();
    hook.answer = (response) => response.writeHead(200).write('a');
    expect(await sendTo(hook.url(), { timeoutMs: 200 })).toEqual({ kind: 'sent' });
  });

  it('answers without end: it is cut off', async () => {
    const hook = await server();
    const cut = new Promise((resolve) => {
      hook.answer = (response) => {
        response.writeHead(200);
        response.on('close', resolve);
        const more = (): void => {
          while (!response.destroyed && response.write('x'.repeat(65_536))) {}
          if (!response.destroyed) response.once('drain', more);
        };
        more();
      };
    });
    expect(await sendTo(hook.url(), { timeoutMs: 20_000 })).toEqual({ kind: 'sent' });
    await cut;
  });

  it('is not waited for when the office stops', async () => {
    const hook = await server();
    hook.answer = () => {};
    const stop = new AbortController();
    const sending = webhook(hook.url()).send(QUEUED, stop.signal);
    await hook.came(1);
    stop.abort();
    expect(await sending).toEqual({ kind: 'again', why: 'the office was stopped' });
    expect(await webhook(hook.url()).send(QUEUED, stop.signal)).toMatchObject({ kind: 'again' });
    expect(hook.received).toHaveLength(1);
  });
});

async function freePort(): Promise<number> {
  const hook = await HookServer.start();
  const { port } = hook;
  await hook.close();
  return port;
}

describe.skipIf(withoutOpenssl)('TLS', () => {
  const folder = mkdtempSync(join(tmpdir(), 'webhook-tls-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  const authority = opensslIsInstalled ? new Authority(folder, 'hooks') : null;
  const ca = authority === null ? '' : readFileSync(authority.ca, 'utf8');
  const pair = (name: string, alt: string) => {
    const { cert, key } = authority!.sign(name, alt);
    return { cert: readFileSync(cert, 'utf8'), key: readFileSync(key, 'utf8') };
  };

  it('is spoken with whom the authority vouches for', async () => {
    const hook = await server(pair('hook', 'IP:127.0.0.1'));
    expect(await sendTo(hook.url('https'), { ca })).toEqual({ kind: 'sent' });
  });

  it('nothing goes to a stranger, whatever the environment says', async () => {
    const hook = await server(pair('hook', 'IP:127.0.0.1'));
    process.env.NODE_TLS_REJECT_UNAUTHORIZED = '0';
    endings.push(() => delete process.env.NODE_TLS_REJECT_UNAUTHORIZED);
    expect(await sendTo(hook.url('https'))).toMatchObject({ kind: 'again', why: expect.stringContaining('see `ca`') });
    expect(hook.received).toEqual([]);
  });

  it('nothing goes to somebody with another name', async () => {
    const hook = await server(pair('other', 'DNS:other.example'));
    expect(await sendTo(hook.url('https'), { ca })).toEqual({
      kind: 'again',
      why: 'its certificate is for another name (ERR_TLS_CERT_ALTNAME_INVALID)',
    });
    expect(hook.received).toEqual([]);
  });
});
