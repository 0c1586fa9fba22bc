import { describe, expect, it } from 'vitest';
import { encodeStartCheck, encodeTrip } from '../../../adapters/mqtt/encode-trip.js';
import {
  MAX_TRIP_BYTES,
  type ReceivedCheck,
  type ReceivedTrip,
  startCheckSchema,
  tripSchema,
  tripTopicSchema,
} from '../../../adapters/mqtt/trip-messages.js';
import { openStore } from '../../../adapters/store/store.js';
import { MAX_TRIPS } from '../../../adapters/store/writer.js';
import type { NumberedCheck, NumberedTrip } from '../../../daemon/alerts/numbered.js';
import { startCheckMessage, tripMessage } from '../../../daemon/alerts/trip-rendering.js';
import type { RecordOf } from '../../../daemon/truck/records.js';
import { BY, commit, draft, openDraft, optionsIn, startCheck, tempDir, trip, ZERO_MS } from '../store/helpers.js';
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

const checking = (number: number): NumberedCheck => {
  return { store: 'k3f9q2m1x7ab', boot: 1, record: startCheck(number), run: RUN, by: BY };
};

/** An outbox in memory with trips and start checks in it. */
class TripOutbox extends MemoryOutbox {
  checking: NumberedCheck[] = [];

  async checks(limit: number): Promise<NumberedCheck[]> {
    if (this.failing) throw new Error('the disk is gone');
    return this.checking.slice(0, limit);
  }

  async confirmCheck({ trip: number }: { boot: number; trip: number }): Promise<void> {
    this.checking = this.checking.filter((each) => each.record.values.trip !== number);
  }

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

  it('start checks go out before trips, on the same topic, and leave at their PUBACK', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    outbox.waiting = [waiting(1), waiting(2)];
    outbox.checking = [checking(2), checking(3)];
    const sent = published(broker);
    const publisher = makePublisher(outbox, broker.url);
    publisher.start();
    await until(() => outbox.told.length === 2 && outbox.checking.length === 0);
    const trips = sent.filter((m) => m.name === 'trip');
    expect(trips.map(({ json, retain }) => [json.kind, json.trip, retain])).toEqual([
      ['start-check', 2, false],
      ['start-check', 3, false],
      ['summary', 1, false],
      ['summary', 2, false],
    ]);
    expect(publisher.health().tripsSent).toBe(4);
  });

  it('a start check that was not acknowledged is sent again on the next connection', async () => {
    const broker = await makeBroker();
    const outbox = new TripOutbox();
    outbox.checking = [checking(1)];
    let cut = 0;
    broker.aedes.authorizePublish = (client, packet, callback) => {
      if (packet.topic.endsWith('/trip') && cut++ === 0) client?.close();
      else callback(null);
    };
    const publisher = makePublisher(outbox, broker.url);
    publisher.start();
    await until(() => outbox.checking.length === 0);
    expect([cut, publisher.health().connects]).toEqual([2, 2]);
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
    const checks: ReceivedCheck[] = [];
    const inbox = await makeInbox({
      url: broker.url,
      onTrip: (each) => trips.push(each),
      onStartCheck: (each) => checks.push(each),
    });
    const first = await openStore(options);
    await first.commit(commit({ records: [startCheck(1)] }));
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
    await until(() => trips.length === 2 && checks.length === 1);
    await publisher.stop(2000);
    expect(inbox.counts).toMatchObject({ invalid: 0, foreign: 0 });
    expect(checks).toMatchObject([
      { trip: 1, boot: 1, ...BY, start: '2026-03-02T08:00:00.000Z', at: '2026-03-02T08:01:00.000Z', why: 'complete' },
    ]);
    expect(checks[0]!.tires).toEqual({ 'tractor/1/left/single': [812, 827.4, 827.4, 1, 6, true] });
    expect(trips).toMatchObject([
      { trip: 1, boot: 1, ...BY, start: '2026-03-02T08:00:00.000Z', end: '2026-03-02T09:00:00.000Z', synced: true },
      { trip: 2, boot: 2, ...by, start: '2026-03-02T16:00:00.000Z', end: '2026-03-02T17:00:00.000Z', distanceKm: null },
    ]);
    expect(await second.stats()).toMatchObject({ trips: 0 });
  });
});

describe('a start check as JSON', () => {
  /** So many axles with dual tires. */
  function combination(axles: number): RecordOf<'start-check'> {
    const check = startCheck(1);
    const sides = upTo(axles).flatMap((n) => [`tractor/${n}/left`, `tractor/${n}/right`]);
    const tires = sides.flatMap((side) => [`${side}/outer`, `${side}/inner`]);
    const tire = { kpa: 1012, coldKpa: 1027.4, targetKpa: 1027.4, share: 0.987, ageS: 116, sure: true };
    const brake = { applied: 2, released: 0, strokeMm: 51.2, restMm: 12.7 };
    const wheels = Object.fromEntries(sides.map((side) => [side, brake]));
    const values = { ...check.values, tires: Object.fromEntries(tires.map((x) => [x, tire])) };
    return { ...check, values: { ...values, brakes: { applications: 3, wheels } } };
  }
  const encoded = (record: RecordOf<'start-check'>) =>
    encodeStartCheck(startCheckMessage({ ...checking(1), record }, { config: 'c' }));

  it('of nine axles is whole in 4 KB, keys in the order of the schema', () => {
    const { json, trimmed } = encoded(combination(9));
    expect([trimmed, Buffer.byteLength(json) <= MAX_TRIP_BYTES]).toEqual([false, true]);
    const read = startCheckSchema.strict().parse(JSON.parse(json));
    expect(JSON.stringify(read)).toBe(json);
    expect([Object.keys(read.tires).length, Object.keys(read.brakes.wheels).length]).toEqual([36, 18]);
    expect(read.brakes.wheels['tractor/9/right']).toEqual([2, 0, 51.2, 12.7]);
  });

  it.each([14, 20, 60])('of %d axles it says how many were left out, brakes first', (axles) => {
    const { json, trimmed } = encoded(combination(axles));
    expect(Buffer.byteLength(json)).toBeLessThanOrEqual(MAX_TRIP_BYTES);
    const read = startCheckSchema.strict().parse(JSON.parse(json));
    const [tires, wheels] = [Object.keys(read.tires).length, Object.keys(read.brakes.wheels).length];
    expect([trimmed, tires + wheels + read.more!]).toEqual([true, 6 * axles]);
    if (tires < 4 * axles) expect(wheels).toBe(0);
  });

  it('is read as what it is, and a summary without a kind as a summary', () => {
    const check = JSON.parse(encoded(combination(2)).json) as unknown;
    expect(tripTopicSchema.parse(check).kind).toBe('start-check');
    const { kind: _, ...earlier } = tripMessage(waiting(1), { config: 'c' });
    expect(tripTopicSchema.parse(earlier).kind).toBeUndefined();
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

  it('keeps its size with silent sensors as well: those of the marks first', () => {
    const summary = {
      durationS: 40_000,
      movingS: 39_000,
      engineS: 39_500,
      distanceFrom: 'odometer' as const,
      applications: { count: 1000, qualifying: 900, hardestKpa: 812.5 },
      hottestTire: { subject: 'tractor/3/right/inner', celsius: 101.5 },
      lowestAir: { primaryKpa: 412, secondaryKpa: 444 },
      compressor: { share: 0.123, from: 'signal' as const },
      raised: { plan: 12, 'next-stop': 3, 'pull-over': 1 },
      silent: upTo(90).map((n) => ({ subject: `trailer-2/${n}/right/outer`, seconds: 36_000 - n })),
    };
    const notJudged = upTo(5).map(mark);
    const whole = tripMessage(waiting(1, { record: trip(1, { summary, notJudged }) }), { config: 'c' });
    const { json, trimmed } = encodeTrip(whole);
    expect([Buffer.byteLength(json) <= MAX_TRIP_BYTES, trimmed]).toEqual([true, true]);
    const message = tripSchema.strict().parse(JSON.parse(json));
    expect([message.notJudged.length, message.silent!.length + message.more!]).toEqual([5, 90]);
    // Nine axles with four wheels each are told whole.
    const nine = { ...summary, silent: summary.silent.slice(0, 36) };
    const told = encodeTrip(tripMessage(waiting(1, { record: trip(1, { summary: nine }) }), { config: 'c' }));
    expect(told.trimmed).toBe(false);
    const read = tripSchema.strict().parse(JSON.parse(told.json));
    expect(JSON.stringify(read)).toBe(told.json);
    expect(read).toMatchObject(nine);
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
