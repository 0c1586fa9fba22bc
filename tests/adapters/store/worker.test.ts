import { writeFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import type { Store, StoreOptions } from '../../../adapters/store/contract.js';
import { MAX_PENDING, openStore } from '../../../adapters/store/store.js';
import { workerFile } from '../../../adapters/store/worker-file.js';
import {
  BY,
  commit,
  draft,
  minute,
  openAlert,
  openDraft,
  optionsIn,
  startCheck,
  tempDir,
  trip,
  ZERO_MS,
} from './helpers.js';

/** The store as the daemon has it: a worker thread from dist/. */
async function withStore(options: StoreOptions, use: (store: Store) => Promise<void>): Promise<void> {
  const store = await openStore(options);
  try {
    await use(store);
  } finally {
    await store.close();
  }
}

async function codeOf(promise: Promise<unknown>): Promise<string | null> {
  try {
    await promise;
    return null;
  } catch (error) {
    expect(error).toBeInstanceOf(Error);
    return (error as { code: string }).code;
  }
}

describe('the store in its worker', () => {
  test('every method over the thread border', async () => {
    const options = optionsIn(tempDir(), { run: { zeroWallMs: 0, synced: false } });
    await withStore(options, async (store) => {
      expect(store.opened).toMatchObject({ boot: 1, lastSeq: 0, restored: null, notes: [] });
      const open = openDraft([openAlert(1)]);
      const events = await store.commit(
        commit({ events: [draft(1, 'raised')], open, state: '{}', history: minute(0, 3) }),
      );
      await store.clock({ zeroWallMs: ZERO_MS, synced: true });
      const run = { zeroWallMs: ZERO_MS, synced: true };
      expect(await store.outbox(0, 10)).toEqual(events.map((event) => ({ ...event, run })));
      expect(await store.open()).toMatchObject({ asOf: 1, alertIds: [events[0]?.alertId], run });
      expect(await store.gaps()).toEqual([]);
      await store.confirmGap({ fromSeq: 1, toSeq: 1, what: '', count: 1, why: '' });
      await store.commit(commit({ trip: trip(4) }));
      expect(await store.trips(10)).toMatchObject([{ boot: 1, record: trip(4), by: BY, run }]);
      expect((await store.stats()).trips).toBe(1);
      await store.confirmTrip({ boot: 1, trip: 4 });
      expect(await store.trips(10)).toEqual([]);
      await store.commit(commit({ records: [startCheck(4)] }));
      expect(await store.checks(10)).toMatchObject([{ boot: 1, record: startCheck(4), by: BY, run }]);
      await store.confirmCheck({ boot: 1, trip: 4 });
      expect(await store.checks(10)).toEqual([]);
      expect(await store.ordinals([events[0]!.alertId, 'T-1042.other.1'])).toEqual([1, null]);
      await store.confirm(1);
      expect(await store.stats()).toMatchObject({
        outbox: 0,
        oldestSeq: null,
        commits: 3,
        droppedRows: 0,
        retentionFailures: 0,
      });
    });
    await withStore(options, async (store) => {
      expect(store.opened).toMatchObject({ boot: 2, lastSeq: 1, restored: { state: '{}', t: 60_000 } });
    });
  });

  test('answers come in the order of the calls, and commits that wait are counted', async () => {
    await withStore(optionsIn(tempDir()), async (store) => {
      const order: number[] = [];
      const calls: Promise<unknown>[] = [];
      for (let n = 0; n < 300; n++) {
        const call =
          n % 7 === 3
            ? store.outbox(0, 1)
            : n % 7 === 5
              ? store.stats()
              : store.commit(commit({ t: n, events: [draft(n, 'raised')] }));
        calls.push(call.then(() => order.push(n)));
      }
      expect(store.pending).toBe(300 - 43 - 43);
      await Promise.all(calls);
      expect(store.pending).toBe(0);
      expect(order).toEqual(Array.from({ length: 300 }, (_, n) => n));
      expect((await store.stats()).commits).toBe(214);
      expect((await store.outbox(0, 1000)).map((e) => e.draft.t)).toHaveLength(214);
    });
  });

  test('a read between two commits sees the first and not the second', async () => {
    await withStore(optionsIn(tempDir()), async (store) => {
      const [, between] = await Promise.all([
        store.commit(commit({ events: [draft(1, 'raised')] })),
        store.outbox(0, 10),
        store.commit(commit({ events: [draft(2, 'raised')] })),
      ]);
      expect(between.map((e) => e.draft.alert)).toEqual([1]);
    });
  });

  test('among commits written together, one that cannot be stored fails alone and takes no number', async () => {
    await withStore(optionsIn(tempDir()), async (store) => {
      const bad = { ...draft(2, 'raised'), rule: null as unknown as 'air-low' };
      const results = await Promise.allSettled([
        store.commit(commit({ events: [draft(1, 'raised')] })),
        store.commit(commit({ events: [bad] })),
        store.commit(commit({ events: [draft(3, 'raised')] })),
      ]);
      expect(
        results.map((result) => (result.status === 'fulfilled' ? result.value[0]?.seq : result.reason.code)),
      ).toEqual([1, 'store-bug', 2]);
    });
  });

  test('close does what was called before, and everything after it is refused; twice is once', async () => {
    const options = optionsIn(tempDir());
    const store = await openStore(options);
    const before = store.commit(commit({ events: [draft(1, 'raised')] }));
    const closing = store.close();
    expect(store.close()).toBe(closing);
    expect(await codeOf(store.commit(commit()))).toBe('store-closed');
    expect((await before)[0]?.seq).toBe(1);
    await closing;
    expect(await codeOf(store.stats())).toBe('store-closed');
    await withStore(options, async (again) => expect(again.opened.lastSeq).toBe(1));
  });

  test('more calls than may wait are refused, and the others are done', async () => {
    await withStore(optionsIn(tempDir()), async (store) => {
      const calls = Array.from({ length: MAX_PENDING + 3 }, (_, n) => codeOf(store.commit(commit({ t: n }))));
      const codes = await Promise.all(calls);
      expect(codes.filter((code) => code === null)).toHaveLength(MAX_PENDING);
      expect(codes.slice(-3)).toEqual(['store-behind', 'store-behind', 'store-behind']);
    });
  });

  test('errors of opening carry their code, and leave no thread behind', async () => {
    const options = optionsIn(tempDir());
    writeFileSync(options.path, '');
    expect(await codeOf(openStore({ ...options, mustBeNew: true }))).toBe('store-exists');
    expect(await codeOf(openStore({ ...options, path: `${options.path}/no/where.db` }))).toBe('store-io');
  });

  test('opened changes when the file has to be replaced while in use', async () => {
    const options = optionsIn(tempDir());
    await withStore(options, async (store) => {
      const before = store.opened;
      await store.commit(commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]) }));
      writeFileSync(`${options.path}.other`, 'x');
      const { renameSync } = await import('node:fs');
      renameSync(`${options.path}.other`, options.path);
      const [event] = await store.commit(commit({ events: [draft(1, 'worse')] }));
      expect(store.opened.store).not.toBe(before.store);
      expect(store.opened.notes).toHaveLength(1);
      expect(event).toMatchObject({ store: store.opened.store, seq: 2 });
    });
  });
});

describe('where the worker lies', () => {
  test('under dist/, for sources and for the bundled command line', () => {
    expect(workerFile('store')).toMatch(/\/dist\/workers\/store\.js$/);
    expect(() => workerFile('nothing')).toThrow(/npm run build/);
  });
});
