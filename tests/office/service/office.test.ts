import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { AnswerMessage } from '../../../adapters/mqtt/messages.js';
import type { BoardTruck } from '../../../office/core/board-model.js';
import type { Incoming, TruckKey } from '../../../office/core/model.js';
import { Office } from '../../../office/service/office.js';
import { type OfficeStore, StoreError } from '../../../office/store/contract.js';
import { openSqliteStore } from '../../../office/store/sqlite.js';
import { tempDir } from '../../adapters/store/helpers.js';
import { HandTimers } from '../../support/timers.js';
import { eventOf, idOf, KEY, MIN, openOf, presenceOf, RULES, S, STORE, T0 } from '../core/messages.js';

/** Service, core and SQLite; the broker is the test's. */
class Rig {
  readonly timers = new HandTimers();
  readonly answers: { truck: string; answer: AnswerMessage }[] = [];
  isAway = false;
  office!: Office;
  store!: OfficeStore;
  take!: (key: TruckKey, incoming: Incoming) => void | Promise<void>;
  onNotes!: (notes: readonly string[]) => void;
  readonly logged: string[] = [];

  static async open(path = join(tempDir(), 'office.db'), change: (store: OfficeStore) => OfficeStore = (x) => x) {
    const rig = new Rig();
    rig.timers.now = T0;
    rig.store = change(await openSqliteStore({ path }));
    rig.office = await Office.start({
      store: rig.store,
      clock: rig.timers,
      rulesOf: () => RULES,
      keepMs: 90 * 24 * 60 * MIN,
      expected: [{ fleet: 'northline', truck: 'T-1099' }],
      log: { warn: (line) => rig.logged.push(line), error: (line) => rig.logged.push(`ERROR ${line}`) },
      connect: (take, onNotes) => {
        rig.take = take;
        rig.onNotes = onNotes;
        return {
          isConnected: true,
          answer: async ({ truck }, answer) => {
            if (rig.isAway) throw new Error('away');
            rig.answers.push({ truck, answer });
          },
          close: async () => {},
        };
      },
    });
    return rig;
  }

  hear(...messages: Incoming[]): void {
    for (const message of messages) void this.take(KEY, { ...message, receivedMs: this.timers.now });
  }

  /** Timers of up to so many ms go off; each that is armed anew counts. */
  async pass(ms: number): Promise<void> {
    const end = this.timers.now + ms;
    while (this.timers.now < end) {
      this.timers.pass(Math.min(50, end - this.timers.now));
      for (let i = 0; i < 20; i++) await Promise.resolve();
    }
  }
}

const event = (seq: number, change: Parameters<typeof eventOf>[1], more = {}): Incoming => ({
  kind: 'event',
  receivedMs: T0,
  message: eventOf(seq, change, more),
});
const open = (asOf: number, alerts: Parameters<typeof openOf>[1] = []): Incoming => ({
  kind: 'open',
  receivedMs: T0,
  message: openOf(asOf, alerts),
});

describe('the office', () => {
  test('says to a truck what has arrived: ten seconds after the first event, then each ten seconds, or after fifty', async () => {
    const rig = await Rig.open();
    rig.hear(presenceOf('awake'), open(0), event(1, 'raised'));
    await rig.pass(9 * S);
    expect(rig.answers).toEqual([]);
    await rig.pass(3 * S);
    expect(rig.answers.map(({ answer }) => answer.received)).toEqual([{ store: STORE, seq: 1 }]);
    rig.hear(event(2, 'unsure'));
    await rig.pass(5 * S);
    expect(rig.answers).toHaveLength(1);
    rig.hear(...Array.from({ length: 50 }, (_, i) => event(3 + i, i % 2 === 0 ? 'sure' : 'unsure')));
    await rig.pass(S);
    expect(rig.answers.at(-1)!.answer.received).toEqual({ store: STORE, seq: 52 });
    const revs = rig.answers.map(({ answer }) => answer.rev);
    expect(revs).toEqual([...revs].sort((a, b) => a - b));
    expect(new Set(revs).size).toBe(revs.length);
    await rig.office.close();
  });

  test('an answer that the broker has not taken is sent when it is there again, and nothing is said twice otherwise', async () => {
    const rig = await Rig.open();
    rig.isAway = true;
    rig.hear(open(0), event(1, 'raised'));
    await rig.pass(20 * S);
    expect(rig.answers).toEqual([]);
    rig.isAway = false;
    await rig.pass(5 * S);
    expect(rig.answers.map(({ answer }) => answer.received?.seq)).toEqual([1]);
    await rig.pass(60 * S);
    expect(rig.answers).toHaveLength(1);
    await rig.office.close();
  });

  test('a truck that sends again what was confirmed is answered again, at most each ten seconds', async () => {
    const rig = await Rig.open();
    rig.hear(open(0), event(1, 'raised'));
    await rig.pass(15 * S);
    expect(rig.answers).toHaveLength(1);
    for (let i = 0; i < 20; i++) {
      rig.hear(event(1, 'raised'));
      await rig.pass(S);
    }
    expect(rig.answers.length).toBeGreaterThanOrEqual(2);
    expect(rig.answers.length).toBeLessThanOrEqual(4);
    expect(new Set(rig.answers.map(({ answer }) => JSON.stringify(answer))).size).toBe(1);
    await rig.office.close();
  });

  test('a wish goes to the truck at once, everyone sees it, and a second office that opens the store knows it', async () => {
    const path = join(tempDir(), 'office.db');
    const rig = await Rig.open(path);
    const seen: BoardTruck[] = [];
    rig.office.onTruck((truck) => seen.push(truck));
    rig.hear(open(0), event(1, 'raised'));
    await rig.pass(S);
    const wish = { alert: idOf(1), do: 'take' as const, who: 'night desk', note: 'called', minutes: null };
    expect(await rig.office.wish(KEY, wish)).toBeNull();
    await rig.pass(S);
    expect(rig.answers.at(-1)!.answer.decisions).toMatchObject([
      { alert: idOf(1), do: 'take', who: 'night desk', note: 'called' },
    ]);
    expect(seen.at(-1)!.alerts[0]).toMatchObject({ isTaken: true, asked: { who: 'night desk' } });
    expect(await rig.office.wish(KEY, { ...wish, alert: 'T-1042.other.9' })).toMatch(/alert/);
    expect(await rig.office.wish({ ...KEY, truck: 'T-9' }, wish)).toBe('this truck is not known');
    await rig.office.close();
    const next = await Rig.open(path);
    expect(next.office.snapshot().trucks.find(({ truck }) => truck === KEY.truck)?.alerts[0]).toMatchObject({
      isTaken: true,
    });
    await next.office.close();
  });

  test('the trailer that people know goes to the truck at once, and null when it is gone', async () => {
    const rig = await Rig.open();
    rig.hear(open(0));
    await rig.pass(S);
    expect(await rig.office.couple(KEY, 'TR-99')).toBeNull();
    await rig.pass(S);
    expect(rig.answers.at(-1)!.answer.trailer).toBe('TR-99');
    expect(await rig.office.couple(KEY, null)).toBeNull();
    await rig.pass(S);
    expect(rig.answers.at(-1)!.answer.trailer).toBeNull();
    expect(await rig.office.couple(KEY, 'T\u00dc')).toMatch(/printable ASCII/);
    await rig.office.close();
  });

  test('nobody takes a pull-over: after two minutes it is called untaken, once', async () => {
    const rig = await Rig.open();
    const seen: BoardTruck[] = [];
    rig.office.onTruck((truck) => seen.push(truck));
    rig.hear(open(0), event(1, 'raised', { urgency: 'pull-over' }));
    await rig.pass(2 * MIN - 2 * S);
    expect(seen.at(-1)!.alerts[0]!.isUntaken).toBe(false);
    await rig.pass(5 * S);
    expect(seen.at(-1)!.alerts[0]!.isUntaken).toBe(true);
    const told = seen.length;
    await rig.pass(5 * MIN);
    expect(seen.slice(told).every(({ alerts }) => alerts[0]!.untakenMs === seen[told - 1]!.alerts[0]!.untakenMs)).toBe(
      true,
    );
    await rig.office.close();
  });

  test('a store that fails is told on the board; nothing of what came meanwhile is missing or confirmed too early', async () => {
    let isFull = false;
    const rig = await Rig.open(undefined, (store) =>
      Object.assign(Object.create(store) as OfficeStore, {
        receive: (...args: Parameters<OfficeStore['receive']>) =>
          isFull ? Promise.reject(new StoreError('office.db: the disk is full')) : store.receive(...args),
        change: store.change.bind(store),
        truck: store.truck.bind(store),
        trucks: store.trucks.bind(store),
        events: store.events.bind(store),
        prune: store.prune.bind(store),
        onChanged: store.onChanged.bind(store),
        close: store.close.bind(store),
      }),
    );
    const notes: string[][] = [];
    rig.office.onNotes((lines) => notes.push(lines));
    isFull = true;
    rig.hear(open(0), event(1, 'raised'));
    await rig.pass(30 * S);
    expect(notes.at(-1)).toEqual([expect.stringContaining('the disk is full')]);
    expect(rig.answers).toEqual([]);
    isFull = false;
    await rig.pass(15 * S);
    expect(notes.at(-1)).toEqual([]);
    expect(rig.answers.at(-1)!.answer.received).toEqual({ store: STORE, seq: 1 });
    expect((await rig.office.events({ ...KEY, limit: 10 })).map(({ seq }) => seq)).toEqual([1]);
    await rig.office.close();
  });

  test('the board: a truck that was never heard is counted, notes of the broker stand first or last, a page has it all', async () => {
    const rig = await Rig.open();
    rig.onNotes(['the broker is away']);
    rig.hear(presenceOf('awake'), open(0), event(1, 'raised'), {
      kind: 'reading',
      receivedMs: T0,
      message: { v: 1, at: '2026-03-02T14:00:00.000Z', r: { 'tractor/2/left/outer': [600, 590, 30, 4] } },
    });
    await rig.pass(S);
    const { counts, notes, trucks } = rig.office.snapshot();
    expect(notes).toEqual(['the broker is away']);
    expect(counts.awake).toBe(1);
    expect(counts.off).toBe(1);
    expect(rig.office.counts()).toEqual(counts);
    expect(trucks.map(({ truck }) => truck)).toEqual(['T-1042']);
    const page = (await rig.office.truckPage(KEY))!;
    expect(page.reading?.r).toEqual({ 'tractor/2/left/outer': [600, 590, 30, 4] });
    expect(page.events.map(({ seq }) => seq)).toEqual([1]);
    expect(await rig.office.truckPage({ ...KEY, truck: 'T-1' })).toBeNull();
    const series = await rig.office.series(KEY, T0 - MIN, T0 + MIN);
    expect(series.r).toEqual({ 'tractor/2/left/outer': [[T0, 600, 590, 30, 4]] });
    expect(rig.logged.filter((line) => line.startsWith('ERROR'))).toEqual([]);
    await rig.office.close();
  });
});
