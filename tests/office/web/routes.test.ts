import { describe, expect, it } from 'vitest';
import { StoreError } from '../../../office/store/contract.js';
import { type Ask, NAME, startRig } from './support/board.js';

/** Every route that needs somebody, with what it gives to who may. */
const READS: [string, number, string][] = [
  ['/me', 200, 'application/json'],
  ['/trucks/northline/T-1042', 200, 'application/json'],
  ['/trucks/northline/T-1042/series?from=0&to=1000', 200, 'application/json'],
  ['/events', 200, 'application/json'],
  ['/events.csv', 200, 'text/csv'],
];
const WRITES: [string, unknown][] = [
  ['/trucks/northline/T-1042/wishes', { alert: 'T-1042.k3f9q2m1x7ab.401', do: 'take' }],
  ['/trucks/northline/T-1042/trailer', { trailer: 'TR-77' }],
  ['/sign-out', undefined],
];

describe('the page', () => {
  it('is given to everybody, with its files', async () => {
    const { ask } = await startRig();
    const page = await ask('/');
    expect([page.status, page.headers['content-type'], page.body]).toEqual([
      200,
      'text/html; charset=utf-8',
      '<!doctype html><title>Board</title>',
    ]);
    expect((await ask('/board.js')).headers['content-type']).toBe('text/javascript; charset=utf-8');
    expect((await ask('/board.css')).headers['content-type']).toBe('text/css; charset=utf-8');
  });
});

describe('reading', () => {
  it.each(READS)('%s needs a session', async (path, status, type) => {
    const { ask, signIn } = await startRig();
    const nobody = await ask(path);
    expect([nobody.status, nobody.json]).toEqual([401, { error: 'nobody is signed in' }]);
    expect((await ask(path, { headers: { cookie: `axlepost=${'A'.repeat(43)}` } })).status).toBe(401);
    const { cookie } = await signIn();
    const answer = await ask(path, { headers: { cookie } });
    expect([answer.status, answer.headers['content-type']]).toEqual([status, expect.stringContaining(type)]);
    const head = await ask(path, { headers: { cookie }, method: 'HEAD' });
    expect([head.status, head.body, head.headers['content-length']]).toEqual([
      200,
      '',
      answer.headers['content-length'],
    ]);
  });

  it.each(READS)('%s is not for the page of another site', async (path) => {
    const { ask, signIn } = await startRig();
    const { cookie } = await signIn();
    const from = async (site: string) => (await ask(path, { headers: { cookie, 'sec-fetch-site': site } })).status;
    expect([await from('cross-site'), await from('same-site'), await from('same-origin'), await from('none')]).toEqual([
      403, 403, 200, 200,
    ]);
  });

  it('gives what the office says', async () => {
    const { ask, signIn, source } = await startRig();
    const { cookie } = await signIn();
    const get = async (path: string) => (await ask(path, { headers: { cookie } })).json;
    expect(await get('/me')).toEqual({ name: NAME, token: expect.stringMatching(/^[\w-]{43}$/), signIn: 'accounts' });
    expect(await get('/trucks/northline/T-1042')).toMatchObject({ truck: { truck: 'T-1042' } });
    expect(await get('/trucks/northline/T-1042/series?from=1&to=2')).toEqual({ fromMs: 1, toMs: 2, r: {} });
    expect(await get('/events?fleet=northline&truck=T-208&from=5&to=9&limit=7')).toEqual(source.found);
    expect(source.asked.at(-1)).toEqual({
      events: { fleet: 'northline', truck: 'T-208', fromMs: 5, toMs: 9, limit: 7 },
    });
  });

  it.each([
    ['/trucks/northline/T-999', 404],
    ['/trucks/northline/T%2F1042', 404],
    ['/trucks/northline/..%2f..', 404],
    ['/trucks/northline/T%00', 404],
    [`/trucks/northline/${'T'.repeat(33)}`, 404],
    ['/trucks/northline/T-1042/series', 400],
    ['/trucks/northline/T-1042/series?from=2&to=1', 400],
    ['/trucks/northline/T-1042/series?from=&to=1', 400],
    ['/trucks/northline/T-1042/series?from=0&to=2678400001', 400],
    ['/trucks/northline/T-1042/series?from=0&to=1&to=2', 400],
    ['/events?limit=many', 400],
    ['/events?limit=-1', 400],
    ['/events?fleet=a%20b', 400],
    ['/events?sort=at', 400],
    ['/events?__proto__=1', 400],
  ])('%s is %i', async (path, status) => {
    const { ask, signIn, source } = await startRig();
    const { cookie } = await signIn();
    const answer = await ask(path, { headers: { cookie } });
    expect([answer.status, answer.json]).toEqual([status, { error: expect.stringMatching(/^[^\n]+$/) }]);
    expect(source.asked.filter((one) => !('truckPage' in (one as object)))).toEqual([]);
  });

  it('gives no more events than it may', async () => {
    const { ask, signIn, source } = await startRig();
    const { cookie } = await signIn();
    for (const path of [
      '/events',
      '/events?limit=0',
      '/events?limit=999999',
      '/events.csv',
      '/events.csv?limit=999999',
    ]) {
      await ask(path, { headers: { cookie } });
    }
    expect(source.asked.map((one) => (one as { events: { limit: number } }).events.limit)).toEqual([
      200, 1, 1_000, 5_000, 5_000,
    ]);
  });
});

describe('writing', () => {
  it.each(WRITES)('%s needs a session, its token and the board’s own page', async (path, body) => {
    const { ask, signIn, source, origin, port } = await startRig();
    const good = await signIn();
    const { cookie, 'x-axlepost-token': token } = good;
    const post = async (headers: Ask['headers'] & object) =>
      (await ask(path, { method: 'POST', headers, body })).status;
    const other = (await signIn())['x-axlepost-token'];
    const refused: [number, Record<string, string>][] = [
      [401, { origin, 'x-axlepost-token': token }],
      [401, { origin, 'x-axlepost-token': token, cookie: `axlepost=${'A'.repeat(43)}` }],
      [403, { origin, cookie }],
      [403, { origin, cookie, 'x-axlepost-token': '' }],
      [403, { origin, cookie, 'x-axlepost-token': `${token}x` }],
      [403, { origin, cookie, 'x-axlepost-token': other }],
      [403, { cookie, 'x-axlepost-token': token }],
      [403, { ...good, origin: 'http://board.example' }],
      [403, { ...good, origin: `http://127.0.0.1:${port + 1}` }],
      [403, { ...good, origin: `https://127.0.0.1:${port}` }],
      [403, { ...good, origin: 'null' }],
      [403, { ...good, 'sec-fetch-site': 'same-site' }],
      [403, { ...good, 'sec-fetch-site': 'cross-site' }],
      [403, { ...good, 'sec-fetch-site': 'none' }],
    ];
    for (const [status, headers] of refused) expect([await post(headers), headers]).toEqual([status, headers]);
    expect(source.asked).toEqual([]);
    expect(source.store.sessions.size).toBe(2);
    expect(await post({ ...good, 'sec-fetch-site': 'same-origin' })).toBe(204);
  });

  it('is accepted without Origin where the browser says that it is the same', async () => {
    const { ask, signIn } = await startRig();
    const { origin: _, ...headers } = await signIn();
    const path = '/trucks/northline/T-1042/wishes';
    const body = { alert: 'a', do: 'take' };
    const own = { ...headers, 'sec-fetch-site': 'same-origin' };
    expect((await ask(path, { method: 'POST', headers: own, body })).status).toBe(204);
  });

  it('who wishes is the name that is signed in; a note becomes one line', async () => {
    const { ask, signIn, source } = await startRig();
    const headers = await signIn();
    const body = { alert: 'a.b.1', do: 'snooze', note: ' called\r\n the driver ', minutes: 30 };
    const answer = await ask('/trucks/northline/T-1042/wishes', { method: 'POST', headers, body });
    expect([answer.status, answer.body]).toEqual([204, '']);
    expect(source.asked).toEqual([
      {
        key: { fleet: 'northline', truck: 'T-1042' },
        wish: { alert: 'a.b.1', do: 'snooze', note: 'called the driver', minutes: 30, who: NAME },
      },
    ]);
  });

  it('says which trailer is coupled, or that nobody knows', async () => {
    const { ask, signIn, source } = await startRig();
    const headers = await signIn();
    const path = '/trucks/northline/T-1042/trailer';
    const couple = async (body: unknown) => (await ask(path, { method: 'POST', headers, body })).status;
    const key = { fleet: 'northline', truck: 'T-1042' };
    expect([await couple({ trailer: 'TR-77' }), await couple({ trailer: null })]).toEqual([204, 204]);
    expect(source.asked).toEqual([
      { key, couple: 'TR-77' },
      { key, couple: null },
    ]);
    const wrong = [{ trailer: '' }, { trailer: 'ä' }, { trailer: 'x'.repeat(65) }, {}, { trailer: 'a', who: 'b' }];
    for (const body of wrong) expect(await couple(body)).toBe(400);
    source.refusal = 'this truck is not known';
    expect(await couple({ trailer: 'TR-1' })).toBe(409);
  });

  it('what the office refuses is told as refused', async () => {
    const { ask, signIn, source } = await startRig();
    const headers = await signIn();
    source.refusal = 'a pull-over cannot be snoozed';
    const body = { alert: 'a.b.1', do: 'snooze' };
    const answer = await ask('/trucks/northline/T-1042/wishes', { method: 'POST', headers, body });
    expect([answer.status, answer.json]).toEqual([409, { refused: 'a pull-over cannot be snoozed' }]);
  });

  it.each([
    [{ alert: 'a', do: 'take', who: 'Bert' }],
    [{ alert: 'a', do: 'delete' }],
    [{ alert: '', do: 'take' }],
    [{ alert: 'ä', do: 'take' }],
    [{ alert: 'a', do: 'take', note: 'x'.repeat(301) }],
    [{ alert: 'a', do: 'take', note: 'a\u0000b' }],
    [{ alert: 'a', do: 'take', note: '\u202Eb' }],
    [{ alert: 'a', do: 'snooze', minutes: 0 }],
    [{ alert: 'a', do: 'snooze', minutes: 721 }],
    [{ alert: 'a', do: 'snooze', minutes: 1.5 }],
    [[]],
    [null],
    ['{"alert":"a","do":"take","__proto__":{"who":"Bert"}}'],
    ['{"alert":'],
    [''],
  ])('%j is no wish', async (body) => {
    const { ask, signIn, source } = await startRig();
    const headers = { ...(await signIn()), 'content-type': 'application/json' };
    const text = typeof body === 'string' ? body : JSON.stringify(body);
    const answer = await ask('/trucks/northline/T-1042/wishes', { method: 'POST', headers, body: text });
    expect([answer.status, answer.json]).toEqual([400, { error: expect.stringMatching(/^[^\n]+$/) }]);
    expect(source.asked).toEqual([]);
  });
});

describe('what cannot be asked', () => {
  it.each([
    ['DELETE', '/', 'GET, HEAD'],
    ['POST', '/board.js', 'GET, HEAD'],
    ['GET', '/sign-in', 'POST'],
    ['HEAD', '/sign-in', 'POST'],
    ['GET', '/trucks/northline/T-1042/wishes', 'POST'],
    ['PUT', '/trucks/northline/T-1042', 'GET, HEAD'],
    ['OPTIONS', '/events', 'GET, HEAD'],
    ['TRACE', '/me', 'GET, HEAD'],
    ['POST', '/live', 'GET, HEAD'],
  ])('%s %s is answered with what can', async (method, path, allow) => {
    const { ask } = await startRig();
    const answer = await ask(path, { method });
    expect([answer.status, answer.headers.allow]).toEqual([405, allow]);
  });

  it.each(['/nothing', '/board.js/', '/index.html.bak', '/favicon.ico', '/trucks', '/trucks/northline', '/ME'])(
    '%s is not there',
    async (path) => {
      const { ask } = await startRig();
      const answer = await ask(path);
      expect([answer.status, answer.json]).toEqual([404, { error: 'there is nothing here' }]);
    },
  );

  it('a mistake of ours is told without what is inside', async () => {
    const { ask, signIn, source, lines } = await startRig();
    const { cookie } = await signIn();
    source.failure = new TypeError('secret inside');
    const answer = await ask('/events', { headers: { cookie } });
    expect([answer.status, answer.json]).toEqual([500, { error: 'a mistake in the office; it is in its log' }]);
    expect(lines.at(-1)).toContain('secret inside');
  });

  it('a store that is away is told as such, to be tried again', async () => {
    const { ask, signIn, source } = await startRig();
    const { cookie } = await signIn();
    source.failure = new StoreError('postgres at db.northline.example is away');
    const answer = await ask('/events', { headers: { cookie } });
    expect([answer.status, answer.headers['retry-after']]).toEqual([503, '5']);
    expect(answer.body).not.toContain('db.northline');
  });
});
