import { describe, expect, it } from 'vitest';
import { encodeTrip } from '../../../adapters/mqtt/encode-trip.js';
import { MAX_TRIP_BYTES, type ReceivedTrip, tripSchema } from '../../../adapters/mqtt/trip-messages.js';
import { openStore } from '../../../adapters/store/store.js';
import { MAX_TRIPS } from '../../../adapters/store/writer.js';
import type { NumberedTrip } from '../../../daemon/alerts/numbered.js';
import { tripMessage } from '../../../daemon/alerts/trip-rendering.js';
import { BY, commit, draft, openDraft, optionsIn, tempDir, trip, ZERO_MS } from '../store/helpers.js';
import {
  cleanup,
  MemoryOutbox,
  makeBroker,
  makeInbox,
  makePublisher,
  published,
  TRUCK,
  until,
  upTo,
} from './harness.js';

const RUN = { zeroWallMs: ZERO_MS, synced: true };

function waiting(number: number, more: Partial<NumberedTrip> = {}): NumberedTrip {
  return { store: 'k3f9q2m1x7ab', boot: 1, record: trip(number), run: RUN, by: BY, ...more };
}

/** An outbox in memory with trips in it. */
class TripOutbox extends MemoryOutbox {
  waiting: NumberedTrip[] = [];
  told: number[] = [];

  async trips(limit: number): Promise<NumberedTrip[]> {
    if (this.failing) throw new Error('the disk is gone');
    return this.waiting.slice(0, limit);
  }

  async confirmTrip({ boot, trip: number }: { boot: number; trip: number }): Promise<void> {
    if (this.failing) throw new Error('the disk is gone');
    this.waiting = this.waiting.filter((each) => each.boot !== boot || each.record.trip !== number);
    this.told.push(number);
  }
}

describe('trips', () => {
  it('go out oldest first, not retained, after the board, and leave at their PUBACK', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    outbox.append(20);
    outbox.waiting = upTo(5).map((n) => waiting(n));
    const sent = published(broker);
    const publisher = makePublisher(outbox, broker.url, { confirm: 'office' });
    publisher.start();
    await until(() => outbox.waiting.length === 0 && sent.filter((m) => m.name === 'event').length === 20);
    const trips = sent.filter((message) => message.name === 'trip');
    expect(trips.map((message) => message.json.trip)).toEqual(upTo(5));
    expect(trips.some((message) => message.retain)).toBe(false);
    const names = sent.map((message) => message.name);
    expect(names.indexOf('trip')).toBeGreaterThan(names.indexOf('open'));
    expect(publisher.health().tripsSent).toBe(5);
    // Events wait for the office's number; trips have none.
    expect(outbox.confirmed).toBe(0);
  });

  it('one that ends while connected follows a poke', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    const publisher = makePublisher(outbox, broker.url);
    publisher.start();
    await until(() => publisher.health().messagesAcknowledged >= 2);
    outbox.waiting.push(waiting(8));
    publisher.poke();
    await until(() => outbox.told.length === 1);
    expect(await publisher.stop(2000)).toBe(true);
  });

  it('not acknowledged, it is sent again on the next connection', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    outbox.waiting = [waiting(1), waiting(2)];
    const sent = published(broker);
    let cut = 0;
    broker.aedes.authorizePublish = (client, packet, callback) => {
      if (packet.topic.endsWith('/trip') && cut++ === 0) client?.close();
      else callback(null);
    };
    const publisher = makePublisher(outbox, broker.url);
    publisher.start();
    await until(() => outbox.waiting.length === 0);
    expect(outbox.told).toEqual([1, 2]);
    expect(sent.filter((m) => m.name === 'trip').map((m) => m.json.trip)).toEqual([1, 2]);
    expect(publisher.health()).toMatchObject({ connects: 2, tripsSent: 3 });
  });

  it('while the store does not answer, events and trips wait; nothing is lost', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    outbox.waiting = [waiting(1)];
    outbox.failing = true;
    const publisher = makePublisher(outbox, broker.url);
    publisher.start();
    await until(() => publisher.health().storeErrors >= 2);
    outbox.failing = false;
    await until(() => outbox.told.length === 1);
  });

  it('a replay tells them under its own root and says so', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    outbox.waiting = [waiting(1)];
    const topics: string[] = [];
    broker.aedes.on('publish', (packet) => topics.push(packet.topic));
    const sent = published(broker);
    makePublisher(outbox, broker.url, { replay: true }).start();
    await until(() => outbox.told.length === 1);
    expect(topics).toContain(`axlepost-replay/1/northline/${TRUCK}/trip`);
    expect(sent.find((m) => m.name === 'trip')?.json.replay).toBe(true);
  });

  // The store's worker is loaded from dist/: "npm test" builds it first.
  it('from SQLite to the office and over a restart: each once, with what decided it and its wall times', async () => {
    const broker = await makeBroker();
    const options = optionsIn(tempDir(), { truck: TRUCK });
    const trips: ReceivedTrip[] = [];
    const inbox = await makeInbox({ url: broker.url, onTrip: (each) => trips.push(each) });
    const first = await openStore(options);
    await first.commit(commit({ trip: trip(1), events: [draft(1, 'raised')], open: openDraft([]) }));
    await first.commit(commit({ trip: trip(2, { provisional: true }) }));
    await first.close();

    const second = await openStore({ ...options, run: { zeroWallMs: ZERO_MS + 36_000_000, synced: true } });
    cleanup(() => second.close());
    const by = { config: '00c0ffee', version: '0.2.0' };
    const late = trip(2, { startAt: -7_200_000, endAt: -3_600_000, distanceKm: null });
    await second.commit(commit({ trip: late, by }));
    const publisher = makePublisher(second, broker.url, { config: () => 'deadbeef' });
    publisher.start();
    await until(() => trips.length === 2);
    await publisher.stop(2000);
    expect(inbox.counts).toMatchObject({ invalid: 0, foreign: 0 });
    expect(trips).toMatchObject([
      { trip: 1, boot: 1, ...BY, start: '2026-03-02T08:00:00.000Z', end: '2026-03-02T09:00:00.000Z', synced: true },
      { trip: 2, boot: 2, ...by, start: '2026-03-02T16:00:00.000Z', end: '2026-03-02T17:00:00.000Z', distanceKm: null },
    ]);
    expect(await second.stats()).toMatchObject({ trips: 0 });
  });
});

describe('a trip as JSON', () => {
  const mark = (n: number) => ({
    subject: `tractor/${n}/left/outer`,
    what: 'sensor-bad' as const,
    who: 'n\u0007ight\u202e shift'.repeat(9),
    untilMs: ZERO_MS,
  });

  it('is what the schema reads, cleaned, in 4 KB, and says how many sensors were left out', () => {
    const record = trip(1, { notJudged: upTo(200).map(mark) });
    const { json, trimmed } = encodeTrip(tripMessage(waiting(1, { record }), { config: 'c' }));
    expect(Buffer.byteLength(json)).toBeLessThanOrEqual(MAX_TRIP_BYTES);
    const message = tripSchema.strict().parse(JSON.parse(json));
    expect(trimmed).toBe(true);
    expect(message.notJudged.length + message.more!).toBe(200);
    expect(message.notJudged.length).toBeGreaterThan(10);
  });

  it('of a bench number of sensors nothing is left out; keys stand in the order of the schema', () => {
    const record = trip(1, { notJudged: upTo(3).map(mark) });
    const { json, trimmed } = encodeTrip(tripMessage(waiting(1, { record }), { config: 'c', replay: true }));
    expect(trimmed).toBe(false);
    expect(JSON.stringify(tripSchema.parse(JSON.parse(json)))).toBe(json);
  });

  it('whose version is not known says none', () => {
    const message = tripMessage(waiting(1, { by: null }), { config: '9c1e44d0' });
    expect(message).toMatchObject({ config: '9c1e44d0' });
    expect(message).not.toHaveProperty('version');
  });

  it('waits with at most a thousand others', () => expect(MAX_TRIPS).toBe(1000));
});
