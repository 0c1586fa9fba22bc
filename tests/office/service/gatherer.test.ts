import { describe, expect, test } from 'vitest';
import { type Incoming, newTruckState, type TruckKey } from '../../../office/core/model.js';
import { Gatherer } from '../../../office/service/gatherer.js';
import { type Batch, StoreError } from '../../../office/store/contract.js';
import { HandTimers } from '../../support/timers.js';

const truck = (name: string): TruckKey => ({ fleet: 'northline', truck: name });

/** Messages are told apart by the time at which they came; nothing else of them matters here. */
const message = (receivedMs: number): Incoming =>
  ({
    kind: 'gap',
    receivedMs,
    message: { v: 1, store: 'a', fromSeq: 0, toSeq: 0, what: '', count: 0, why: '' },
  }) as const;

/** Takes what it is given, unless told what to throw first. */
class Rig {
  readonly timers = new HandTimers();
  /** By truck, in the order in which it was stored. */
  readonly stored: string[] = [];
  readonly commits: string[][] = [];
  readonly troubles: (string | null)[] = [];
  readonly mistakes: string[] = [];
  refusals: ((batches: readonly Batch[]) => Error | null)[] = [];
  readonly gatherer = new Gatherer({
    clock: this.timers,
    store: {
      receive: async (batches) => {
        const refusal = this.refusals.shift()?.(batches) ?? null;
        if (refusal !== null) throw refusal;
        this.commits.push(batches.map(({ key, messages }) => `${key.truck}:${messages.length}`));
        for (const { key, messages } of batches) {
          for (const { receivedMs } of messages) this.stored.push(`${key.truck} ${receivedMs}`);
        }
        return batches.map(() => newTruckState());
      },
    },
    fold: (_, state) => ({ state, notices: [] }),
    stored: () => {},
    onTrouble: (line) => this.troubles.push(line),
    onMistake: (key) => this.mistakes.push(key.truck),
  });

  /** Lets all timers go off until nothing waits. */
  async run(): Promise<void> {
    while (this.timers.waiting.length > 0) {
      this.timers.fire();
      for (let i = 0; i < 10; i++) await Promise.resolve();
    }
  }
}

describe('messages of trucks', () => {
  test('that come within a moment are stored together, each truck its own in order', async () => {
    const rig = new Rig();
    for (let i = 1; i <= 3; i++) for (const name of ['T-1', 'T-2']) rig.gatherer.take(truck(name), message(i));
    expect(rig.timers.waiting).toEqual([50]);
    await rig.run();
    expect(rig.commits).toEqual([['T-1:3', 'T-2:3']]);
    expect(rig.stored).toEqual(['T-1 1', 'T-1 2', 'T-1 3', 'T-2 1', 'T-2 2', 'T-2 3']);
    expect(rig.gatherer.waiting).toBe(0);
  });

  test('of a truck that sends very many do not keep others waiting for long, and stay in order', async () => {
    const rig = new Rig();
    for (let i = 1; i <= 1_200; i++) void rig.gatherer.take(truck('T-1'), message(i));
    rig.gatherer.take(truck('T-2'), message(1));
    await rig.run();
    expect(rig.commits).toEqual([['T-1:500'], ['T-1:500'], ['T-1:200', 'T-2:1']]);
    expect(rig.stored.slice(0, 1_200)).toEqual(Array.from({ length: 1_200 }, (_, i) => `T-1 ${i + 1}`));
  });

  test('that a board shows now are stored before the kept events of trucks that came earlier, each truck still in order', async () => {
    const rig = new Rig();
    const now = (receivedMs: number): Incoming => ({ ...message(receivedMs), kind: 'open' }) as Incoming;
    for (let n = 0; n < 40; n++) {
      void rig.gatherer.take(truck(`T-${n}`), now(1));
      for (let i = 2; i <= 30; i++) void rig.gatherer.take(truck(`T-${n}`), message(i));
      void rig.gatherer.take(truck(`T-${n}`), now(31));
    }
    await rig.run();
    // 40 lists, and the room that they leave: 460 = 15 × 30 (with the last list) + 10.
    expect(rig.commits[0]).toHaveLength(40);
    expect(rig.commits[0]!.slice(0, 17)).toEqual([
      ...Array<string>(15)
        .fill('')
        .map((_, n) => `T-${n}:31`),
      'T-15:11',
      'T-16:1',
    ]);
    for (let n = 0; n < 40; n++) {
      const own = rig.stored.filter((line) => line.startsWith(`T-${n} `)).map((line) => Number(line.split(' ')[1]));
      expect(own).toEqual(Array.from({ length: 31 }, (_, i) => i + 1));
    }
    expect(rig.gatherer.waiting).toBe(0);
  });

  test('that are shown now leave room for events', async () => {
    const rig = new Rig();
    const now = (receivedMs: number): Incoming => ({ ...message(receivedMs), kind: 'presence' }) as Incoming;
    for (let i = 1; i <= 300; i++) void rig.gatherer.take(truck('T-kept'), message(i));
    for (let n = 0; n < 900; n++) void rig.gatherer.take(truck(`T-${n}`), now(1));
    await rig.run();
    const of = (commit: string[] | undefined) => commit?.find((batch) => batch.startsWith('T-kept'));
    expect(rig.commits.map(of)).toEqual(['T-kept:100', 'T-kept:100', 'T-kept:100']);
    expect(rig.commits.map((commit) => commit.length)).toEqual([401, 401, 101]);
  });

  test('that the store refuses are given to it again a second later, before what came meanwhile', async () => {
    const rig = new Rig();
    rig.refusals = [() => new StoreError('the disk is full'), () => new StoreError('the disk is full')];
    rig.gatherer.take(truck('T-1'), message(1));
    rig.timers.fire();
    for (let i = 0; i < 10; i++) await Promise.resolve();
    expect(rig.stored).toEqual([]);
    expect(rig.timers.waiting).toEqual([1_000]);
    rig.gatherer.take(truck('T-1'), message(2));
    rig.gatherer.take(truck('T-2'), message(3));
    await rig.run();
    expect(rig.stored).toEqual(['T-1 1', 'T-1 2', 'T-2 3']);
    expect(rig.troubles).toEqual(['the disk is full', 'the disk is full', null]);
  });

  test('that cannot be understood cost only themselves, and are told', async () => {
    const rig = new Rig();
    const bad = (batches: readonly Batch[]): Error | null =>
      batches.some(({ key }) => key.truck === 'T-2') ? new TypeError('a mistake of ours') : null;
    rig.refusals = [bad, bad, bad, bad];
    for (const name of ['T-1', 'T-2', 'T-3']) rig.gatherer.take(truck(name), message(1));
    await rig.run();
    expect(rig.stored).toEqual(['T-1 1', 'T-3 1']);
    expect(rig.mistakes).toEqual(['T-2']);
    expect(rig.gatherer.counts.leftOut).toBe(1);
  });

  test('nothing more is asked for while 5,000 wait, until half of them are stored', async () => {
    const rig = new Rig();
    for (let i = 1; i < 5_000; i++) expect(rig.gatherer.take(truck('T-1'), message(i))).toBeUndefined();
    const held = rig.gatherer.take(truck('T-1'), message(5_000));
    expect(held).toBeInstanceOf(Promise);
    let isFree = false;
    void Promise.resolve(held).then(() => {
      isFree = true;
    });
    for (let i = 0; i < 5; i++) {
      expect(isFree).toBe(false);
      rig.timers.fire();
      for (let k = 0; k < 20; k++) await Promise.resolve();
    }
    expect(rig.gatherer.waiting).toBe(2_500);
    rig.timers.fire();
    for (let k = 0; k < 20; k++) await Promise.resolve();
    expect(isFree).toBe(true);
  });

  test('a truck is looked at again without any, in the same way', async () => {
    const rig = new Rig();
    rig.gatherer.nudge(truck('T-1'));
    rig.gatherer.nudge(truck('T-1'));
    await rig.run();
    expect(rig.commits).toEqual([['T-1:0']]);
    await rig.gatherer.drained();
  });

  test('whoever waits for all of it to be stored goes on when it is, or when the store refuses', async () => {
    const rig = new Rig();
    rig.refusals = [() => new StoreError('away')];
    rig.gatherer.take(truck('T-1'), message(1));
    const drained = rig.gatherer.drained();
    rig.timers.fire();
    await drained;
    expect(rig.gatherer.waiting).toBe(1);
    await rig.run();
    await rig.gatherer.drained();
    expect(rig.stored).toEqual(['T-1 1']);
  });
});
