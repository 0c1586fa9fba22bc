import { describe, expect, it } from 'vitest';
import { Hasher } from '../../../office/web/hash.js';
import { CHEAP, cookieOf, NAME, PASSWORD, type Rig, startRig } from './support/board.js';

const signIn = (rig: Rig, name: string, password: string, headers = {}) =>
  rig.ask('/sign-in', { method: 'POST', headers: { origin: rig.origin, ...headers }, body: { name, password } });

describe('signing in', () => {
  it('gives a cookie that no script reads and no other site sends', async () => {
    const rig = await startRig();
    const answer = await signIn(rig, NAME, PASSWORD);
    expect([answer.status, answer.body]).toEqual([204, '']);
    const [pair, ...attributes] = answer.headers['set-cookie']![0]!.split('; ');
    expect(pair).toMatch(/^axlepost=[\w-]{43}$/);
    expect(attributes.sort()).toEqual(['HttpOnly', 'Max-Age=43200', 'Path=/', 'SameSite=Strict']);
    expect(rig.lines.at(-1)).toBe('info Anna has signed in from 127.0.0.1');
  });

  it('over https the cookie goes nowhere else, and is this host’s alone', async () => {
    const rig = await startRig({ settings: { origin: 'https://board.northline.example' } });
    const [pair, ...attributes] = (await signIn(rig, NAME, PASSWORD)).headers['set-cookie']![0]!.split('; ');
    expect(pair).toMatch(/^__Host-axlepost=[\w-]{43}$/);
    expect(attributes).toContain('Secure');
    expect(attributes).toContain('Path=/');
    expect(attributes.join()).not.toContain('Domain');
  });

  it('keeps neither the cookie nor the password', async () => {
    const rig = await startRig();
    const answer = await signIn(rig, NAME, PASSWORD);
    const secret = cookieOf(answer).split('=')[1]!;
    const kept = JSON.stringify([[...rig.source.store.sessions], [...rig.source.store.hashes], rig.lines]);
    expect(kept).not.toContain(secret);
    expect(kept).not.toContain(PASSWORD);
    expect(rig.source.store.sessions.size).toBe(1);
    // By another hand: SHA-256 of the cookie's text.
    const digest = await crypto.subtle.digest('SHA-256', new TextEncoder().encode(secret));
    expect([...rig.source.store.sessions.keys()]).toEqual([Buffer.from(digest).toString('hex')]);
  });

  it('a wrong password, an unknown name and a name that cannot be cost the same and are told the same', async () => {
    const rig = await startRig();
    const answers = [];
    for (const [name, password] of [
      [NAME, 'seven quiet springs'],
      ['Bert', PASSWORD],
      ['anna', PASSWORD],
      ['\u0000', PASSWORD],
      [' Anna', PASSWORD],
      ['An\u200Bna', PASSWORD],
      ['__proto__', PASSWORD],
      ["' OR 1=1 --", PASSWORD],
      ['<script>', ''],
      ['', ''],
    ] as const) {
      const before = rig.server.counts().hashes.done;
      const { status, body, headers } = await signIn(rig, name, password);
      answers.push({ status, body, cookie: headers['set-cookie'], hashes: rig.server.counts().hashes.done - before });
    }
    const refused = { status: 401, body: '{"error":"name or password is wrong"}', cookie: undefined, hashes: 1 };
    expect(answers).toEqual(answers.map(() => refused));
    expect(rig.lines.join()).not.toContain('Bert');
  });

  it.each([
    { name: NAME },
    { name: NAME, password: 1 },
    { name: [NAME], password: PASSWORD },
    { name: 'x'.repeat(65), password: PASSWORD },
    { name: NAME, password: 'x'.repeat(1_025) },
    { name: NAME, password: PASSWORD, as: 'Bert' },
    null,
  ])('%j is nothing to sign in with', async (body) => {
    const rig = await startRig();
    const answer = await rig.ask('/sign-in', { method: 'POST', headers: { origin: rig.origin }, body });
    expect([answer.status, rig.server.counts().hashes.done]).toEqual([400, 0]);
    expect(answer.body).not.toContain(PASSWORD);
  });

  it('is for the board’s own page only, and for JSON only', async () => {
    const rig = await startRig();
    const body = JSON.stringify({ name: NAME, password: PASSWORD });
    const post = async (headers: Record<string, string>) =>
      (await rig.ask('/sign-in', { method: 'POST', headers: { 'content-type': 'application/json', ...headers }, body }))
        .status;
    const { origin } = rig;
    expect(await post({})).toBe(403);
    expect(await post({ origin: 'https://board.example' })).toBe(403);
    expect(await post({ origin, 'sec-fetch-site': 'same-site' })).toBe(403);
    expect(await post({ origin, 'content-type': 'text/plain' })).toBe(415);
    expect(await post({ origin, 'content-type': 'application/x-www-form-urlencoded' })).toBe(415);
    expect(await post({ origin })).toBe(204);
  });

  it('the name and the password may be typed in either form of the same letters', async () => {
    const rig = await startRig();
    const hash = await new Hasher({ cost: CHEAP }).hash('früh am Morgen los');
    await rig.source.store.putAccount({ name: 'Zoë', hash });
    const answer = await signIn(rig, 'Zoë'.normalize('NFD'), 'früh am Morgen los'.normalize('NFD'));
    expect(answer.status).toBe(204);
  });
});

describe('a session', () => {
  it('lasts twelve hours', async () => {
    let nowMs = 1_000_000;
    const rig = await startRig({ nowMs: () => nowMs });
    const { cookie } = await rig.signIn();
    nowMs += 12 * 3_600_000 - 1;
    expect((await rig.ask('/me', { headers: { cookie } })).status).toBe(200);
    nowMs += 1;
    expect((await rig.ask('/me', { headers: { cookie } })).status).toBe(401);
  });

  it('lasts no longer though the store still gives it', async () => {
    let nowMs = 1_000_000;
    const rig = await startRig({ nowMs: () => nowMs });
    const { cookie } = await rig.signIn();
    const { sessions } = rig.source.store;
    rig.source.store.session = async (key) => sessions.get(key) ?? null;
    nowMs += 12 * 3_600_000;
    expect((await rig.ask('/me', { headers: { cookie } })).status).toBe(401);
  });

  it('ends at sign-out, in the browser and here, and no other with it', async () => {
    const rig = await startRig();
    const headers = await rig.signIn();
    const other = await rig.signIn();
    const answer = await rig.ask('/sign-out', { method: 'POST', headers });
    expect(answer.status).toBe(204);
    expect(answer.headers['set-cookie']![0]).toMatch(/^axlepost=; .*Expires=Thu, 01 Jan 1970/);
    expect((await rig.ask('/me', { headers: { cookie: headers.cookie } })).status).toBe(401);
    expect((await rig.ask('/me', { headers: { cookie: other.cookie } })).status).toBe(200);
  });

  it('ends when the password is changed or the account removed', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    await rig.source.store.putAccount({ name: NAME, hash: await new Hasher({ cost: CHEAP }).hash(PASSWORD) });
    expect((await rig.ask('/me', { headers: { cookie } })).status).toBe(401);
    const again = await rig.signIn();
    await rig.source.store.removeAccount(NAME);
    expect((await rig.ask('/me', { headers: { cookie: again.cookie } })).status).toBe(401);
  });

  it('is another one after signing in again from the same browser', async () => {
    const rig = await startRig();
    const first = await rig.signIn();
    const second = cookieOf(await signIn(rig, NAME, PASSWORD, { cookie: first.cookie }));
    expect(second).not.toBe(first.cookie);
    expect((await rig.ask('/me', { headers: { cookie: first.cookie } })).status).toBe(401);
    expect((await rig.ask('/me', { headers: { cookie: second } })).status).toBe(200);
  });

  it('is not what a caller makes up', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const secret = cookie.split('=')[1]!;
    const key = [...rig.source.store.sessions.keys()][0]!;
    const made = [
      `axlepost=${key}`,
      `axlepost=${key.slice(0, 43)}`,
      `axlepost=${secret}A`,
      'axlepost=',
      `other=${secret}`,
    ];
    for (const wrong of made) expect((await rig.ask('/me', { headers: { cookie: wrong } })).status).toBe(401);
  });

  it('of an old password does not come into being while the password is changed', async () => {
    const rig = await startRig();
    const { store } = rig.source;
    const other = await new Hasher({ cost: CHEAP }).hash('another long password');
    let reads = 0;
    // The second time it is read, the old password has been found right already.
    store.beforeAccount = async (name) => {
      if (++reads === 2) await store.putAccount({ name, hash: other });
    };
    expect((await signIn(rig, NAME, PASSWORD)).status).toBe(401);
    expect([store.sessions.size, store.hashes.get(NAME)]).toEqual([0, other]);
  });
});

describe('a hash that costs less than new ones', () => {
  it('is made anew at the next sign-in, and only then', async () => {
    const rig = await startRig({ hashCost: { N: 2 ** 11, r: 8, p: 1 } });
    const { store } = rig.source;
    const old = await new Hasher({ cost: CHEAP }).hash(PASSWORD);
    await store.putAccount({ name: NAME, hash: old });
    expect((await signIn(rig, NAME, 'seven quiet springs')).status).toBe(401);
    expect(store.hashes.get(NAME)).toBe(old);
    expect((await signIn(rig, NAME, PASSWORD)).status).toBe(204);
    expect(store.hashes.get(NAME)).toMatch(/^scrypt:N=2048,/);
    const renewed = store.hashes.get(NAME);
    expect((await signIn(rig, NAME, PASSWORD)).status).toBe(204);
    expect([store.hashes.get(NAME), store.sessions.size]).toEqual([renewed, 2]);
  });

  it('is not put over a password that was set meanwhile', async () => {
    const rig = await startRig({ hashCost: { N: 2 ** 11, r: 8, p: 1 } });
    const { store } = rig.source;
    await store.putAccount({ name: NAME, hash: await new Hasher({ cost: CHEAP }).hash(PASSWORD) });
    const other = await new Hasher({ cost: CHEAP }).hash('another long password');
    const read = store.account.bind(store);
    let isFirst = true;
    store.account = async (name) => {
      const found = await read(name);
      if (isFirst) await store.putAccount({ name, hash: other });
      isFirst = false;
      return found;
    };
    expect((await signIn(rig, NAME, PASSWORD)).status).toBe(401);
    expect([store.hashes.get(NAME), store.sessions.size]).toEqual([other, 0]);
  });
});
