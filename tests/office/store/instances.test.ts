import { describe, expect, it } from 'vitest';
import { fold } from '../../../office/core/fold.js';
import type { Incoming, TruckKey, TruckState } from '../../../office/core/model.js';
import type { OfficeStore } from '../../../office/store/contract.js';
import { LISTENER } from '../../../office/store/postgres-ear.js';
import { printedSeed } from '../../support/seed.js';
import { RULES } from '../core/messages.js';
import { storyFrom } from '../core/truck-story.js';
import { event, KEY, MINUTE_MS, notice, noting, OTHER, presence, reading, T0, telling, trip } from './messages.js';
import { openPostgres, postgresIsInstalled, serverForTests } from './postgres.js';
import { seeded, shuffled } from './random.js';
import { all, openSqlite } from './stores.js';

/* Several offices on one PostgreSQL database. */

const realFold = (key: TruckKey, state: TruckState, fresh: readonly Incoming[]) => fold(key, state, fresh, RULES, T0);

/** What must not depend on who received what, and when: which revision a row has may. */
const standing = ({ alerts, stores }: TruckState) => ({
  alerts: alerts
    .map(({ id, urgency, since, unsure, chattering, taken, snoozed, measured, advice, note }) => ({
      ...{ id, urgency, since, unsure, chattering, taken, snoozed, measured, advice, note },
    }))
    .sort((a, b) => (a.id < b.id ? -1 : 1)),
  ranges: stores.map(({ store, ranges }) => ({ store, ranges })),
});

/** Resolves with the names of changed trucks when so many were told. */
const told = (store: OfficeStore, count: number): Promise<string[]> =>
  new Promise((resolve) => {
    const names: string[] = [];
    store.onChanged(({ truck }) => {
      names.push(truck);
      if (names.length === count) resolve(names);
    });
  });

describe.skipIf(!postgresIsInstalled)('two offices on one database', () => {
  const server = serverForTests();
  const open = (database: string, onNote?: (line: string) => void) => openPostgres(server().url(database), onNote);
  async function two(): Promise<[OfficeStore, OfficeStore, string]> {
    const database = await server().database();
    return [...((await Promise.all([open(database), open(database)])) as [OfficeStore, OfficeStore]), database];
  }

  it('five that start at once on an empty database make its schema once', async () => {
    const database = await server().database();
    const stores = await Promise.all(Array.from({ length: 5 }, () => open(database)));
    expect(stores.map(({ isShared }) => isShared)).toEqual([true, true, true, true, true]);
    expect(await server().query(database, 'SELECT * FROM axlepost_office.meta')).toEqual([{ one: 1, version: 1 }]);
  });

  it('one truck’s events, shuffled, doubled and shared out between them, give the row that one office has in order', async () => {
    const random = seeded(printedSeed('two offices'));
    const [a, b] = await two();
    const single = await openSqlite();
    for (let round = 0; round < 6; round++) {
      const key = { fleet: 'northline', truck: `T-${round}` };
      const story = storyFrom(Array.from({ length: 60 }, () => Math.floor(random() * 10_000)));
      const messages: Incoming[] = story.events.map((message) => ({ kind: 'event', receivedMs: T0, message }));
      await single.receive([{ key, messages }], realFold);
      const both = shuffled([...messages, ...messages.slice(0, 20)], random);
      const calls: Promise<unknown>[] = [];
      for (let from = 0; from < both.length; from += 4) {
        const store = random() < 0.5 ? a : b;
        calls.push(store.receive([{ key, messages: both.slice(from, from + 4) }], realFold));
      }
      await Promise.all(calls);
      const expected = standing((await single.truck(key))!);
      expect(expected.ranges).toEqual([{ store: 'k3f9q2m1x7ab', ranges: [[1, 60]] }]);
      expect(standing((await a.truck(key))!)).toEqual(expected);
      expect(await b.truck(key)).toEqual(await a.truck(key));
      const stored = await b.events({ ...key, limit: 100 });
      expect(stored.map(({ seq }) => seq).sort((x, y) => x - y)).toEqual(messages.map((_, n) => n + 1));
    }
  });

  it('an event, a trip and a reading that both get at once are fresh for one of them', async () => {
    const [a, b] = await two();
    let fresh = 0;
    const counting = (key: TruckKey, state: TruckState, messages: readonly Incoming[]) => {
      fresh += messages.filter(({ kind }) => kind !== 'reading').length;
      return noting(key, state, messages);
    };
    const batch = { key: KEY, messages: [event(1), trip(1), reading(T0), reading(T0 + MINUTE_MS)] };
    await Promise.all([a, b, a, b].map((store) => store.receive([batch], counting)));
    expect(fresh).toBe(2);
    expect(await a.readings(KEY, 0, T0 * 2, 10)).toHaveLength(2);
    expect(await b.truck(KEY)).toMatchObject({ revision: 4 });
  });

  it('many trucks at once, in whatever order, wait for each other and never for ever', async () => {
    const random = seeded(printedSeed('locks'));
    const [a, b] = await two();
    const keys = Array.from({ length: 30 }, (_, n) => ({ fleet: 'northline', truck: `T-${n}` }));
    const expected = new Map(keys.map(({ truck }) => [truck, 0]));
    const calls = Array.from({ length: 40 }, (_, call) => {
      const some = shuffled(keys, random).slice(0, 12);
      for (const { truck } of some) expected.set(truck, expected.get(truck)! + 1);
      const batches = some.map((key) => ({ key, messages: [event(call + 1)] }));
      return (call % 2 === 0 ? a : b).receive(batches, noting);
    });
    const changes = keys.map((key) =>
      a.change(key, (_, state) => ({ state: { ...state, trailer: 'x' }, notices: [] })),
    );
    await Promise.all([...calls, ...changes]);
    const found = (await all(a.trucks())).map(({ key, state }) => [key.truck, state.alerts.length] as const);
    expect(new Map(found)).toEqual(expected);
    expect(await all(b.trucks())).toHaveLength(30);
  });

  it('each hears of the other’s changes and not of its own; also of those before it listened', async () => {
    const [a, b] = await two();
    const step = (key: TruckKey, state: TruckState) => noting(key, state, []);
    const [first, heard] = [told(a, 1), told(a, 2)];
    await a.receive([{ key: KEY, messages: [event(1)] }], noting);
    await a.change(KEY, step);
    await b.receive([{ key: OTHER, messages: [event(1), presence()] }], noting);
    // What one has written since is not told of what was before.
    expect(await first).toEqual([OTHER.truck]);
    await a.change(OTHER, step);
    await b.change(KEY, step);
    // Notifications come in the order of commits: its own would have come first.
    expect(await heard).toEqual([OTHER.truck, KEY.truck]);
    // The other row was last changed by the one that now listens.
    expect(await told(b, 1)).toEqual([OTHER.truck]);
  });

  it('a change is told with the revision that its row has, and many rows are read at once', async () => {
    const [a, b] = await two();
    const keys = Array.from({ length: 230 }, (_, n) => ({ fleet: 'northline', truck: `T-${n}` }));
    const revisions = new Map<string, number>();
    const heard = new Promise<void>((resolve) => {
      b.onChanged(({ truck }, revision) => {
        revisions.set(truck, revision);
        if (revisions.size === keys.length) resolve();
      });
    });
    await a.receive(
      keys.map((key) => ({ key, messages: [event(1)] })),
      noting,
    );
    await heard;
    const rows = await b.trucksOf([...keys.slice(0, 150), { fleet: 'northline', truck: 'T-none' }]);
    expect(rows.map(({ key }) => key.truck).sort()).toEqual(
      keys
        .slice(0, 150)
        .map(({ truck }) => truck)
        .sort(),
    );
    for (const { key, state } of rows) expect(state).toMatchObject({ revision: revisions.get(key.truck) });
    expect(rows[7]!.state).toEqual(await a.truck(rows[7]!.key));
  });

  it('while the way is broken nothing is heard; when it is there again, all that has moved is told, and nothing else', async () => {
    const database = await server().database();
    const lines: string[] = [];
    const [a, b] = [await open(database), await open(database, (line) => lines.push(line))];
    const still = { ...KEY, truck: 'T-0' };
    for (const key of [still, KEY, OTHER]) await a.receive([{ key, messages: [event(1)] }], noting);
    await all(b.trucks());
    const names = told(b, 2);
    await server().query('postgres', `ALTER DATABASE ${database} ALLOW_CONNECTIONS false`);
    await server().query(
      'postgres',
      `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '${database}' AND application_name = '${LISTENER}'`,
    );
    for (const key of [KEY, OTHER]) await a.receive([{ key, messages: [event(2)] }], noting);
    await server().query('postgres', `ALTER DATABASE ${database} ALLOW_CONNECTIONS true`);
    expect((await names).sort()).toEqual([KEY.truck, OTHER.truck].sort());
    const place = `postgresql://axlepost@127.0.0.1:${server().port}/${database}`;
    expect(lines[0]).toBe(`${place}: changes of other instances are not heard; it is tried again`);
    const again = told(b, 1);
    await a.receive([{ key: still, messages: [event(2)] }], noting);
    expect(await again).toEqual([still.truck]);
    expect(lines).toHaveLength(2);
  });

  it('a notice is taken by one of them, however many ask at once', async () => {
    const [a, b] = await two();
    const notices = Array.from({ length: 40 }, (_, n) => notice(T0, { channel: `c${n}` }));
    await a.receive([{ key: KEY, messages: [presence()] }], telling(...notices));
    const taken = await Promise.all(
      Array.from({ length: 10 }, (_, n) => (n % 2 === 0 ? a : b).dueNotices(T0, MINUTE_MS, 7)),
    );
    // Rows that another is taking are passed over, so that a call may get fewer than there are.
    const rest = await b.dueNotices(T0, MINUTE_MS, 100);
    const ids = [...taken.flat(), ...rest].map(({ id }) => id);
    expect(ids).toHaveLength(40);
    expect(new Set(ids).size).toBe(40);
    const later = await Promise.all([a, b].map((store) => store.dueNotices(T0 + MINUTE_MS, MINUTE_MS, 100)));
    expect(later.flat()).toHaveLength(40);
  });

  it('who signs in at one is in at the other', async () => {
    const [a, b] = await two();
    await a.putAccount({ name: 'Ana', hash: 'h' });
    await a.putSession('aa', { name: 'Ana', token: 't', untilMs: T0 });
    expect([await b.accounts(), await b.session('aa', T0 - 1)]).toEqual([
      ['Ana'],
      { name: 'Ana', token: 't', untilMs: T0 },
    ]);
    await b.removeAccount('Ana');
    expect(await a.session('aa', 0)).toBeNull();
  });
});
