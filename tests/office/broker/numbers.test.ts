import { describe, expect, it } from 'vitest';
import { openStore } from '../../../adapters/store/store.js';
import { cleanup, makeBroker, makePublisher, numberedEvent, TRUCK, until, upTo } from '../../adapters/mqtt/harness.js';
import { commit, draft, openAlert, openDraft, optionsIn, tempDir } from '../../adapters/store/helpers.js';
import { eventsAt, untilSo, wholeOffice } from './whole-office.js';

/* A truck's publisher and store, and the office as it is: what is confirmed, and when. */

describe('numbers', () => {
  it('what the office did not get is sent again, and confirmed only then', async () => {
    const broker = await makeBroker();
    const lost = new Set([3, 4, 5]);
    // Once each: as a broker that acknowledged them and then lost them.
    const office = await wholeOffice(broker.url, (kind, seq) => kind === 'event' && lost.delete(seq));
    await until(() => office.link.isConnected);
    const store = await openStore(optionsIn(tempDir(), { truck: TRUCK }));
    cleanup(() => store.close());
    const publisher = makePublisher(store, broker.url, { confirm: 'office', timings: { resendMs: 3000 } });
    publisher.start();
    const events = upTo(10).map((n) => draft(n, 'raised'));
    await store.commit(commit({ events, open: openDraft(upTo(10).map((n) => openAlert(n))), state: '{}' }));
    publisher.poke();
    publisher.openChanged();
    await until(() => publisher.health().confirmedSeq === 2);
    expect((await store.stats()).outbox).toBe(8);
    await until(() => publisher.health().confirmedSeq === 10);
    expect((await eventsAt(office)).map(({ seq }) => seq)).toEqual(upTo(10));
    expect((await store.stats()).outbox).toBe(0);
    await publisher.stop(1000);
  });

  it('of a truck that cannot write come at once and are never confirmed; the old store goes on', async () => {
    const broker = await makeBroker();
    const office = await wholeOffice(broker.url);
    await until(() => office.link.isConnected);
    const store = await openStore(optionsIn(tempDir(), { truck: TRUCK }));
    cleanup(() => store.close());
    const publisher = makePublisher(store, broker.url, { confirm: 'office' });
    publisher.start();
    const first = commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '{}' });
    await store.commit(first);
    publisher.poke();
    publisher.openChanged();
    await until(() => publisher.health().confirmedSeq === 1);
    publisher.volatile([1, 2].map((seq) => numberedEvent(seq, '~v0latile')));
    await untilSo(async () => (await eventsAt(office)).length === 3);
    const unstored = (await eventsAt(office)).filter(({ stored }) => stored === false);
    expect(unstored.map(({ store: id, seq }) => [id, seq])).toEqual([
      ['~v0latile', 1],
      ['~v0latile', 2],
    ]);
    // The disk is back: what is open is committed under the old store, whose numbers go on.
    const alerts = [openAlert(1), openAlert(2)];
    await store.commit(commit({ events: [draft(2, 'raised')], open: openDraft(alerts), state: '{}' }));
    publisher.poke();
    publisher.openChanged();
    await until(() => publisher.health().confirmedSeq === 2);
    const state = (await office.state())!;
    expect(state.published?.received).toEqual({ store: store.opened.store, seq: 2 });
    expect(state.alerts.map(({ id }) => id).sort()).toEqual(upTo(2).map((n) => `${TRUCK}.${store.opened.store}.${n}`));
    await publisher.stop(1000);
  });
});
