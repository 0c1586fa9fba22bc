import { describe, expect, it } from 'vitest';
import type { WebSettings } from '../../../office/web/settings.js';
import { NAME, type RigOptions, startRig } from './support/board.js';
import { LiveReader } from './support/live-reader.js';

const SECRET = 'a secret of the proxy and the office';
const signIn: WebSettings['signIn'] = { kind: 'proxy', userHeader: 'X-Forwarded-User', secret: SECRET };
const byProxy = (options: RigOptions = {}) => startRig({ ...options, settings: { signIn, ...options.settings } });
const as = (name: string) => ({ 'x-axlepost-proxy': SECRET, 'x-forwarded-user': name });
/** How Node's client sends what is not Latin-1. */
const bytes = (name: string): string => Buffer.from(name, 'utf8').toString('latin1');

describe('a reverse proxy that signs people in', () => {
  it('is believed when it knows the secret', async () => {
    const { ask } = await byProxy();
    const { status, json } = await ask('/me', { headers: as('anna@northline.example') });
    expect([status, json]).toEqual([
      200,
      { name: 'anna@northline.example', token: expect.stringMatching(/^[\w-]{43}$/), signIn: 'proxy' },
    ]);
  });

  it.each([
    { 'x-forwarded-user': 'Anna' },
    { 'x-forwarded-user': 'Anna', 'x-axlepost-proxy': '' },
    { 'x-forwarded-user': 'Anna', 'x-axlepost-proxy': SECRET.slice(1) },
    { 'x-forwarded-user': 'Anna', 'x-axlepost-proxy': `${SECRET}.` },
    { 'x-forwarded-user': 'Anna', 'x-axlepost-proxy': [SECRET, SECRET] },
    { 'x-forwarded-user': ['Anna', 'Bert'], 'x-axlepost-proxy': SECRET },
    { 'x-axlepost-proxy': SECRET },
  ])('is not believed with %j', async (headers) => {
    const { ask } = await byProxy();
    expect((await ask('/me', { headers })).status).toBe(401);
    expect((await ask('/events', { headers })).status).toBe(401);
    expect((await ask('/live', { headers })).status).toBe(401);
    expect((await ask('/')).status).toBe(200);
  });

  it.each(['', ' ', 'a\tb', bytes('a\u202Eb'), bytes('a\u200Bb'), bytes('a\u0085b'), '\xff\xfe', 'x'.repeat(65)])(
    'a name such as %j is nobody’s',
    async (name) => {
      const { ask } = await byProxy();
      expect((await ask('/me', { headers: as(name) })).status).toBe(401);
    },
  );

  it.each(['x'.repeat(64), bytes('Zoë Müller'), bytes('安娜'), 'Doe, Jane', '<b>'])('%j is a name', async (name) => {
    const { ask } = await byProxy();
    const { json } = await ask('/me', { headers: as(name) });
    expect(json).toMatchObject({ name: Buffer.from(name, 'latin1').toString('utf8') });
  });

  it('writes need the token of that name, and the board’s own page', async () => {
    const { ask, source, origin } = await byProxy();
    const tokenOf = async (name: string) => ((await ask('/me', { headers: as(name) })).json as { token: string }).token;
    const [anna, bert] = [await tokenOf('Anna'), await tokenOf('Bert')];
    expect(await tokenOf('Anna')).toBe(anna);
    expect(bert).not.toBe(anna);
    const post = async (headers: Record<string, string>) => {
      const body = { alert: 'a.b.1', do: 'take' };
      return (await ask('/trucks/northline/T-1042/wishes', { method: 'POST', headers, body })).status;
    };
    const good = { ...as('Anna'), origin, 'x-axlepost-token': anna };
    expect(await post({ ...good, 'x-axlepost-token': bert })).toBe(403);
    expect(await post({ ...good, origin: 'https://board.example' })).toBe(403);
    expect(await post({ ...as('Anna'), origin })).toBe(403);
    expect(await post({ ...good, 'x-axlepost-proxy': 'x' })).toBe(401);
    expect(source.asked).toEqual([]);
    expect(await post(good)).toBe(204);
    expect(source.asked).toMatchObject([{ wish: { who: 'Anna' } }]);
  });

  it('there is nothing to sign in to or out of', async () => {
    const { ask, origin } = await byProxy();
    const post = (path: string) => ask(path, { method: 'POST', headers: { ...as('Anna'), origin }, body: {} });
    expect([(await post('/sign-in')).status, (await post('/sign-out')).status]).toEqual([404, 404]);
  });

  it('is asked again by each stream after a while', async () => {
    const rig = await byProxy({ limits: { heartbeatMs: 20, liveByProxyMs: 200 } });
    const reader = await LiveReader.open(rig, as('Anna'));
    await reader.until(({ ended }) => ended);
    expect(reader.seen[0]!.event).toBe('board');
  });

  it('each name has limits of its own, though all come from one address', async () => {
    const { ask } = await byProxy({ limits: { anything: 2 } });
    const get = async (name: string) => (await ask('/me', { headers: as(name) })).status;
    expect([await get('Anna'), await get('Anna'), await get('Anna'), await get('Bert')]).toEqual([200, 200, 429, 200]);
  });
});

describe('where the proxy may be', () => {
  it.each(['0.0.0.0', '::', '192.0.2.1', 'board.northline.example', '127.0.0.1.example'])(
    'not on %s, where others would come past it',
    async (host) => {
      const listen = { kind: 'tcp', host, port: 0 } as const;
      await expect(byProxy({ settings: { listen } })).rejects.toThrow(/unix socket or loopback only/);
    },
  );

  it('is loopback or a unix socket', async () => {
    const { ask } = await byProxy({ settings: { listen: { kind: 'tcp', host: 'localhost', port: 0 } } });
    expect((await ask('/me', { headers: as('Anna') })).status).toBe(200);
  });
});

describe('the secret', () => {
  it.each(['', 'x'.repeat(21)])('%j is too easily found', async (secret) => {
    await expect(byProxy({ settings: { signIn: { ...signIn, secret } } })).rejects.toThrow(
      /has at least 22 characters/,
    );
  });

  it('of 22 characters is long enough', async () => {
    await byProxy({ settings: { signIn: { ...signIn, secret: 'x'.repeat(22) } } });
  });
});

describe('where accounts are used', () => {
  it('what a proxy would say is nothing', async () => {
    const { ask, signIn: start } = await startRig();
    expect((await ask('/me', { headers: as('Bert') })).status).toBe(401);
    const { cookie } = await start();
    expect((await ask('/me', { headers: { ...as('Bert'), cookie } })).json).toMatchObject({ name: NAME });
  });
});
