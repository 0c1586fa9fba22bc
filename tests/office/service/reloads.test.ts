import { describe, expect, test } from 'vitest';
import { newTruckState, type TruckKey, type TruckState } from '../../../office/core/model.js';
import { Reloads } from '../../../office/service/reloads.js';
import { StoreError } from '../../../office/store/contract.js';
import { printedSeed } from '../../support/seed.js';
import { HandTimers } from '../../support/timers.js';
import { seeded } from '../store/random.js';

const keyOf = (n: number): TruckKey => ({ fleet: 'northline', truck: `T-${n}` });
const stateOf = (revision: number): TruckState => ({ ...newTruckState(), revision });
const settled = async () => {
  for (let i = 0; i < 20; i++) await Promise.resolve();
};

/** A store whose rows another office writes, and a board. A reading takes the rows when it begins, and gives them when it is let go. */
class Rig {
  readonly timers = new HandTimers();
  readonly rows = new Map<string, number>();
  readonly board = new Map<string, number>();
  /** Names of trucks, by reading. */
  readonly readings: string[][] = [];
  readonly notes: (string | null)[] = [];
  readonly waiting: (() => void)[] = [];
  /** Readings wait until they are let go. */
  isSlow = false;
  isAway = false;
  readonly reloads = new Reloads({
    store: { trucksOf: (keys) => this.#trucksOf(keys) },
    clock: this.timers,
    known: ({ truck }) => this.board.get(truck) ?? -1,
    loaded: ({ truck }, { revision }) => {
      // As the board has it: the newer wins.
      this.board.set(truck, Math.max(this.board.get(truck) ?? -1, revision));
    },
    onTrouble: (line) => this.notes.push(line),
  });

  async #trucksOf(keys: readonly TruckKey[]): Promise<{ key: TruckKey; state: TruckState }[]> {
    this.readings.push(keys.map(({ truck }) => truck));
    const found = keys.map((key) => ({ key, state: stateOf(this.rows.get(key.truck) ?? 0) }));
    if (this.isSlow) await new Promise<void>((resolve) => this.waiting.push(resolve));
    if (this.isAway) throw new StoreError('the server is away');
    return found;
  }

  /** The other office has written a row, and says so. */
  write(n: number): void {
    const { truck } = keyOf(n);
    this.rows.set(truck, (this.rows.get(truck) ?? 0) + 1);
    this.reloads.take(keyOf(n), this.rows.get(truck)!);
  }

  async pass(ms: number): Promise<void> {
    for (let passed = 0; passed < ms; passed += 50) {
      this.timers.pass(50);
      await settled();
    }
  }
}

describe('rows that another office has changed', () => {
  test('are read many together, each once however often it was changed', async () => {
    const rig = new Rig();
    for (let round = 0; round < 30; round++) for (let n = 0; n < 500; n++) rig.write(n);
    await rig.pass(1_000);
    expect(rig.readings.map((names) => names.length)).toEqual([200, 200, 100]);
    expect(new Set(rig.readings.flat()).size).toBe(500);
    expect(rig.board).toEqual(rig.rows);
    expect(rig.reloads.counts).toEqual({ told: 15_000, read: 500, readings: 3 });
  });

  test('one reading at a time, and at most ten in a second', async () => {
    const rig = new Rig();
    for (let ms = 0; ms < 2_000; ms += 50) {
      rig.write(ms % 7);
      await rig.pass(50);
    }
    expect(rig.readings.length).toBeGreaterThan(15);
    expect(rig.readings.length).toBeLessThanOrEqual(20);
    rig.isSlow = true;
    rig.write(1);
    await rig.pass(200);
    const before = rig.readings.length;
    rig.write(2);
    await rig.pass(1_000);
    expect(rig.readings).toHaveLength(before);
    rig.isSlow = false;
    for (const go of rig.waiting.splice(0)) go();
    await rig.pass(200);
    expect(rig.readings).toHaveLength(before + 1);
  });

  test('are not read where a row of our own has overtaken them', async () => {
    const rig = new Rig();
    rig.write(1);
    rig.write(2);
    rig.board.set('T-1', 5);
    await rig.pass(500);
    expect(rig.readings).toEqual([['T-2']]);
    rig.write(1);
    rig.board.set('T-1', 1);
    await rig.pass(500);
    expect(rig.readings).toEqual([['T-2'], ['T-1']]);
  });

  test('are read again when they change while they are read', async () => {
    const rig = new Rig();
    rig.isSlow = true;
    rig.write(1);
    await rig.pass(150);
    rig.write(1);
    rig.isSlow = false;
    for (const go of rig.waiting.splice(0)) go();
    await settled();
    expect(rig.board.get('T-1')).toBe(1);
    await rig.pass(150);
    expect(rig.board.get('T-1')).toBe(2);
  });

  test('are read when the store is there again, in their newest state, and it is told meanwhile', async () => {
    const rig = new Rig();
    rig.isAway = true;
    rig.write(1);
    await rig.pass(100);
    rig.write(1);
    await rig.pass(5_000);
    expect(rig.notes).toEqual(Array(rig.readings.length).fill('the server is away'));
    expect(rig.readings.length).toBeLessThanOrEqual(6);
    rig.isAway = false;
    await rig.pass(1_100);
    expect(rig.notes.at(-1)).toBeNull();
    expect(rig.board.get('T-1')).toBe(2);
    await rig.pass(5_000);
    expect(rig.notes.filter((line) => line === null)).toHaveLength(1);
  });

  test('are not read after the end', async () => {
    const rig = new Rig();
    rig.write(1);
    rig.reloads.close();
    rig.write(2);
    await rig.pass(1_000);
    expect(rig.readings).toEqual([]);
  });

  test('whatever comes when, the board has the newest of all in the end', async () => {
    const random = seeded(printedSeed('reloads'));
    for (let round = 0; round < 20; round++) {
      const rig = new Rig();
      for (let act = 0; act < 300; act++) {
        const n = Math.floor(random() * 40);
        const { truck } = keyOf(n);
        const chance = random();
        if (chance < 0.6) rig.write(n);
        // This office writes a row itself: it follows from the newest.
        else if (chance < 0.75) {
          rig.rows.set(truck, (rig.rows.get(truck) ?? 0) + 1);
          rig.board.set(truck, rig.rows.get(truck)!);
        } else if (chance < 0.85) rig.isSlow = !rig.isSlow;
        else if (chance < 0.9) rig.isAway = !rig.isAway;
        if (chance < 0.5) for (const go of rig.waiting.splice(0)) go();
        if (random() < 0.3) await rig.pass(50);
      }
      rig.isSlow = rig.isAway = false;
      for (const go of rig.waiting.splice(0)) go();
      await rig.pass(3_000);
      expect(rig.board).toEqual(rig.rows);
    }
  });
});
