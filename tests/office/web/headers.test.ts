import { describe, expect, it } from 'vitest';
import { startRig } from './support/board.js';
import { raw } from './support/live-reader.js';

const POLICY = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self'",
  "img-src 'self'",
  "connect-src 'self'",
  "base-uri 'none'",
  "form-action 'self'",
  "frame-ancestors 'none'",
  "require-trusted-types-for 'script'",
  "trusted-types 'none'",
].join(';');

describe('security headers', () => {
  it.each(['/', '/board.js', '/me', '/events', '/nothing', '/sign-in'])(
    'stand on %s, whatever its answer',
    async (path) => {
      const { ask } = await startRig();
      const { headers } = await ask(path);
      expect(headers).toMatchObject({
        'content-security-policy': POLICY,
        'cross-origin-opener-policy': 'same-origin',
        'cross-origin-resource-policy': 'same-origin',
        'referrer-policy': 'same-origin',
        'x-content-type-options': 'nosniff',
        'x-frame-options': 'DENY',
        'permissions-policy': expect.stringContaining('geolocation=()'),
      });
      expect(headers['x-powered-by'] ?? headers.server).toBeUndefined();
      expect(headers['access-control-allow-origin']).toBeUndefined();
    },
  );

  it.each(['/me', '/events', '/events.csv', '/trucks/northline/T-1042', '/nothing'])(
    'nobody keeps %s',
    async (path) => {
      const { ask, signIn } = await startRig();
      const { cookie } = await signIn();
      expect((await ask(path)).headers['cache-control']).toBe('no-store');
      expect((await ask(path, { headers: { cookie } })).headers['cache-control']).toBe('no-store');
    },
  );

  it('ask for https only where people come by https', async () => {
    const plain = await startRig();
    expect((await plain.ask('/')).headers['strict-transport-security']).toBeUndefined();
    const named = await startRig({ settings: { origin: 'http://board.northline.example' } });
    expect((await named.ask('/')).headers['strict-transport-security']).toBeUndefined();
    const tls = await startRig({ settings: { origin: 'https://board.northline.example' } });
    expect((await tls.ask('/')).headers['strict-transport-security']).toBe('max-age=31536000');
  });
});

describe('Host', () => {
  it('of a name that was not configured is refused, for the page too: such a name may point here without being ours', async () => {
    const { ask, signIn, port, source } = await startRig();
    const { cookie } = await signIn();
    const status = async (host: string) => (await ask('/me', { headers: { host, cookie } })).status;
    for (const host of [
      'board.example',
      `board.example:${port}`,
      `127.0.0.1.board.example:${port}`,
      `localhost.board.example:${port}`,
      `127.0.0.1:${port}@board.example`,
      'board.example/127.0.0.1',
      `127.0.0.1:${port}#`,
      '[::1',
      'a b',
    ]) {
      expect([host, await status(host)]).toEqual([host, 421]);
    }
    expect((await ask('/', { headers: { host: 'board.example' } })).json).toEqual({
      error: 'this is not an address of the board',
    });
    for (const host of [`127.0.0.1:${port}`, `localhost:${port}`, `LOCALHOST:${port}`, `[::1]:${port}`, '192.0.2.7']) {
      expect([host, await status(host)]).toEqual([host, 200]);
    }
    expect(source.asked).toEqual([]);
  });

  it('counts less than an address in place of the path', async () => {
    const { port } = await startRig();
    const get = async (target: string) =>
      (await raw(port, `GET ${target} HTTP/1.1\r\nHost: localhost:${port}\r\nConnection: close\r\n\r\n`)).slice(9, 12);
    expect(await get('http://board.example/board.js')).toBe('421');
    expect(await get(`http://localhost:${port}/board.js`)).toBe('200');
  });

  it('may be the configured name, with its scheme’s port or without', async () => {
    const { ask } = await startRig({ settings: { origin: 'https://board.northline.example' } });
    const status = async (host: string) => (await ask('/', { headers: { host } })).status;
    const hosts = ['board.northline.example', 'BOARD.northline.example', 'board.northline.example:443'];
    expect(await Promise.all(hosts.map(status))).toEqual([200, 200, 200]);
    const others = [
      'board.northline.example:80',
      'northline.example',
      'x.board.northline.example',
      'board.northline.example.',
    ];
    expect(await Promise.all(others.map(status))).toEqual([421, 421, 421, 421]);
    const { json } = await ask('/', { headers: { host: 'northline.example' } });
    expect(json).toEqual({ error: 'the board is at https://board.northline.example' });
  });

  it('where an address is configured, writes come from there and from nowhere else', async () => {
    const { ask, port, signIn, origin } = await startRig({ settings: { origin: 'https://board.northline.example' } });
    const host = 'board.northline.example';
    const headers = { ...(await signIn()), host };
    expect(origin).toBe('https://board.northline.example');
    const status = async (from: string) =>
      (await ask('/sign-out', { method: 'POST', headers: { ...headers, origin: from } })).status;
    expect([
      await status(`http://127.0.0.1:${port}`),
      await status('http://board.northline.example'),
      await status('https://board.northline.example:8443'),
      await status('https://board.northline.example'),
    ]).toEqual([403, 403, 403, 204]);
  });
});
