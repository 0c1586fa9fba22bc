import { afterEach, describe, expect, it } from 'vitest';
import type { Notice } from '../../../office/core/model.js';
import type { Channel, Outcome } from '../../../office/send/channel.js';
import { againAtMs } from '../../../office/send/retry.js';
import { Sender } from '../../../office/send/sender.js';
import { notice, officeAlert, T0 } from '../store/messages.js';
import { FakeClock, settled } from './support/fake-clock.js';
import { MemoryQueue } from './support/queue.js';

const MINUTE_MS = 60_000;
const HOUR_MS = 60 * MINUTE_MS;
const DAY_MS = 24 * HOUR_MS;
const AGAIN: Outcome = { kind: 'again', why: 'HTTP 503' };
const SENT: Outcome = { kind: 'sent' };

/** Answers as it is told, and remembers what it was asked and when. */
class FakeChannel implements Channel {
  readonly name: string;
  readonly clock: FakeClock;
  readonly seen: { ms: number; notice: Notice }[] = [];
  inHand = 0;
  mostInHand = 0;
  answer: (notice: Notice) => Outcome | Promise<Outcome> = () => SENT;

  constructor(name: string, clock: FakeClock) {
    this.name = name;
    this.clock = clock;
  }

  async send({ notice }: { notice: Notice }, signal: AbortSignal): Promise<Outcome> {
    this.seen.push({ ms: this.clock.ms, notice });
    this.mostInHand = Math.max(this.mostInHand, ++this.inHand);
    const stopped = new Promise<Outcome>((resolve) => {
      signal.addEventListener('abort', () => resolve({ kind: 'again', why: 'stopped' }), { once: true });
    });
    const outcome = await Promise.race([this.answer(notice), stopped]);
    this.inHand--;
    return outcome;
  }

  get told(): string[] {
    return this.seen.map(({ notice: { why, alert } }) => `${why} ${alert.id}`);
  }
}

const running: Sender[] = [];
afterEach(async () => {
  for (const sender of running.splice(0)) await sender.stop();
});

function setUp(names = ['desk']) {
  const clock = new FakeClock(T0);
  const queue = new MemoryQueue();
  const lines: string[] = [];
  const channels = names.map((name) => new FakeChannel(name, clock));
  const start = () => {
    const log = { warn: (line: string) => void lines.push(line) };
    const sender = new Sender({ store: queue, channels, log, clock, random: () => 0.5 });
    running.push(sender);
    return sender;
  };
  return { clock, queue, lines, channels, desk: channels[0]!, start };
}

const about = (id: string, more: Partial<Notice> = {}, ms = T0): Notice =>
  notice(ms, { alert: officeAlert({ id }), ...more });

describe('retries', () => {
  it('wait 10 to 20 s at first and an hour at most, drawn from the upper half', () => {
    const wait = (attempts: number, random: number) => againAtMs({ attempts, bornMs: T0 }, T0, () => random)! - T0;
    expect([0, 1, 2, 3].map((n) => wait(n, 0))).toEqual([10_000, 20_000, 40_000, 80_000]);
    expect([0, 1, 2, 3].map((n) => wait(n, 1))).toEqual([20_000, 40_000, 80_000, 160_000]);
    for (const attempts of [8, 40, 1e6]) {
      expect([wait(attempts, 0), wait(attempts, 1)]).toEqual([HOUR_MS / 2, HOUR_MS]);
    }
  });

  it('wait as long as the other side asks', () => {
    expect(againAtMs({ attempts: 0, bornMs: T0, notBeforeMs: 90_000 }, T0, () => 0)).toBe(T0 + 90_000);
  });

  it('end with one a day after the first', () => {
    const again = (nowMs: number) => againAtMs({ attempts: 30, bornMs: T0 }, nowMs, () => 1);
    expect(again(T0 + DAY_MS - 1)).toBe(T0 + DAY_MS);
    expect(again(T0 + DAY_MS)).toBeNull();
  });
});

describe('the sender', () => {
  it('sends what is due, and what comes later', async () => {
    const { clock, queue, desk, start } = setUp();
    queue.put(about('a'));
    const { counts } = start();
    await clock.pass(0);
    queue.put(about('b'));
    await clock.pass(1000);
    expect(desk.told).toEqual(['raised a', 'raised b']);
    await clock.pass(HOUR_MS);
    expect(desk.seen).toHaveLength(2);
    expect(counts).toEqual({ desk: { sent: 2, failed: 0, givenUp: 0 } });
  });

  it('tries for a day, ever less often, then gives up and says so', async () => {
    const { clock, queue, desk, lines, start } = setUp();
    queue.put(about('a'));
    desk.answer = () => AGAIN;
    const { counts } = start();
    await clock.passUntil(() => queue.rows[0]!.state === 'given-up');
    expect(clock.ms - T0).toBeGreaterThanOrEqual(DAY_MS);
    expect(clock.ms - T0).toBeLessThan(DAY_MS + 2000);
    const waits = desk.seen.slice(1).map(({ ms }, i) => ms - desk.seen[i]!.ms);
    expect(Math.min(...waits)).toBeGreaterThanOrEqual(10_000);
    expect(Math.max(...waits)).toBeLessThanOrEqual(HOUR_MS + 1000);
    expect(counts).toEqual({ desk: { sent: 0, failed: desk.seen.length - 1, givenUp: 1 } });
    expect(lines).toEqual([
      'desk: not sent yet, HTTP 503: raised tire-losing-air of northline/T-1042, alert a',
      'desk: given up, HTTP 503: raised tire-losing-air of northline/T-1042, alert a',
    ]);
  });

  it('gives up at once what will never be taken', async () => {
    const { clock, queue, desk, start } = setUp();
    queue.put(about('a'));
    desk.answer = () => ({ kind: 'never', why: 'HTTP 410' });
    const { counts } = start();
    await clock.pass(2 * HOUR_MS);
    expect(desk.seen).toHaveLength(1);
    expect(queue.rows[0]).toMatchObject({ state: 'given-up', why: 'HTTP 410' });
    expect(counts).toEqual({ desk: { sent: 0, failed: 0, givenUp: 1 } });
  });

  it('never tells an end before its beginning', async () => {
    const { clock, queue, desk, start } = setUp();
    queue.put(about('a'), about('a', { why: 'untaken' }), about('a', { why: 'ended' }), about('b', { why: 'ended' }));
    let failures = 5;
    desk.answer = ({ why }) => (why === 'raised' && failures-- > 0 ? AGAIN : SENT);
    start();
    await clock.pass(HOUR_MS);
    expect(desk.told.filter((line) => line.endsWith('a')).slice(5)).toEqual(['raised a', 'untaken a', 'ended a']);
    // Another alert does not wait.
    expect(desk.told[1]).toBe('ended b');
  });

  it('gives up for a channel that the office file has no more', async () => {
    const { clock, queue, lines, start } = setUp();
    queue.put(about('a', { channel: 'gone' }));
    start();
    await clock.pass(1000);
    expect(queue.rows[0]).toMatchObject({ state: 'given-up', why: 'the office file has no such channel' });
    expect(lines).toEqual([
      'gone: given up, as the office file has no such channel: raised tire-losing-air of northline/T-1042, alert a',
    ]);
  });
});

describe('a slow channel', () => {
  it('holds up no other, and gets no more than a few at once', async () => {
    const { clock, queue, channels, start } = setUp(['slow', 'fast']);
    const [slow, fast] = channels as [FakeChannel, FakeChannel];
    slow.answer = () => new Promise(() => {});
    for (let n = 0; n < 100; n++) queue.put(about(`s${n}`, { channel: 'slow' }));
    for (let n = 0; n < 100; n++) queue.put(about(`f${n}`, { channel: 'fast' }));
    start();
    await clock.pass(5000);
    expect(fast.seen).toHaveLength(100);
    expect([slow.mostInHand, slow.seen.length]).toEqual([4, 4]);
    // What it has in hand does not grow with what waits for it.
    expect(queue.rows.filter(({ attempts, notice }) => attempts > 0 && notice.channel === 'slow').length).toBeLessThan(
      12,
    );
  });

  it('goes on as soon as one is done', async () => {
    const { clock, queue, desk, start } = setUp();
    const open: (() => void)[] = [];
    desk.answer = () => new Promise((resolve) => open.push(() => resolve(SENT)));
    for (let n = 0; n < 30; n++) queue.put(about(`${n}`));
    start();
    await clock.pass(0);
    while (open.length > 0) {
      open.shift()!();
      await clock.pass(0);
    }
    expect(desk.seen).toHaveLength(30);
    expect(new Set(desk.told).size).toBe(30);
  });
});

describe('a store that is away', () => {
  it('is asked again, and said once', async () => {
    const { clock, queue, desk, lines, start } = setUp();
    queue.put(about('a'));
    queue.isAway = true;
    start();
    await clock.pass(MINUTE_MS);
    expect(desk.seen).toEqual([]);
    queue.isAway = false;
    await clock.pass(4000);
    expect(desk.told).toEqual(['raised a']);
    expect(lines).toEqual(['nothing is sent while the store cannot be used: the disk is full']);
  });

  it('hears later of what was sent meanwhile: it is not sent twice', async () => {
    const { clock, queue, desk, start } = setUp();
    queue.put(about('a'));
    desk.answer = () => {
      queue.isAway = true;
      return SENT;
    };
    start();
    await clock.pass(30_000);
    queue.isAway = false;
    await clock.pass(2 * HOUR_MS);
    expect(desk.seen).toHaveLength(1);
    expect(queue.rows[0]!.state).toBe('sent');
  });
});

describe('stop', () => {
  it('waits for what is nearly done, and lets go of the rest, which is due again at once', async () => {
    const { clock, queue, desk, start } = setUp();
    const done = new Map<string, (outcome: Outcome) => void>();
    desk.answer = ({ alert }) => new Promise((resolve) => done.set(alert.id, resolve));
    for (const id of 'abcdef') queue.put(about(id));
    const sender = start();
    await clock.pass(0);
    expect([...done.keys()].join('')).toBe('abcd');
    const stopped = sender.stop();
    done.get('a')!(SENT);
    await settled();
    expect(queue.rows[0]!.state).toBe('sent');
    await stopped;
    expect(queue.rows.slice(1).map(({ state, dueMs }) => [state, dueMs])).toEqual(
      Array.from({ length: 5 }, () => ['waiting', clock.ms]),
    );
    // Another one takes them up.
    desk.answer = () => SENT;
    start();
    await clock.pass(1000);
    expect(queue.rows.every(({ state }) => state === 'sent')).toBe(true);
  });

  it('ends though the store does not answer', async () => {
    const { clock, queue, desk, start } = setUp();
    desk.answer = () => new Promise(() => {});
    queue.put(about('a'));
    const sender = start();
    await clock.pass(0);
    queue.noticeFailed = () => new Promise(() => {});
    await sender.stop();
    expect(queue.rows[0]!.state).toBe('waiting');
  });

  it('after a crash what was in hand is due when its lease ends', async () => {
    const { clock, queue, desk, start } = setUp();
    queue.put(about('a'));
    const leases: number[] = [];
    const { dueNotices } = queue;
    queue.dueNotices = (nowMs, leaseMs, ...more) => {
      leases.push(leaseMs);
      return dueNotices.call(queue, nowMs, leaseMs, ...more);
    };
    desk.answer = () => new Promise(() => {});
    const crashed = start();
    await clock.pass(0);
    queue.noticeFailed = async () => {};
    await crashed.stop();
    desk.answer = () => SENT;
    start();
    await clock.pass(leases[0]! - 1);
    expect(desk.seen).toHaveLength(1);
    await clock.pass(1000);
    expect(desk.told).toEqual(['raised a', 'raised a']);
    expect(queue.rows[0]!.state).toBe('sent');
  });
});
