import { describe, expect, it } from 'vitest';
import { Hasher } from '../../../office/web/hash.js';
import { CHEAP, NAME, PASSWORD, type Rig, startRig } from './support/board.js';
import { raw } from './support/live-reader.js';

const WRONG = 'seven quiet springs';

async function statuses(times: number, ask: () => Promise<{ status: number }>): Promise<number[]> {
  const seen = [];
  for (let i = 0; i < times; i++) seen.push((await ask()).status);
  return seen;
}

const signIn = (rig: Rig, name: string, password: string, headers = {}) =>
  rig.ask('/sign-in', { method: 'POST', headers: { origin: rig.origin, ...headers }, body: { name, password } });

describe('how often', () => {
  it('an address may try to sign in: after that the right password helps no more, and nothing is hashed', async () => {
    const rig = await startRig({ limits: { signInsOfAddress: 3 } });
    let name = 0;
    expect(await statuses(3, () => signIn(rig, `Bert ${name++}`, WRONG))).toEqual([401, 401, 401]);
    const { done } = rig.server.counts().hashes;
    const answer = await signIn(rig, NAME, PASSWORD);
    expect([answer.status, answer.json]).toEqual([
      429,
      { error: expect.stringMatching(/^too often; try again in \d+ s$/) },
    ]);
    expect(Number(answer.headers['retry-after'])).toBeGreaterThan(0);
    expect(Number(answer.headers['retry-after'])).toBeLessThanOrEqual(60);
    expect(rig.server.counts().hashes.done).toBe(done);
  });

  it('a name may be tried, known or not, in whichever form it is typed', async () => {
    const rig = await startRig({ limits: { signInsOfName: 3 } });
    for (const name of [NAME, 'Nobody', 'Zoë']) {
      expect(await statuses(3, () => signIn(rig, name, WRONG))).toEqual([401, 401, 401]);
      const answer = await signIn(rig, name.normalize('NFD'), WRONG);
      expect([answer.status, Number(answer.headers['retry-after']) > 60]).toEqual([429, true]);
    }
  });

  it('a name that is tried by somebody else keeps its sessions', async () => {
    const rig = await startRig({ limits: { signInsOfName: 2 } });
    const { cookie } = await rig.signIn();
    expect(await statuses(2, () => signIn(rig, NAME, WRONG))).toEqual([401, 429]);
    expect((await rig.ask('/me', { headers: { cookie } })).status).toBe(200);
  });

  it('somebody may read, and others go on', async () => {
    const rig = await startRig({ limits: { reads: 4 } });
    await rig.source.store.putAccount({ name: 'Bert', hash: await new Hasher({ cost: CHEAP }).hash(PASSWORD) });
    // Signing in reads /me once.
    const [anna, bert] = [await rig.signIn(), await rig.signIn('Bert')];
    const read = (cookie: string) => rig.ask('/events', { headers: { cookie } });
    expect(await statuses(4, () => read(anna.cookie))).toEqual([200, 200, 200, 429]);
    expect((await read(bert.cookie)).status).toBe(200);
  });

  it('somebody may write, which is counted apart from reading', async () => {
    const rig = await startRig({ limits: { writes: 2 } });
    const headers = await rig.signIn();
    const body = { alert: 'a.b.1', do: 'take' };
    const write = () => rig.ask('/trucks/northline/T-1042/wishes', { method: 'POST', headers, body });
    expect(await statuses(3, write)).toEqual([204, 204, 429]);
    expect((await rig.ask('/events', { headers })).status).toBe(200);
    expect(rig.source.asked.length).toBe(3);
  });

  it('an address may ask for anything at all, also for what is not there', async () => {
    const rig = await startRig({ limits: { anything: 3 } });
    const paths = ['/', '/nothing', '/sign-in', '/', '/nothing', '/sign-in'];
    expect(await statuses(6, () => rig.ask(paths.shift()!))).toEqual([200, 404, 405, 429, 429, 429]);
  });
});

describe('addresses behind a reverse proxy', () => {
  const from = (...addresses: string[]) => ({ 'x-forwarded-for': addresses.join(', ') });

  it('are told apart by what the proxy itself has put last', async () => {
    const rig = await startRig({ settings: { forwardedFor: true }, limits: { signInsOfAddress: 1 } });
    const first = signIn(rig, 'A', WRONG, from('198.51.100.7'));
    expect((await first).status).toBe(401);
    expect((await signIn(rig, 'B', WRONG, from('198.51.100.8'))).status).toBe(401);
    // What stands before it came with the request.
    expect((await signIn(rig, 'C', WRONG, from('203.0.113.1', '198.51.100.7'))).status).toBe(429);
    expect(rig.lines).toContainEqual(expect.stringContaining('from 198.51.100.8 was refused'));
  });

  it('of IPv6 count by network', async () => {
    const rig = await startRig({ settings: { forwardedFor: true }, limits: { signInsOfAddress: 1 } });
    expect((await signIn(rig, 'A', WRONG, from('2001:db8:1:2::1'))).status).toBe(401);
    expect((await signIn(rig, 'B', WRONG, from('2001:db8:1:2:ffff::9'))).status).toBe(429);
    expect((await signIn(rig, 'C', WRONG, from('2001:db8:1:3::1'))).status).toBe(401);
  });

  it('that are none are one', async () => {
    const rig = await startRig({ settings: { forwardedFor: true }, limits: { signInsOfAddress: 1 } });
    expect((await signIn(rig, 'A', WRONG, from('one'))).status).toBe(401);
    expect((await signIn(rig, 'B', WRONG, from('two'))).status).toBe(429);
  });

  it('are not believed unless it was said so', async () => {
    const rig = await startRig({ limits: { signInsOfAddress: 1 } });
    expect((await signIn(rig, 'A', WRONG, from('198.51.100.7'))).status).toBe(401);
    expect((await signIn(rig, 'B', WRONG, from('198.51.100.8'))).status).toBe(429);
  });

  it('are not believed where others come past the proxy', async () => {
    const listen = { kind: 'tcp', host: '0.0.0.0', port: 0 } as const;
    await expect(startRig({ settings: { forwardedFor: true, listen } })).rejects.toThrow(
      /unix socket or loopback only/,
    );
  });
});

describe('how many sign in at once', () => {
  it('never more than may be hashed', async () => {
    const rig = await startRig({ limits: { hashesAtOnce: 2 } });
    const tries = Array.from({ length: 12 }, (_, i) => signIn(rig, `Bert ${i}`, WRONG));
    expect((await Promise.all(tries)).map(({ status }) => status)).toEqual(tries.map(() => 401));
    expect(rig.server.counts().hashes).toMatchObject({ running: 0, done: 12, refused: 0 });
    expect(rig.server.counts().hashes.mostRunning).toBeLessThanOrEqual(2);
  });

  it('where too many wait, the next is told to come again', async () => {
    const rig = await startRig({ limits: { hashesAtOnce: 0, hashesWaiting: 0 } });
    const answer = await signIn(rig, NAME, PASSWORD);
    expect([answer.status, answer.headers['retry-after']]).toEqual([503, '5']);
    expect(answer.json).toEqual({ error: 'too many people sign in at once; try again in a moment' });
  });
});

describe('how much', () => {
  const wish = (bytes: number): string => {
    const frame = JSON.stringify({ alert: 'a', do: 'take' });
    return frame + ' '.repeat(bytes - frame.length);
  };

  it('a body of 4,096 bytes is read, one more is not', async () => {
    const rig = await startRig();
    const headers = { ...(await rig.signIn()), 'content-type': 'application/json' };
    const post = (bytes: number) =>
      rig.ask('/trucks/northline/T-1042/wishes', { method: 'POST', headers, body: wish(bytes) });
    expect((await post(4_096)).status).toBe(204);
    const answer = await post(4_097);
    expect([answer.status, answer.json, answer.headers.connection]).toEqual([
      413,
      { error: 'the body is too long' },
      'close',
    ]);
  });

  it('a body that does not say how long it is is cut off as well', async () => {
    const rig = await startRig();
    const { cookie, origin, 'x-axlepost-token': token } = await rig.signIn();
    const head = [
      'POST /trucks/northline/T-1042/wishes HTTP/1.1',
      `Host: 127.0.0.1:${rig.port}`,
      `Cookie: ${cookie}`,
      `Origin: ${origin}`,
      `X-Axlepost-Token: ${token}`,
      'Content-Type: application/json',
      'Transfer-Encoding: chunked',
    ];
    const answer = await raw(rig.port, `${head.join('\r\n')}\r\n\r\n1400\r\n${' '.repeat(0x1400)}\r\n`);
    expect(answer).toMatch(/^HTTP\/1.1 413 /);
    expect(rig.source.asked).toEqual([]);
  });

  it('headers of 8 KB are too many', async () => {
    const { ask } = await startRig();
    expect((await ask('/', { headers: { 'x-much': 'x'.repeat(7_500) } })).status).toBe(200);
    const answer = await ask('/', { headers: { 'x-much': 'x'.repeat(9_000) } });
    expect([answer.status, answer.json]).toEqual([431, { error: 'the headers of this request are too long' }]);
  });

  it('a request that never ends is ended', async () => {
    const { port } = await startRig({ limits: { requestMs: 200 } });
    expect(await raw(port, 'GET / HTTP/1.1\r\nHost: 127.0')).toMatch(/^HTTP\/1.1 408 /);
    const head = `POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nOrigin: http://127.0.0.1:${port}\r\n`;
    const slow = `${head}Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{`;
    expect(await raw(port, slow)).toMatch(/^HTTP\/1.1 408 /);
  });
});
