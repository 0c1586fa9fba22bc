import { describe, expect, it } from 'vitest';
import {
  FLEET,
  MemoryOutbox,
  makeBroker,
  makeInbox,
  makePublisher,
  STORE,
  TRUCK,
  testClock,
  until,
} from './harness.js';

/** A truck with ten events, a clock for it that is put forward by hand, and what its log says. */
async function truck(confirm: 'office' | 'broker') {
  const broker = await makeBroker();
  const inbox = await makeInbox({ url: broker.url });
  const outbox = new MemoryOutbox();
  outbox.append(10);
  const lines: string[] = [];
  const now = { ms: 1_000 };
  const publisher = makePublisher(outbox, broker.url, {
    confirm,
    clock: { ...testClock(), nowMs: () => now.ms },
    timings: { resendMs: 20 },
    log: (level, line) => level === 'warn' && lines.push(line),
  });
  const answer = (rev: number, seq: number) =>
    inbox.answer(
      { fleet: FLEET, truck: TRUCK },
      { v: 1, rev, received: { store: STORE, seq }, trailer: null, decisions: [] },
    );
  return { inbox, outbox, publisher, lines, now, answer };
}

describe('an office that is not there', () => {
  it('is told once in the log, and in health for how long; everything stays in the outbox', async () => {
    const { publisher, outbox, lines, now, answer, inbox } = await truck('office');
    expect(publisher.health().unconfirmedS).toBe(null);
    publisher.start();
    await until(() => publisher.health().unconfirmedS === 0);
    now.ms += 61_500;
    expect(publisher.health().unconfirmedS).toBe(61);
    await until(() => inbox.counts.repeated >= 20);
    expect(lines).toEqual([expect.stringMatching(/^the office has confirmed nothing for \d+ s: .*confirm: broker$/)]);
    expect(outbox.confirms).toEqual([]);

    await answer(1, 4);
    await until(() => publisher.health().confirmedSeq === 4);
    expect(publisher.health().unconfirmedS).toBe(0);
    now.ms += 5_000;
    expect(publisher.health().unconfirmedS).toBe(5);
    // It has answered: its next silence is worth a line again.
    await until(() => lines.length === 2);

    await answer(2, 10);
    await until(() => publisher.health().confirmedSeq === 10);
    expect(publisher.health().unconfirmedS).toBe(null);
  });

  it('is no matter where the broker confirms', async () => {
    const { publisher, outbox, lines } = await truck('broker');
    publisher.start();
    await until(() => outbox.confirmed === 10);
    expect(publisher.health().unconfirmedS).toBe(null);
    expect(lines).toEqual([]);
  });
});
