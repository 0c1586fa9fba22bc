import { once } from 'node:events';
import { connect } from 'node:net';
import { describe, expect, it, vi } from 'vitest';
import type { BoardTruck } from '../../../office/core/board-model.js';
import { NAME, PASSWORD, startRig } from './support/board.js';
import { deafReader, LiveReader } from './support/live-reader.js';
import { boardTruck } from './support/source.js';

/** A truck with much to tell. */
const wordy = (revision: number): BoardTruck => ({ ...boardTruck('T-1042', revision), sick: ['x'.repeat(60_000)] });
/** More than a kernel holds for a reader who does not read. */
const FLOOD = 400;

describe('the live board', () => {
  it('needs a session, and is not for the page of another site', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    expect((await rig.ask('/live')).status).toBe(401);
    expect((await rig.ask('/live', { headers: { cookie, 'sec-fetch-site': 'cross-site' } })).status).toBe(403);
    const head = await rig.ask('/live', { headers: { cookie }, method: 'HEAD' });
    expect([head.status, head.headers['content-type'], rig.server.counts().live]).toEqual([
      200,
      'text/event-stream; charset=utf-8',
      0,
    ]);
  });

  it('is an event stream that nobody keeps or gathers, under the same policy as all', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const { headers } = await new Promise<Response>((resolve, reject) => {
      const stop = new AbortController();
      fetch(`${rig.origin}/live`, { headers: { cookie }, signal: stop.signal })
        .then((response) => {
          resolve(response);
          stop.abort();
        })
        .catch(reject);
    });
    expect(headers.get('content-type')).toBe('text/event-stream; charset=utf-8');
    expect(headers.get('cache-control')).toBe('no-store, no-transform');
    expect(headers.get('x-accel-buffering')).toBe('no');
    expect(headers.get('content-security-policy')).toContain("default-src 'none'");
    expect(headers.get('x-content-type-options')).toBe('nosniff');
  });

  it('begins with the whole board, then each truck and line that changes, in order', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie });
    expect(await reader.next()).toEqual({ event: 'board', data: rig.source.snapshot() });
    for (let revision = 2; revision < 50; revision++) rig.source.tell(boardTruck('T-1042', revision));
    rig.source.tellNotes(['the broker is away']);
    for (let revision = 2; revision < 50; revision++) {
      expect(await reader.next()).toEqual({ event: 'truck', data: boardTruck('T-1042', revision) });
    }
    expect(await reader.next()).toEqual({ event: 'notes', data: ['the broker is away'] });
    expect(reader.text).toMatch(/^retry: [2-4]\d{3}\n\n/);
  });

  it('text of a truck cannot end its line', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie });
    await reader.next();
    const sick = ['a\n\nevent: notes\ndata: []\r\r\u2028'];
    rig.source.tell({ ...boardTruck('T-208'), sick });
    expect(await reader.next()).toEqual({ event: 'truck', data: { ...boardTruck('T-208'), sick } });
  });

  it('who comes later has what changed in between, though the board was written for others', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const first = await LiveReader.open(rig, { cookie });
    await first.next();
    const written = rig.source.snapshots;
    rig.source.tell(boardTruck('T-1042', 7));
    await first.next();
    const second = await LiveReader.open(rig, { cookie });
    const seen = [await second.next()];
    // Written anew where more than a second has passed: then the truck stands in it.
    if (rig.source.snapshots === written) seen.push(await second.next());
    expect(seen.map(({ event }) => event)).toEqual(['board', 'truck'].slice(0, seen.length));
  });

  it('says a comment when nothing else is said', async () => {
    const rig = await startRig({ limits: { heartbeatMs: 20 } });
    const { cookie } = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie });
    await reader.until(({ beats }) => beats >= 3);
    expect(reader.ended).toBe(false);
  });

  it('tells with that how many trucks are reached, when it has changed', async () => {
    const rig = await startRig({ limits: { heartbeatMs: 20 } });
    const { cookie } = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie });
    await reader.until(({ beats }) => beats >= 3);
    rig.source.awake = 2;
    await reader.until(({ seen }) => seen.length >= 3);
    await reader.until(({ beats }) => beats >= 6);
    const { seen } = reader;
    expect(seen.map(({ event }) => event)).toEqual(['board', 'counts', 'counts']);
    expect(seen.map(({ data }) => (data as { awake?: number }).awake)).toEqual([undefined, 1, 2]);
  });

  it('lets go of who has left, and of the office when nobody is there', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie });
    await reader.next();
    expect(rig.server.counts().live).toBe(1);
    reader.leave();
    await vi.waitFor(() => expect(rig.server.counts().live).toBe(0));
    rig.source.tell(boardTruck('T-1042', 2));
    await rig.server.close();
    expect([rig.source.truckListeners.size, rig.source.noteListeners.size]).toEqual([0, 0]);
  });
});

describe('who leaves while its session is looked up', () => {
  it('is not kept', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const { store } = rig.source;
    const found = store.session.bind(store);
    let answer = (): void => {};
    const isAsked = new Promise<void>((asked) => {
      store.session = async (key, nowMs) => {
        asked();
        await new Promise<void>((resolve) => {
          answer = resolve;
        });
        return found(key, nowMs);
      };
    });
    const socket = connect(rig.port, '127.0.0.1');
    socket.write(`GET /live HTTP/1.1\r\nHost: localhost\r\nCookie: ${cookie}\r\n\r\n`);
    await isAsked;
    socket.destroy();
    await once(socket, 'close');
    expect((await rig.ask('/')).status).toBe(200);
    store.session = found;
    answer();
    expect((await rig.ask('/me', { headers: { cookie } })).status).toBe(200);
    await vi.waitFor(() => expect(rig.server.counts().live).toBe(0));
  });
});

describe('how many may watch', () => {
  it('a session has some, one more is refused, and one that has left makes room', async () => {
    const rig = await startRig({ limits: { livePerSession: 2 } });
    const { cookie } = await rig.signIn();
    const first = await LiveReader.open(rig, { cookie });
    await LiveReader.open(rig, { cookie });
    const third = await rig.ask('/live', { headers: { cookie } });
    expect([third.status, third.json]).toEqual([429, { error: 'the board is open 2 times here; close one of them' }]);
    const other = await LiveReader.open(rig, { cookie: (await rig.signIn()).cookie });
    expect(other.status).toBe(200);
    first.leave();
    await vi.waitFor(() => expect(rig.server.counts().live).toBe(2));
    expect((await LiveReader.open(rig, { cookie })).status).toBe(200);
  });

  it('there is an end to all of them', async () => {
    const rig = await startRig({ limits: { liveInAll: 1 } });
    await LiveReader.open(rig, { cookie: (await rig.signIn()).cookie });
    const second = await rig.ask('/live', { headers: { cookie: (await rig.signIn()).cookie } });
    expect([second.status, second.headers['retry-after'], rig.server.counts().refused]).toEqual([503, '30', 1]);
  });
});

describe('a stream ends with its session', () => {
  it('at sign-out, and others go on', async () => {
    const rig = await startRig();
    const headers = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie: headers.cookie });
    const other = await LiveReader.open(rig, { cookie: (await rig.signIn()).cookie });
    await rig.ask('/sign-out', { method: 'POST', headers });
    await reader.until(({ ended }) => ended);
    expect(other.ended).toBe(false);
  });

  it('when its time is over, or the password was changed elsewhere', async () => {
    let nowMs = 1_000_000;
    const rig = await startRig({ limits: { heartbeatMs: 20 }, nowMs: () => nowMs });
    const late = await LiveReader.open(rig, { cookie: (await rig.signIn()).cookie });
    nowMs += 12 * 3_600_000 - 1;
    await late.until(({ beats }) => beats >= 2);
    expect(late.ended).toBe(false);
    nowMs += 1;
    await late.until(({ ended }) => ended);
    const next = await LiveReader.open(rig, { cookie: (await rig.signIn(NAME, PASSWORD)).cookie });
    await next.next();
    await rig.source.store.putAccount({ name: NAME, hash: 'another' });
    await next.until(({ ended }) => ended);
  });

  it('goes on while the store cannot say', async () => {
    const rig = await startRig({ limits: { heartbeatMs: 20 } });
    const reader = await LiveReader.open(rig, { cookie: (await rig.signIn()).cookie });
    rig.source.store.session = () => Promise.reject(new Error('away'));
    await reader.until(({ beats }) => beats >= 3);
    expect(reader.ended).toBe(false);
    expect(rig.lines.at(-1)).toContain('away');
  });
});

describe('a slow reader', () => {
  it('is dropped when it takes nothing for too long, and others are not held up', async () => {
    const limits = { liveStallMs: 50, liveSlowestBytesPerS: 1e9, heartbeatMs: 20 };
    const rig = await startRig({ limits });
    const { cookie } = await rig.signIn();
    const deaf = await deafReader(rig.port, cookie);
    const good = await LiveReader.open(rig, { cookie });
    await good.next();
    const dropped = once(deaf, 'close');
    for (let revision = 2; rig.server.counts().dropped === 0 && revision < FLOOD; revision++) {
      rig.source.tell(wordy(revision));
      let said = await good.next();
      if (said.event === 'counts') said = await good.next();
      expect(said).toMatchObject({ data: { revision } });
    }
    await vi.waitFor(() => expect(rig.server.counts()).toMatchObject({ dropped: 1, live: 1 }), { timeout: 20_000 });
    deaf.resume();
    await dropped;
  });

  it('that reads again has the last of each truck, and not all between', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    const deaf = await deafReader(rig.port, cookie);
    for (let revision = 2; revision <= FLOOD; revision++) rig.source.tell(wordy(revision));
    for (let revision = 2; revision <= 100; revision++) rig.source.tell(boardTruck('T-208', revision));
    const seen = await revisionsOf(deaf, `"truck":"T-208","revision":100,`);
    expect(seen.get('T-1042')!.at(-1)).toBe(FLOOD);
    expect(seen.get('T-1042')!.length).toBeLessThan(FLOOD - 1);
    expect(seen.get('T-208')).toEqual([100]);
  });

  it('that missed too many trucks has the whole board anew', async () => {
    const rig = await startRig({ limits: { liveMissed: 10 } });
    const { cookie } = await rig.signIn();
    const deaf = await deafReader(rig.port, cookie);
    for (let revision = 2; revision <= FLOOD; revision++) rig.source.tell(wordy(revision));
    for (let truck = 1; truck <= 20; truck++) rig.source.tell(boardTruck(`B-${truck}`));
    rig.source.trucks = [boardTruck('T-1042', 999)];
    const seen = await revisionsOf(deaf, '"revision":999');
    expect(seen.get('B-20')).toBeUndefined();
    expect(rig.source.snapshots).toBe(2);
  });
});

/** Reads on until the text has come; gives the revisions of each truck in the order in which they came. */
async function revisionsOf(socket: NodeJS.ReadableStream, last: string): Promise<Map<string, number[]>> {
  let text = '';
  socket.setEncoding('utf8');
  for await (const part of socket) {
    text += part;
    if (text.slice(-200_000).includes(last)) break;
  }
  const seen = new Map<string, number[]>();
  for (const [, truck, revision] of text.matchAll(/"truck":"([^"]+)","revision":(\d+)/g)) {
    seen.set(truck!, [...(seen.get(truck!) ?? []), Number(revision)]);
  }
  return seen;
}
