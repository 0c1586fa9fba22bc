import { describe, expect, it } from 'vitest';
import type { Gap } from '../../../adapters/mqtt/publisher-options.js';
import {
  FLEET,
  MemoryOutbox,
  makeBroker,
  makeInbox,
  makePublisher,
  published,
  STORE,
  TRUCK,
  until,
} from './harness.js';

const THINNED: Gap = { fromSeq: 3, toSeq: 7, what: 'events of ended plan alerts', count: 5, why: 'the store was full' };
const TRIPS: Gap = { fromSeq: 0, toSeq: 0, what: 'trips', count: 2, why: 'too many waited' };

class WithGaps extends MemoryOutbox {
  waiting: Gap[] = [];
  async gaps(): Promise<Gap[]> {
    return this.waiting;
  }
  async confirmGap(gap: Gap): Promise<void> {
    this.waiting = this.waiting.filter((each) => JSON.stringify(each) !== JSON.stringify(gap));
  }
}

/** A truck whose events 3 to 7 were thinned. */
async function truck(confirm: 'office' | 'broker', resendMs = 60_000) {
  const broker = await makeBroker();
  const all = published(broker);
  const heard = (): Gap[] => all.flatMap(({ name, json }) => (name === 'gap' ? [json as unknown as Gap] : []));
  const inbox = await makeInbox({ url: broker.url });
  const outbox = new WithGaps();
  outbox.append(10);
  outbox.events = outbox.events.filter(({ seq }) => seq < 3 || seq > 7);
  outbox.opened.lastSeq = 10;
  outbox.waiting = [THINNED, TRIPS];
  const publisher = makePublisher(outbox, broker.url, { confirm, timings: { resendMs } });
  publisher.start();
  let rev = 0;
  const answer = (seq: number) => {
    rev += 1;
    const received = { store: STORE, seq };
    return inbox.answer({ fleet: FLEET, truck: TRUCK }, { v: 1, rev, received, trailer: null, decisions: [] });
  };
  return { broker, heard, inbox, outbox, publisher, answer };
}

describe('a gap, which events behind it need to be confirmed', () => {
  it('stays until the office’s number has passed it; what has no number goes at the PUBACK', async () => {
    const { heard, outbox, publisher, answer, inbox } = await truck('office');
    await until(() => heard().length === 2 && inbox.counts.events === 5 && publisher.health().inFlight === 0);
    await until(() => outbox.waiting.length === 1);
    expect(outbox.waiting).toEqual([THINNED]);
    await answer(2);
    await until(() => outbox.confirmed === 2);
    expect(outbox.waiting).toEqual([THINNED]);
    await answer(10);
    await until(() => outbox.waiting.length === 0);
    await until(() => heard().length === 2);
  });

  it('is said again after a connect, as the broker may have lost it', async () => {
    const { broker, heard, outbox, publisher, answer } = await truck('office');
    await until(() => heard().length === 2 && outbox.waiting.length === 1);
    broker.dropAll();
    await until(() => publisher.health().connects === 2 && heard().filter(({ toSeq }) => toSeq === 7).length >= 2);
    await answer(10);
    await until(() => outbox.waiting.length === 0);
  });

  it('is said again when the number does not move', async () => {
    const { heard, outbox } = await truck('office', 50);
    await until(() => heard().filter(({ toSeq }) => toSeq === 7).length >= 3);
    expect(outbox.waiting).toEqual([THINNED]);
  });

  it('that the office knew before this start goes at the PUBACK', async () => {
    const { outbox, publisher, answer, broker, heard } = await truck('office');
    await answer(10);
    await until(() => outbox.waiting.length === 0);
    outbox.waiting = [THINNED];
    const said = heard().length;
    broker.dropAll();
    await until(() => publisher.health().connects === 2 && heard().length > said && outbox.waiting.length === 0);
  });

  it('leaves with the PUBACK where the broker confirms', async () => {
    const { heard, outbox } = await truck('broker');
    await until(() => outbox.waiting.length === 0);
    await until(() => heard().length === 2);
  });
});
