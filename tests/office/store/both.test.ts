import { describe, expect, it } from 'vitest';
import { eventSchema } from '../../../adapters/mqtt/messages.js';
import type { Incoming, Notice, TruckKey } from '../../../office/core/model.js';
import { newTruckState } from '../../../office/core/model.js';
import type { EventQuery, OfficeStore } from '../../../office/store/contract.js';
import {
  DAY_MS,
  event,
  eventMessage,
  gap,
  KEY,
  MINUTE_MS,
  notice,
  noting,
  OTHER,
  officeAlert,
  presence,
  reading,
  startCheck,
  T0,
  telling,
  trip,
} from './messages.js';
import { openPostgres, postgresIsInstalled, serverForTests } from './postgres.js';
import { all, openSqlite } from './stores.js';

const STORES: { name: string; open: () => Promise<OfficeStore> }[] = [{ name: 'SQLite', open: () => openSqlite() }];
if (postgresIsInstalled) {
  const server = serverForTests();
  STORES.push({ name: 'PostgreSQL', open: async () => openPostgres(server().url(await server().database())) });
}

let alerts = 0;
/** Of an alert that no other notice is about. */
const another = (): Partial<Notice> => ({ alert: officeAlert({ id: `axlepost-1.${++alerts}` }) });

/** Gives what was fresh, in order. */
async function freshOf(store: OfficeStore, messages: Incoming[], key = KEY): Promise<Incoming[]> {
  let seen: readonly Incoming[] = [];
  await store.receive([{ key, messages }], (k, state, fresh) => {
    seen = fresh;
    return noting(k, state, fresh);
  });
  return [...seen];
}

const failing = (): never => {
  throw new RangeError('a mistake of ours');
};

it('the messages of these tests are as trucks send them', () => {
  expect(eventSchema.parse(eventMessage(1))).toEqual(eventMessage(1));
});

describe.each(STORES)('$name: some trucks at once', ({ open }) => {
  it('those that are there, each with its row; at most two hundred', async () => {
    const store = await open();
    const keys = Array.from({ length: 210 }, (_, n) => ({
      fleet: n % 2 === 0 ? 'northline' : 'south',
      truck: `T-${n}`,
    }));
    await store.receive(
      keys.map((key) => ({ key, messages: [event(1)] })),
      noting,
    );
    expect(await store.trucksOf([])).toEqual([]);
    const [first, second] = [keys[3]!, keys[8]!];
    const found = await store.trucksOf([second, { fleet: 'northline', truck: first.truck }, first]);
    const byName = new Map(found.map(({ key, state }) => [`${key.fleet}/${key.truck}`, state]));
    expect([...byName.keys()].sort()).toEqual(['northline/T-8', 'south/T-3']);
    expect(byName.get('south/T-3')).toEqual(await store.truck(first));
    expect(await store.trucksOf(keys)).toHaveLength(200);
  });
});

describe.each(STORES)('$name: receive', ({ open }) => {
  it('an unknown truck begins with a new state; the row is what fold has given', async () => {
    const store = await open();
    let given: unknown;
    const [state] = await store.receive([{ key: KEY, messages: [presence()] }], (key, before, fresh) => {
      given = [key, before, fresh];
      return noting(key, before, fresh);
    });
    expect(given).toEqual([KEY, newTruckState(), [presence()]]);
    expect(state).toEqual({ ...newTruckState(), revision: 1, heardMs: T0 });
    expect(await store.truck(KEY)).toEqual(state);
    expect(await store.truck(OTHER)).toBeNull();
  });

  it('events, trips, start checks and gaps are fresh once; also within one batch', async () => {
    const store = await open();
    const once = [event(2), event(1), trip(1), startCheck(1), gap()];
    expect(await freshOf(store, [...once, ...once])).toEqual(once);
    expect(await freshOf(store, once)).toEqual([]);
    expect(await freshOf(store, [event(3), event(2)])).toEqual([event(3)]);
    expect(await store.events({ limit: 10 })).toHaveLength(3);
  });

  it('a later copy of an event that says more is no new one; the first stays', async () => {
    const store = await open();
    await freshOf(store, [event(1)]);
    expect(await freshOf(store, [event(1, T0 + DAY_MS * 40, { heldS: 900, synced: false })])).toEqual([]);
    expect(await store.events({ limit: 10 })).toEqual([eventMessage(1)]);
  });

  it('what is told apart: fleet, truck, store and number of an event; boot, number and kind of a trip', async () => {
    const store = await open();
    const other = { store: 'zzzz' };
    await freshOf(store, [event(1), trip(1), gap()]);
    for (const key of [OTHER, { fleet: 'southline', truck: KEY.truck }] as TruckKey[]) {
      expect(await freshOf(store, [event(1), trip(1), gap()], key)).toHaveLength(3);
    }
    const fresh = [event(1, T0, other), trip(1, T0, other), trip(1, T0, { boot: 13 }), startCheck(1), gap(other)];
    expect(await freshOf(store, fresh)).toEqual(fresh);
  });

  it('gaps without numbers are told apart by all that they say', async () => {
    const store = await open();
    const zero = { fromSeq: 0, toSeq: 0, what: 'trips' };
    const first = [gap({ ...zero, count: 1 }), gap({ ...zero, count: 2 }), gap({ ...zero, count: 1, why: 'another' })];
    expect(await freshOf(store, first)).toEqual(first);
    expect(await freshOf(store, first)).toEqual([]);
    expect(await freshOf(store, [gap(), gap({ count: 3 }), gap({ toSeq: 381 })])).toEqual([gap(), gap({ toSeq: 381 })]);
  });

  it('presence, open and reading are fresh each time', async () => {
    const store = await open();
    const open2 = {
      v: 1 as const,
      store: 'k3f9q2m1x7ab',
      asOf: 1,
      at: '2026-03-02T14:00:00.000Z',
      alerts: [],
      muted: [],
    };
    const messages: Incoming[] = [
      presence(),
      { kind: 'open', receivedMs: T0, message: { ...open2, more: 0 } },
      reading(T0),
    ];
    expect(await freshOf(store, messages)).toEqual(messages);
    expect(await freshOf(store, messages)).toEqual(messages);
  });

  it('states come in the order of the batches, and one truck may be in several', async () => {
    const store = await open();
    const batch = (key: TruckKey, ...messages: Incoming[]) => ({ key, messages });
    const batches = [batch(OTHER, event(1)), batch(KEY, event(1), event(2)), batch(OTHER, event(2), event(1))];
    const states = await store.receive(batches, noting);
    expect(states.map(({ revision, alerts }) => [revision, alerts.length])).toEqual([
      [1, 1],
      [1, 2],
      [2, 2],
    ]);
    expect(await store.truck(OTHER)).toEqual(states[2]);
    expect(await store.receive([], noting)).toEqual([]);
  });

  it('when fold throws, nothing of that truck is stored, and what it threw comes through', async () => {
    const store = await open();
    const messages = [event(1), reading(T0), trip(1), gap()];
    await expect(store.receive([{ key: KEY, messages }], failing)).rejects.toThrow(new RangeError('a mistake of ours'));
    expect(await store.truck(KEY)).toBeNull();
    expect(await all(store.trucks())).toEqual([]);
    expect(await store.events({ limit: 10 })).toEqual([]);
    expect(await store.readings(KEY, 0, T0 * 2, 10)).toEqual([]);
    expect(await store.trips(KEY, 10)).toEqual([]);
    expect(await freshOf(store, messages)).toEqual(messages);
  });

  it('two that receive at once lose nothing of each other', async () => {
    const store = await open();
    const each = Array.from({ length: 20 }, (_, n) => store.receive([{ key: KEY, messages: [event(n + 1)] }], noting));
    await Promise.all(each);
    const state = await store.truck(KEY);
    expect(state).toMatchObject({ revision: 20 });
    expect(new Set(state?.alerts.map(({ id }) => id)).size).toBe(20);
  });

  it('a row that fold leaves alone is not written; texts of all letters come back as they were', async () => {
    const store = await open();
    const place = 'Achse 2, „links“ \\ " \u2028 \u{1f69b} \'; DROP TABLE trucks; --';
    await freshOf(store, [event(1, T0, { place })]);
    const before = await store.truck(KEY);
    await store.receive([{ key: KEY, messages: [event(1)] }], (_, state) => ({ state, notices: [] }));
    expect(await store.truck(KEY)).toEqual(before);
    expect((await store.events({ limit: 1 }))[0]).toEqual(eventMessage(1, { place }));
  });
});

describe.each(STORES)('$name: change', ({ open }) => {
  it('changes one row with its notices, or nothing', async () => {
    const store = await open();
    await freshOf(store, [event(1)]);
    const changed = await store.change(KEY, (_, state) => ({
      state: { ...state, revision: state.revision + 1, trailer: 'TR-9' },
      notices: [notice()],
    }));
    expect(changed).toMatchObject({ revision: 2, trailer: 'TR-9' });
    expect(await store.truck(KEY)).toEqual(changed);
    expect(await store.dueNotices(T0, 1000, 10)).toHaveLength(1);
    expect(await store.change(KEY, () => null)).toBeNull();
    await expect(store.change(KEY, failing)).rejects.toThrow(RangeError);
    expect(await store.truck(KEY)).toEqual(changed);
  });

  it('an unknown truck is not made', async () => {
    const store = await open();
    expect(await store.change(KEY, failing)).toBeNull();
    expect(await store.truck(KEY)).toBeNull();
  });
});

describe.each(STORES)('$name: reading', ({ open }) => {
  it('all trucks, more than are read at a time, in the order of their names', async () => {
    const store = await open();
    const keys = Array.from({ length: 401 }, (_, n) => ({ fleet: n % 2 ? 'northline' : 'a', truck: `T-${n}` }));
    await store.receive(
      keys.map((key) => ({ key, messages: [presence()] })),
      noting,
    );
    const found = await all(store.trucks());
    const names = found.map(({ key }) => `${key.fleet}/${key.truck}`);
    expect(names).toEqual(keys.map(({ fleet, truck }) => `${fleet}/${truck}`).sort());
    expect(found[0]?.state).toMatchObject({ revision: 1 });
  });

  it('events: newest first, by fleet, truck, alert and time of receipt, from the first instant to before the last', async () => {
    const store = await open();
    await freshOf(store, [event(1), event(2, T0 + 2, { alert: 'T-1042.k3f9q2m1x7ab.2' }), event(3), event(4, T0 + 3)]);
    await freshOf(store, [event(9, T0 + 9, { truck: OTHER.truck })], OTHER);
    await freshOf(store, [event(8, T0 + 8, { fleet: 'southline' })], { fleet: 'southline', truck: KEY.truck });
    const seqs = async (query: Omit<EventQuery, 'limit'>, limit = 10) =>
      (await store.events({ ...query, limit })).map(({ seq }) => seq);
    expect(await seqs({})).toEqual([9, 8, 4, 3, 2, 1]);
    expect(await seqs({}, 2)).toEqual([9, 8]);
    expect(await seqs({}, 0)).toEqual([]);
    expect(await seqs({ fleet: 'northline' })).toEqual([9, 4, 3, 2, 1]);
    expect(await seqs(KEY)).toEqual([4, 3, 2, 1]);
    expect(await seqs({ truck: KEY.truck })).toEqual([8, 4, 3, 2, 1]);
    expect(await seqs({ alert: 'T-1042.k3f9q2m1x7ab.2' })).toEqual([2]);
    expect(await seqs({ ...KEY, fromMs: T0 + 2, toMs: T0 + 3 })).toEqual([2]);
    expect(await seqs({ fromMs: T0 + 3 })).toEqual([9, 8, 4, 3]);
    expect(await seqs({ toMs: T0 + 3 })).toEqual([2, 1]);
  });

  it('at most 5,000 rows at once, whatever is asked for', async () => {
    const store = await open();
    await freshOf(
      store,
      Array.from({ length: 5_001 }, (_, n) => event(n + 1)),
    );
    expect(await store.events({ limit: 1e9 })).toHaveLength(5_000);
    expect(await store.events({ limit: 4_999.9 })).toHaveLength(4_999);
  });

  it('readings: ascending, in their time, once each though they come again', async () => {
    const store = await open();
    const at = [T0, T0 + MINUTE_MS, T0 + 2 * MINUTE_MS];
    await freshOf(store, [reading(at[0]!), reading(at[1]!), reading(at[2]!)]);
    await freshOf(store, [reading(at[0]!, T0 + DAY_MS * 40), reading(at[1]!, T0 + DAY_MS)]);
    await freshOf(store, [reading(at[1]!)], OTHER);
    const found = await store.readings(KEY, 0, T0 + DAY_MS * 50, 10);
    expect(found).toEqual(at.map((ms) => ({ ms: ms + 500, reading: reading(ms).message })));
    expect(await store.readings(KEY, at[1]! + 500, at[2]! + 500, 10)).toEqual([found[1]]);
    expect(await store.readings(KEY, at[1]! + 501, at[2]! + 501, 10)).toEqual([found[2]]);
    expect(await store.readings(KEY, 0, T0 * 2, 2)).toEqual(found.slice(0, 2));
  });

  it('trips: summaries of one truck, newest first', async () => {
    const store = await open();
    await freshOf(store, [trip(1), startCheck(2), trip(2), trip(3, T0 + 2)]);
    await freshOf(store, [trip(7)], OTHER);
    expect((await store.trips(KEY, 10)).map((found) => found.trip)).toEqual([3, 2, 1]);
    expect(await store.trips(KEY, 1)).toEqual([trip(3).message]);
  });
});

describe.each(STORES)('$name: notices', ({ open }) => {
  // Each of an alert of its own.
  const put = (store: OfficeStore, ...ms: number[]) =>
    store.receive([{ key: KEY, messages: [presence()] }], telling(...ms.map((at) => notice(at, another()))));
  const idsDue = async (store: OfficeStore, nowMs: number, limit = 10) =>
    (await store.dueNotices(nowMs, MINUTE_MS, limit)).map(({ id }) => id);

  it('are due from their time on, first in first out, at most so many', async () => {
    const store = await open();
    await put(store, T0, T0 + 1, T0 + 2);
    expect(await store.dueNotices(T0 - 1, MINUTE_MS, 10)).toEqual([]);
    const first = await store.dueNotices(T0 + 1, MINUTE_MS, 10);
    expect(first.map((queued) => [queued.notice, queued.attempts])).toEqual([
      [expect.objectContaining({ ms: T0 }), 0],
      [expect.objectContaining({ ms: T0 + 1 }), 0],
    ]);
    await put(store, T0, T0);
    expect(await idsDue(store, T0 + 2, 1)).toHaveLength(1);
    expect(await idsDue(store, T0 + 2, 1)).toHaveLength(1);
    expect(await idsDue(store, T0 + 2)).toHaveLength(1);
  });

  it('one that is taken is nobody else’s until the lease ends; then it counts as tried', async () => {
    const store = await open();
    await put(store, T0);
    const [taken] = await store.dueNotices(T0, MINUTE_MS, 10);
    expect(await idsDue(store, T0 + MINUTE_MS - 1)).toEqual([]);
    expect(await store.dueNotices(T0 + MINUTE_MS, MINUTE_MS, 10)).toEqual([{ ...taken, attempts: 1 }]);
  });

  it('sent is sent; failed is due again, or given up', async () => {
    const store = await open();
    await put(store, T0, T0, T0);
    const [sent, failed, lost] = await idsDue(store, T0);
    await store.noticeSent(sent!);
    await store.noticeFailed(failed!, T0 + 10, 'HTTP 503');
    await store.noticeFailed(lost!, null, 'HTTP 410');
    expect(await idsDue(store, T0 + 9)).toEqual([]);
    expect(await idsDue(store, T0 + 10)).toEqual([failed]);
    expect(await idsDue(store, T0 + DAY_MS)).toEqual([failed]);
    await store.noticeFailed(sent!, T0, 'too late');
    expect(await idsDue(store, T0)).toEqual([]);
  });

  it('come as they were given', async () => {
    const store = await open();
    await store.receive([{ key: KEY, messages: [presence()] }], telling(notice()));
    expect((await store.dueNotices(T0, MINUTE_MS, 1))[0]?.notice).toEqual(notice());
  });

  it('of one alert and channel the first only, until it is sent or given up', async () => {
    const store = await open();
    const told = [notice(T0), notice(T0 + 1, { why: 'untaken' }), notice(T0 + 2, { why: 'ended', ending: 'cleared' })];
    const elsewhere = [
      notice(T0 + 1, another()),
      notice(T0 + 2, { channel: 'mail' }),
      notice(T0 + 2, { truck: 'T-9' }),
    ];
    await store.receive([{ key: KEY, messages: [presence()] }], telling(...told, ...elsewhere.slice(0, 2)));
    await store.receive([{ key: { ...KEY, truck: 'T-9' }, messages: [presence()] }], telling(elsewhere[2]!));
    const [raised, ...others] = await store.dueNotices(T0 + 9, MINUTE_MS, 10);
    expect([raised, ...others].map((queued) => queued!.notice)).toEqual([told[0], ...elsewhere]);
    await store.noticeFailed(raised!.id, T0 + 9 * MINUTE_MS, 'HTTP 503');
    expect(await idsDue(store, T0 + 8 * MINUTE_MS)).toEqual(others.map(({ id }) => id));
    await store.noticeFailed(raised!.id, null, 'HTTP 410');
    const [untaken] = await store.dueNotices(T0 + 8 * MINUTE_MS, MINUTE_MS, 10);
    expect(untaken!.notice).toEqual(told[1]);
    await store.noticeSent(untaken!.id);
    expect((await store.dueNotices(T0 + 8 * MINUTE_MS, 0, 10)).map((queued) => queued.notice)).toEqual([told[2]]);
  });

  it('leave out channels that can take no more', async () => {
    const store = await open();
    await store.receive(
      [{ key: KEY, messages: [presence()] }],
      telling(notice(T0), notice(T0, { channel: "it's" }), notice(T0, { channel: 'mail' })),
    );
    const due = async (...except: string[]) =>
      (await store.dueNotices(T0, 0, 10, except)).map((queued) => queued.notice.channel);
    expect(await due('desk', "it's")).toEqual(['mail']);
    expect(await due('desk', 'mail', 'nothing')).toEqual(["it's"]);
    expect(await due()).toHaveLength(3);
  });
});

describe.each(STORES)('$name: people', ({ open }) => {
  const session = { name: 'Ana', token: 't1', untilMs: T0 };

  it('accounts are added, replaced and removed; names are told apart by their letters', async () => {
    const store = await open();
    expect([await store.account('Ana'), await store.accounts()]).toEqual([null, []]);
    await store.putAccount({ name: 'Bo', hash: 'h0' });
    await store.putAccount({ name: 'Ana', hash: 'h1' });
    await store.putAccount({ name: 'Ana', hash: 'h2' });
    expect([await store.account('Ana'), await store.account('ana')]).toEqual([{ name: 'Ana', hash: 'h2' }, null]);
    expect(await store.accounts()).toEqual(['Ana', 'Bo']);
    await store.removeAccount('Ana');
    await store.removeAccount('nobody');
    expect(await store.accounts()).toEqual(['Bo']);
  });

  it('a session ends at its time, when it is removed, and with a new password or without its account', async () => {
    const store = await open();
    await store.putAccount({ name: 'Ana', hash: 'h1' });
    await store.putSession('aa', session);
    await store.putSession('bb', { ...session, name: 'Bo' });
    expect([await store.session('aa', T0 - 1), await store.session('aa', T0)]).toEqual([session, null]);
    await store.putSession('aa', { ...session, untilMs: T0 + 5 });
    expect(await store.session('aa', T0)).toEqual({ ...session, untilMs: T0 + 5 });
    await store.removeSession('aa');
    expect(await store.session('aa', 0)).toBeNull();
    for (const end of [() => store.putAccount({ name: 'Ana', hash: 'h2' }), () => store.removeAccount('Ana')]) {
      await store.putSession('aa', session);
      await end();
      expect(await store.session('aa', 0)).toBeNull();
    }
    expect(await store.session('bb', 0)).toMatchObject({ name: 'Bo' });
  });
});

describe.each(STORES)('$name: prune', ({ open }) => {
  async function filled(): Promise<OfficeStore> {
    const store = await open();
    const of = (ms: number, n: number) => [
      event(n, ms),
      reading(ms, ms),
      trip(n, ms),
      gap({ fromSeq: n, toSeq: n }, ms),
    ];
    await freshOf(store, [...of(T0, 1), ...of(T0 + 1, 2)]);
    await store.receive(
      [{ key: KEY, messages: [] }],
      telling(...[T0, T0, T0 + 1, T0].map((at) => notice(at, another()))),
    );
    const [sent, lost] = await store.dueNotices(T0, 0, 2);
    await store.noticeSent(sent!.id);
    await store.noticeFailed(lost!.id, null, 'HTTP 410');
    await store.putSession('ended', { name: 'Ana', token: 't', untilMs: T0 + 10 });
    await store.putSession('runs', { name: 'Ana', token: 't', untilMs: T0 + 11 });
    return store;
  }

  it('what is older goes, what is as old stays; notices that wait and trucks stay', async () => {
    const store = await filled();
    expect(await store.prune(T0, T0 + 9, 100)).toBe(0);
    expect(await store.prune(T0 + 1, T0 + 10, 100)).toBe(4 + 2 + 1);
    expect(await store.prune(T0 + 1, T0 + 10, 100)).toBe(0);
    expect((await store.events({ limit: 10 })).map(({ seq }) => seq)).toEqual([2]);
    expect((await store.readings(KEY, 0, T0 * 2, 10)).map(({ ms }) => ms)).toEqual([T0 + 1]);
    expect((await store.trips(KEY, 10)).map((left) => left.trip)).toEqual([2]);
    expect(await store.session('ended', 0)).toBeNull();
    expect(await store.session('runs', 0)).not.toBeNull();
    expect(await store.dueNotices(T0 + DAY_MS, 0, 10)).toHaveLength(2);
    expect(await store.truck(KEY)).not.toBeNull();
  });

  it('at most so many rows at a time', async () => {
    const store = await filled();
    const steps = [];
    for (let n = 0; n < 4; n++) steps.push(await store.prune(T0 + 1, T0 + 10, 3));
    expect(steps).toEqual([3, 3, 1, 0]);
  });
});

describe.each(STORES)('$name: closed', ({ open }) => {
  it('says so', async () => {
    const store = await open();
    await store.close();
    await store.close();
    await expect(store.truck(KEY)).rejects.toThrow(/closed$/);
    await expect(store.receive([{ key: KEY, messages: [] }], noting)).rejects.toThrow(/closed$/);
  });
});
