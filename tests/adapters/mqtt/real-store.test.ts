import { describe, expect, it } from 'vitest';
import type { ReceivedEvent, ReceivedOpen } from '../../../adapters/mqtt/messages.js';
import { openStore } from '../../../adapters/store/store.js';
import { commit, draft, openAlert, openDraft, optionsIn, tempDir } from '../store/helpers.js';
import { cleanup, FLEET, makeBroker, makeInbox, makePublisher, TRUCK, until, upTo } from './harness.js';

// The store's worker is loaded from dist/: "npm test" builds it first.
describe('with the real store', () => {
  it('events go from SQLite to the office, are confirmed by it, and stay confirmed over a restart', async () => {
    const broker = await makeBroker();
    const options = optionsIn(tempDir(), { truck: TRUCK });
    const events: ReceivedEvent[] = [];
    const opens: ReceivedOpen[] = [];
    const inbox = await makeInbox({
      url: broker.url,
      onEvent: (event) => events.push(event),
      onOpen: (open) => opens.push(open),
    });
    const first = await openStore(options);
    const publisher = makePublisher(first, broker.url, { confirm: 'office' });
    publisher.start();
    const alerts = upTo(40).map((n) => openAlert(n));
    await first.commit(
      commit({ events: upTo(40).map((n) => draft(n, 'raised')), open: openDraft(alerts), state: '{}' }),
    );
    publisher.poke();
    publisher.openChanged();
    await until(() => events.length === 40 && (opens.at(-1)?.asOf ?? 0) === 40);
    expect(events.map((event) => event.seq)).toEqual(upTo(40));
    expect(events[39]?.alert).toBe(`${TRUCK}.${first.opened.store}.40`);
    expect(opens.at(-1)).toMatchObject({ store: first.opened.store, more: 0 });
    expect((await first.stats()).outbox).toBe(40);
    const received = { store: first.opened.store, seq: 30 };
    await inbox.answer({ fleet: FLEET, truck: TRUCK }, { v: 1, rev: 1, received, trailer: null, decisions: [] });
    await until(() => publisher.health().confirmedSeq === 30);
    await publisher.stop(2000);
    expect((await first.stats()).outbox).toBe(10);
    await first.close();

    const second = await openStore(options);
    cleanup(() => second.close());
    const again = makePublisher(second, broker.url, { confirm: 'office' });
    again.start();
    await until(() => inbox.counts.repeated === 10);
    expect(events).toHaveLength(40);
    expect(inbox.counts).toMatchObject({ invalid: 0, foreign: 0 });
    await again.stop(2000);
  });

  it('a whole folder of yesterday put back: the office has more numbers, so another store begins and is told', async () => {
    const broker = await makeBroker();
    const options = optionsIn(tempDir(), { truck: TRUCK });
    const opens: ReceivedOpen[] = [];
    const inbox = await makeInbox({ url: broker.url, onOpen: (open) => opens.push(open) });
    const store = await openStore(options);
    cleanup(() => store.close());
    await store.commit(commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '{}' }));
    const before = store.opened.store;
    const received = { store: before, seq: 30 };
    await inbox.answer({ fleet: FLEET, truck: TRUCK }, { v: 1, rev: 1, received, trailer: null, decisions: [] });
    const publisher = makePublisher(store, broker.url, { confirm: 'office' });
    publisher.start();
    await until(() => opens.some((open) => open.store !== before));
    expect(store.opened.store).not.toBe(before);
    expect(opens.at(-1)).toMatchObject({ store: store.opened.store, asOf: 1, alerts: [{ rule: openAlert(1).rule }] });
    await publisher.stop(2000);
  });
});
