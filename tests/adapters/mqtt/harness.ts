import { afterEach } from 'vitest';
import { hostTimers, type PublisherClock } from '../../../adapters/mqtt/clock.js';
import { type EmbeddedBroker, startEmbeddedBroker } from '../../../adapters/mqtt/embedded-broker.js';
import { type InboxOptions, OfficeInbox } from '../../../adapters/mqtt/office-inbox.js';
import { Publisher } from '../../../adapters/mqtt/publisher.js';
import type { OutboxSource, PublisherOptions, PublisherTimings } from '../../../adapters/mqtt/publisher-options.js';
import type { NumberedEvent, NumberedOpen } from '../../../daemon/alerts/numbered.js';
import { EXAMPLE_ZERO, exampleDraft } from '../../daemon/alerts/drafts.js';

export const FLEET = 'northline';
export const TRUCK = 'T-1042';
export const STORE = 'k3f9q2m1x7ab';
const BY = { config: '0ddba11a', version: '0.0.9' };
const run = { zeroWallMs: EXAMPLE_ZERO, synced: true };

export function numberedEvent(seq: number, store = STORE): NumberedEvent {
  const alertId = `${TRUCK}.${store}.1`;
  return {
    seq,
    store,
    boot: 1,
    stored: !store.startsWith('~'),
    alertId,
    causeId: null,
    draft: exampleDraft(),
    run,
    by: BY,
  };
}

/** An outbox in memory that keeps to the contract of the store. */
export class MemoryOutbox implements OutboxSource {
  opened = { store: STORE, boot: 1, lastSeq: 0 };
  confirmed = 0;
  confirms: number[] = [];
  /** Numbers that were never given: a real store begins anew. */
  tooHigh: number[] = [];
  events: NumberedEvent[] = [];
  failing = false;
  openAsOf = 0;

  append(count: number): void {
    for (let i = 0; i < count; i++) this.events.push(numberedEvent(this.events.length + 1));
    this.openAsOf = this.events.length;
  }

  async outbox(after: number, limit: number): Promise<NumberedEvent[]> {
    if (this.failing) throw new Error('the disk is gone');
    return this.events.filter((event) => event.seq > Math.max(after, this.confirmed)).slice(0, limit);
  }

  async confirm(seq: number): Promise<void> {
    if (this.failing) throw new Error('the disk is gone');
    if (seq > Math.max(this.events.length, this.opened.lastSeq)) {
      this.tooHigh.push(seq);
      return;
    }
    this.confirmed = Math.max(this.confirmed, seq);
    this.confirms.push(seq);
  }

  async open(): Promise<NumberedOpen | null> {
    if (this.failing) throw new Error('the disk is gone');
    const open = { t: 1000, trailer: null, alerts: [], muted: [], notJudged: [] };
    return { store: this.opened.store, asOf: this.openAsOf, alertIds: [], causeIds: [], open, run };
  }
}

const cleanups: (() => Promise<unknown>)[] = [];
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup();
});

/** Ends with the test, in the reverse order of their making. */
export function cleanup(task: () => Promise<unknown>): void {
  cleanups.push(task);
}

/** Waiting times so short that a test need not wait, with the relations of the real ones. */
export const QUICK: PublisherTimings = {
  connectMs: 2000,
  pubackMs: 5000,
  resendMs: 60_000,
  resendMaxMs: 3_600_000,
  retryMs: 20,
  refusedMs: 20,
  subackMs: 2000,
  version5AgainMs: 86_400_000,
  backoff: { minMs: 10, maxMs: 40, stableMs: 60_000 },
};

export const testClock = (): PublisherClock => ({
  ...hostTimers(),
  streamNow: () => 3_791_000,
  wallNow: () => EXAMPLE_ZERO + 3_791_000,
});

export function makePublisher(
  source: OutboxSource,
  url: string,
  options: Partial<Omit<PublisherOptions, 'timings'>> & { timings?: Partial<PublisherTimings> } = {},
): Publisher {
  const publisher = new Publisher({
    source,
    url,
    confirm: 'broker',
    fleet: FLEET,
    truck: TRUCK,
    version: '0.1.0',
    config: () => '9c1e44d0',
    presence: { state: 'awake', bus: { main: 'listen-only' }, degraded: [], since: '2026-03-02T13:00:00.000Z' },
    clock: testClock(),
    ...options,
    timings: { ...QUICK, ...options.timings },
  });
  cleanup(() => publisher.stop(0));
  return publisher;
}

export async function makeBroker(port = 0): Promise<EmbeddedBroker> {
  const broker = await startEmbeddedBroker({ port });
  let closed = false;
  const close = broker.close;
  broker.close = async () => {
    if (!closed) await close();
    closed = true;
  };
  cleanup(() => broker.close());
  return broker;
}

export async function makeInbox(options: InboxOptions): Promise<OfficeInbox> {
  const inbox = await OfficeInbox.connect({ ...options, client: { reconnectPeriod: 10 } });
  cleanup(() => inbox.close());
  return inbox;
}

/** What trucks have published to this broker, in order. */
export function published(broker: EmbeddedBroker): { name: string; json: Record<string, unknown>; retain: boolean }[] {
  const list: { name: string; json: Record<string, unknown>; retain: boolean }[] = [];
  broker.aedes.on('publish', (packet, client) => {
    if (client === null || packet.topic.startsWith('$SYS')) return;
    const name = packet.topic.split('/').at(-1) ?? '';
    list.push({ name, json: JSON.parse(packet.payload.toString()), retain: packet.retain });
  });
  return list;
}

/** Resolves when the condition holds; looks again after every turn of the event loop. The test's own timeout bounds it. */
export async function until(condition: () => boolean): Promise<void> {
  while (!condition()) await new Promise((resolve) => setTimeout(resolve, 1));
}

export const upTo = (count: number): number[] => Array.from({ length: count }, (_, index) => index + 1);
