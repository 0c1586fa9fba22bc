import { describe, expect, it } from 'vitest';
import type { Publisher } from '../../../adapters/mqtt/publisher.js';
import type { Commit, NumberedEvent, Store } from '../../../adapters/store/contract.js';
import type { EventDraft } from '../../../daemon/alerts/event.js';
import { MOST_RECORDS, MOST_ROWS, Session } from '../../../daemon/commands/session.js';
import { Volatile } from '../../../daemon/commands/volatile.js';
import { drive as secondsOf } from '../../support/drive.js';
import { truckOf } from '../../support/truck-file.js';
import { exampleDraft } from '../alerts/drafts.js';

const ZERO = Date.parse('2026-03-02T13:00:00Z');
const RUN = { zeroWallMs: ZERO, synced: true };
const BY = { config: '9c1e44d0', version: '0.1.0' };
const EEC1 = 0x0cf00400;
const RUNNING = Buffer.from('F07D7D401F00FFFF', 'hex');
const LAMP = Buffer.from('10FF64000101FFFF', 'hex');

/** Answers like the store, or refuses; keeps what it was given. */
class FakeStore {
  readonly commits: Commit[] = [];
  readonly refused: Commit[] = [];
  full = false;
  pending = 0;
  seq = 0;

  async commit(commit: Commit): Promise<NumberedEvent[]> {
    if (this.full) {
      this.refused.push(commit);
      throw new Error('truck.db: no room left');
    }
    this.commits.push(commit);
    return commit.events.map((draft) => {
      const seq = ++this.seq;
      return { seq, store: 's', boot: 1, stored: true, alertId: `T.s.${seq}`, causeId: null, draft, run: RUN, by: BY };
    });
  }
  async clock(): Promise<void> {}
}

function session(store: FakeStore) {
  let now = 0;
  const said: string[] = [];
  const unstored: EventDraft[] = [];
  const it = new Session({
    config: truckOf(),
    resume: null,
    run: RUN,
    store: store as unknown as Store,
    nowMs: () => now,
    onEvents: (events) => said.push(...events.map(({ seq, draft }) => `${seq} ${draft.change}`)),
    onUnstored: (events) => {
      said.push('refused');
      unstored.push(...events);
    },
    onStoreBack: () => said.push('back'),
  });
  /** Engine running and lamp on, four times a second, up to second `to`. */
  const drive = async (from: number, to: number): Promise<void> => {
    for (let t = from * 1000; t < to * 1000; t += 250) {
      now = t;
      it.stepper.frame(t, 0, EEC1, RUNNING, 8);
      it.stepper.frame(t, 0, 0x18feca00, LAMP, 8);
      if (t % 1000 === 0) it.settle(t);
      await Promise.resolve();
    }
    await new Promise((resolve) => setImmediate(resolve));
  };
  return { it, drive, said, unstored };
}

describe('while the store cannot be written', () => {
  it('events are handed back; the next commit that succeeds brings the open alerts, all history and the state', async () => {
    const store = new FakeStore();
    const { it: live, drive, said, unstored } = session(store);
    await drive(0, 10);
    store.full = true;
    await drive(10, 190);
    expect(unstored.map(({ rule, change }) => `${rule} ${change}`)).toEqual(['stop-lamp raised']);
    expect(said.filter((line) => line !== 'refused')).toEqual([]);
    const before = store.commits.length;
    store.full = false;
    await drive(190, 200);
    const [first] = store.commits.slice(before);
    expect(first!.open?.alerts.map(({ rule }) => rule)).toEqual(['stop-lamp']);
    // Engine speed and others of the minutes before: nothing that was refused is missing.
    const rows = (commits: Commit[]): string[] =>
      commits.flatMap(({ history }) => history.map((r) => `${r.subject} ${r.quantity} ${r.t}`));
    const lost = new Set(rows(store.refused));
    for (const row of rows(store.commits)) lost.delete(row);
    expect([...lost]).toEqual([]);
    expect(said.at(-1)).toBe('back');
    expect(JSON.parse(first!.state!)).toHaveProperty('book');
    await live.finish(200_000);
    expect(said.filter((line) => line === 'back')).toHaveLength(1);
    expect(live.droppedRows).toBe(0);
  });

  it('it is tried again although nothing happens', async () => {
    const store = new FakeStore();
    store.full = true;
    const { drive } = session(store);
    await drive(0, 40);
    const tries = store.refused.length;
    await drive(40, 60);
    expect(store.refused.length).toBeGreaterThanOrEqual(tries + 3);
    expect(MOST_ROWS).toBeLessThan(100_000);
  });
});

describe('records of what happened on the truck', () => {
  /** A truck that brakes for four seconds three times a minute; gives the store's commits and at how many a publisher was told. */
  async function braking(seconds: number, isFull: (second: number) => boolean = () => false) {
    const store = new FakeStore();
    let now = 0;
    let pokes = 0;
    const it = new Session({
      config: truckOf(),
      resume: null,
      run: RUN,
      store: store as unknown as Store,
      publisher: { poke: () => pokes++, presence() {}, reading() {}, openChanged() {} } as unknown as Publisher,
      nowMs: () => now,
    });
    for (const { t, id, data } of secondsOf(0, seconds, (s) => ({ brakeKpa: s % 20 < 4 ? 300 : 0 }))) {
      store.full = isFull(t / 1000);
      now = t;
      it.stepper.frame(t, 0, id, data, data.length);
      if (t % 1000 < 50) it.settle(Math.floor(t / 1000) * 1000);
      await Promise.resolve();
    }
    await it.finish(seconds * 1000);
    const records = store.commits.flatMap((c) => c.records.map((record) => ({ record, t: c.t })));
    return { it, store, records, pokes: () => pokes };
  }

  it('wait at most five seconds with history; each is stored once', async () => {
    const { records } = await braking(240);
    const applications = records.filter(({ record }) => record.kind === 'brake-application');
    expect(applications.map(({ record }) => Math.floor(record.startAt / 1000))).toEqual(
      Array.from({ length: 12 }, (_, n) => 20 * n),
    );
    // Told 1.5 s after its end, at the tick; then five seconds at most, and the second in which they are over.
    for (const { record, t } of applications) expect(t - record.endAt).toBeLessThanOrEqual(2500 + 5000 + 1000);
  });

  it('a start check goes at once, and the publisher hears of it', async () => {
    const { records, pokes } = await braking(240);
    const [check, ...more] = records.filter(({ record }) => record.kind === 'start-check');
    expect(more).toEqual([]);
    expect(check!.t).toBe(check!.record.endAt);
    expect(pokes()).toBe(1);
  });

  it('while the store cannot be written they wait: none is lost, none twice', async () => {
    const { records, it } = await braking(300, (s) => s > 30 && s < 250);
    const started = records.map(({ record }) => `${record.kind} ${Math.floor(record.startAt / 1000)}`);
    expect([...started].sort()).toEqual(
      [...Array.from({ length: 15 }, (_, n) => `brake-application ${20 * n}`), 'start-check 1'].sort(),
    );
    expect([it.droppedRows, MOST_RECORDS]).toEqual([0, 2000]);
  });
});

describe('numbers of events that the store could not take', () => {
  const draft = (alert: number, change: EventDraft['change'], cause: number | null = null): EventDraft => ({
    ...exampleDraft(),
    alert,
    change,
    cause,
  });

  it('count from 1 under an id of their own; an alert that the store knows keeps its id', () => {
    const volatile = new Volatile('T-1042', '~abc');
    const known = { seq: 7, store: 's', boot: 1, stored: true, alertId: 'T-1042.s.7', causeId: null, run: RUN, by: BY };
    volatile.learn([{ ...known, draft: draft(3, 'raised') }]);
    const numbered = volatile.number([draft(3, 'worse'), draft(4, 'raised', 3)], RUN, BY);
    expect(
      numbered.map(({ seq, store, stored, alertId, causeId }) => ({ seq, store, stored, alertId, causeId })),
    ).toEqual([
      { seq: 1, store: '~abc', stored: false, alertId: 'T-1042.s.7', causeId: null },
      { seq: 2, store: '~abc', stored: false, alertId: 'T-1042.~abc.2', causeId: 'T-1042.s.7' },
    ]);
  });

  it('a process has a random one that the message schema takes', () => {
    const ids = ['T-1', 'T-1'].map((truck) => new Volatile(truck).number([draft(1, 'raised')], RUN, BY)[0]!.store);
    expect(ids[0]).not.toBe(ids[1]);
    for (const id of ids) expect(id).toMatch(/^~[a-z0-9]{11}$/);
  });
});

describe('a seam in a recording', () => {
  it('moves the stamps of what comes after it, not of what is due before', () => {
    const runs: number[] = [];
    const live = new Session({
      config: truckOf(),
      resume: null,
      run: RUN,
      store: null,
      nowMs: () => 0,
      onEvents: (events) => runs.push(...events.map(({ run }) => run.zeroWallMs)),
    });
    const drive = (from: number, to: number, frame: Buffer): void => {
      for (let t = from; t < to; t += 250) {
        live.stepper.frame(t, 0, EEC1, RUNNING, 8);
        live.stepper.frame(t, 0, 0x18feca00, frame, 8);
      }
    };
    drive(0, 20_000, LAMP);
    expect(runs).toEqual([]);
    // The lamp is announced in the tick at 20 s (what may explain it is awaited until then), which the seam runs.
    live.seam(20_000, ZERO - 3_600_000);
    expect(runs).toEqual([ZERO]);
    drive(20_000, 60_000, Buffer.from('00FF00000000FFFF', 'hex'));
    expect(runs).toEqual([ZERO, ZERO - 3_600_000]);
  });
});
