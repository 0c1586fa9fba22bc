import { describe, expect, test, vi } from 'vitest';
import type { Publisher } from '../../adapters/mqtt/publisher.js';
import { DEFAULT_TIMINGS } from '../../adapters/mqtt/publisher-options.js';
import { FLEET, MemoryOutbox, makePublisher, STORE, TRUCK, testClock, upTo } from '../adapters/mqtt/harness.js';
import { startAedes, startBroker5, type TestBroker } from './broker/brokers.js';
import { BrokerProxy, FAULTS, type Fault } from './broker/proxy.js';
import { SimulatedTime } from './broker/simulated-time.js';
import { FaultRow, type Round } from './support/row.js';

const MINUTE_MS = 60_000;
/** The longest wait between attempts, and some seconds to connect and send. */
const DELIVERED_MS = DEFAULT_TIMINGS.backoff.maxMs + 10_000;
/** A connection on which nothing moves is given up. */
const STUCK_MS = MINUTE_MS;
const MOST_CONNECTS = 30;
/** Faults that cost nothing at all. */
const HARMLESS: readonly Fault[] = ['double PUBACK', 'unknown PUBACK'];
const TOPICS = ['event', 'open', 'presence', 'reading', 'answer'];
const topic = (name: string): string => `axlepost/1/${FLEET}/${TRUCK}/${name}`;

/** A truck, a broker that behaves, an office beside it, and a proxy between them that does not. */
class Scene {
  readonly time: SimulatedTime;
  readonly outbox = new MemoryOutbox();
  readonly office: 'office' | 'broker';
  /** Numbers of events in the order in which they came first. */
  readonly firstSeen: number[] = [];
  readonly #seen = new Set<number>();
  openAsOf = 0;
  #received = 0;
  #answeredAt = 0;
  #rev = 0;
  broker!: TestBroker;
  proxy!: BrokerProxy;
  publisher!: Publisher;
  #acknowledged = 0;
  #movedAt = 0;
  /** When each event was written. */
  readonly writtenAt: number[] = [];

  constructor(confirm: 'office' | 'broker') {
    this.office = confirm;
    this.time = new SimulatedTime(() => this.proxy.activity);
  }

  async start(version: 4 | 5): Promise<void> {
    const onPublish = (at: string, payload: string): void => this.#published(at, payload);
    this.broker = await (version === 5 ? startBroker5(onPublish) : startAedes(onPublish));
    this.proxy = await BrokerProxy.start(this.broker.port, () => this.time.nowMs);
    this.publisher = makePublisher(this.outbox, this.proxy.url, {
      confirm: this.office,
      timings: DEFAULT_TIMINGS,
      clock: { ...testClock(), nowMs: () => this.time.nowMs },
    });
    this.publisher.start();
  }

  #published(at: string, payload: string): void {
    const message = JSON.parse(payload) as { seq: number; asOf: number };
    if (at === topic('open')) this.openAsOf = message.asOf;
    if (at !== topic('event') || this.#seen.has(message.seq)) return;
    this.#seen.add(message.seq);
    this.firstSeen.push(message.seq);
    while (this.#seen.has(this.#received + 1)) this.#received += 1;
  }

  /** The office says every ten seconds what it has (design.md: at most). */
  #answer(): void {
    if (this.office !== 'office' || this.time.nowMs - this.#answeredAt < 10_000) return;
    this.#answeredAt = this.time.nowMs;
    const received = this.#received === 0 ? null : { store: STORE, seq: this.#received };
    this.broker.retain(
      topic('answer'),
      JSON.stringify({ v: 1, rev: ++this.#rev, received, trailer: null, decisions: [] }),
    );
  }

  write(count: number): void {
    this.outbox.append(count);
    for (let k = 0; k < count; k++) this.writtenAt.push(this.time.nowMs);
    this.publisher.poke();
    this.publisher.openChanged();
  }

  /** How long the oldest event that has not arrived has waited. */
  get oldestWaitMs(): number {
    const next = this.writtenAt[this.#received];
    return next === undefined ? 0 : this.time.nowMs - next;
  }

  /** Once a step: the office lives on, and nothing is stuck. */
  watch(): void {
    this.#answer();
    const { state, inFlight, messagesAcknowledged } = this.publisher.health();
    const moved = messagesAcknowledged !== this.#acknowledged || state !== 'connected' || inFlight === 0;
    if (moved) {
      this.#movedAt = this.time.nowMs;
      this.#acknowledged = messagesAcknowledged;
    }
    if (this.time.nowMs - this.#movedAt > STUCK_MS) throw new Error(`nothing moves for ${STUCK_MS / 1000} s`);
  }

  get mostConnectsInTenMinutes(): number {
    const { connectedAt } = this.proxy;
    return Math.max(
      0,
      ...connectedAt.map((at) => connectedAt.filter((other) => other >= at && other < at + 10 * MINUTE_MS).length),
    );
  }

  async end(): Promise<void> {
    let stopped = false;
    void this.publisher.stop(0).then(() => {
      stopped = true;
    });
    while (!stopped) await this.time.pass(100);
    await this.proxy.close();
    await this.broker.close();
    this.time.end();
  }
}

/** Healthy, then in trouble for a while, then healthy again. */
async function round({ index, random, below }: Round): Promise<void> {
  const fault = FAULTS[index % FAULTS.length]!;
  const refused = TOPICS[Math.floor(index / FAULTS.length) % TOPICS.length]!;
  const scene = new Scene(random() < 0.5 ? 'office' : 'broker');
  const { time, publisher, proxy } = await start(scene, random() < 0.5 ? 5 : 4);
  let nextAt = 0;
  let checked = (): void => {};
  const each = (): void => {
    if (time.nowMs >= nextAt) {
      scene.write(1 + below(3));
      publisher.reading({ t: 1000, r: {} }, { zeroWallMs: 0, synced: false });
      nextAt = time.nowMs + 500 + below(20_000);
    }
    scene.watch();
    checked();
  };
  try {
    scene.write(below(200));
    await time.pass(20_000 + below(60_000), each);
    expect(scene.oldestWaitMs).toBeLessThan(1_000);
    const before = proxy.connectedAt.length;

    proxy.trouble = { fault, topic: refused, random };
    const from = time.nowMs;
    if (fault === 'refuses a topic') {
      checked = () => {
        const old = time.nowMs - from > 2 * MINUTE_MS;
        if (old && refused !== 'event') expect(scene.oldestWaitMs).toBeLessThan(DELIVERED_MS);
      };
    }
    await time.pass(2 * MINUTE_MS + below(10 * MINUTE_MS), each);
    if (HARMLESS.includes(fault)) expect(proxy.connectedAt.length).toBe(before);
    expect(proxy.open).toBeLessThanOrEqual(1);
    expect(scene.mostConnectsInTenMinutes).toBeLessThanOrEqual(MOST_CONNECTS);

    proxy.trouble = null;
    checked = () => {};
    nextAt = Number.POSITIVE_INFINITY;
    // What the trouble left behind is noticed first.
    await time.pass(STUCK_MS + DELIVERED_MS, each);
    const { lastSeq, all } = { lastSeq: scene.outbox.events.length, all: upTo(scene.outbox.events.length) };
    expect(scene.firstSeen).toEqual(all);
    expect(scene.openAsOf).toBe(lastSeq);
    expect(publisher.health().state).toBe('connected');
    await time.pass(15_000, each);
    expect(scene.outbox.confirmed).toBe(lastSeq);
    expect(publisher.health()).toMatchObject({ inFlight: 0, storeErrors: 0, answersDropped: 0 });
    expect(scene.mostConnectsInTenMinutes).toBeLessThanOrEqual(MOST_CONNECTS);
  } catch (error) {
    const { state, connects, failures, lastError, inFlight } = publisher.health();
    console.log({ fault, refused, version: scene.broker.version, confirm: scene.office, at: time.nowMs });
    console.log({ state, connects, failures, lastError, inFlight, wait: scene.oldestWaitMs });
    throw error;
  } finally {
    await scene.end();
  }
}

async function start(scene: Scene, version: 4 | 5): Promise<Scene> {
  await scene.start(version);
  await scene.time.settled();
  return scene;
}

describe('a broker that misbehaves', () => {
  const row = new FaultRow('broker-misbehaves', { short: 5 * FAULTS.length, full: 200 * FAULTS.length });

  test('events raised after the unanswered ping of a half-open connection: it is given up, the program goes on', async () => {
    const scene = await start(new Scene('broker'), 4);
    scene.write(1);
    await scene.time.pass(1_000);
    scene.proxy.trouble = { fault: 'half-open', topic: '', random: () => 0 };
    await scene.time.pass(35_000);
    scene.write(5);
    // Keep-alive: 30 s, and half of it again.
    await scene.time.pass(12_000);
    expect(scene.publisher.health()).toMatchObject({ connects: 1, failures: 1 });
    scene.proxy.trouble = null;
    await scene.time.pass(25_000);
    expect(scene.firstSeen).toEqual(upTo(6));
    await scene.end();
  });

  test('nothing is stuck over 60 s, at most 30 connects in 10 min, all arrives in order', {
    timeout: row.timeoutMs,
  }, async () => {
    vi.useRealTimers();
    await row.each(round);
  });
});
