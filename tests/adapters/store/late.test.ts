import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe, expect, test, vi } from 'vitest';
import type { StoreOptions } from '../../../adapters/store/contract.js';
import { LateDatabase } from '../../../adapters/store/late.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { codeOf, commit, draft, openAlert, openDatabase, openDraft, optionsIn, tempDir } from './helpers.js';

afterEach(() => {
  vi.restoreAllMocks();
});

/** Five seconds later nobody need wait for. */
function later(): void {
  const now = performance.now();
  vi.spyOn(performance, 'now').mockReturnValue(now + 6_000);
}

/** What another program's transaction keeps closed; `end` lets go. */
function heldBy(options: StoreOptions): { end(): void } {
  const other = new Database(options.path);
  other.exec('BEGIN IMMEDIATE');
  return { end: () => void other.exec('ROLLBACK').close() };
}

describe('a database that cannot be opened at the start', () => {
  test('without mayWait that is an error, and so is a path that is wrong', () => {
    const options = optionsIn(tempDir());
    expect(
      codeOf(() => new LateDatabase({ ...options, path: join(options.path, 'missing', 'x.db'), mayWait: true })),
    ).toBe('store-io');
    mkdirSync(options.path);
    expect(codeOf(() => new LateDatabase({ ...options, mayWait: true }))).toBe('store-io');
    expect(codeOf(() => new LateDatabase(options))).toBe('store-io');
  });

  test('a newer one is left as it is and waited for: run goes on without a store', () => {
    const options = optionsIn(tempDir(), { mayWait: true });
    openDatabase(options).close();
    const db = new Database(options.path);
    db.pragma('user_version = 999');
    db.close();
    const late = new LateDatabase(options);
    expect(late.isOpen).toBe(false);
    expect(late.opened).toMatchObject({ store: expect.stringMatching(/^~/), lastSeq: 0, restored: null });
    expect(late.opened.notes[0]).toMatch(/schema version 999/);
  });

  test('its state is read, commits are refused, and when it opens its alerts are known', { timeout: 60_000 }, () => {
    const options = optionsIn(tempDir(), { mayWait: true });
    const first = new LateDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '{"n":1}' })]);
    first.close();
    const held = heldBy(options);
    const late = new LateDatabase(options);
    expect(late.opened).toMatchObject({ store: expect.stringMatching(/^~/), boot: 2, restored: { state: '{"n":1}' } });
    expect(late.open()?.alertIds).toEqual([`T-1042.${first.opened.store}.1`]);
    const next = commit({ t: 61_000, events: [draft(1, 'worse')], open: openDraft([openAlert(1)]) });
    expect(codeOf(() => late.commit([next]))).toBe('store-busy');
    held.end();
    later();
    expect(late.commit([next])[0]).toMatchObject([{ seq: 2, alertId: `T-1042.${first.opened.store}.1` }]);
    expect(late.opened).toMatchObject({ store: first.opened.store, boot: 2 });
    late.close();
  });

  test('what was read was not the last of it: its ordinals lead to no alert of the running rules', {
    timeout: 60_000,
  }, () => {
    const options = optionsIn(tempDir(), { mayWait: true });
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '{"n":1}' })]);
    first.connection.pragma('wal_checkpoint(TRUNCATE)');
    // In the log only, which cannot be read while it is held.
    first.commit([
      commit({ events: [draft(2, 'raised')], open: openDraft([openAlert(1), openAlert(2)]), state: '{"n":2}' }),
    ]);
    const held = heldBy(options);
    const late = new LateDatabase(options);
    expect(late.opened.restored?.state).toBe('{"n":1}');
    held.end();
    later();
    const [events = []] = late.commit([
      commit({ t: 9_000, events: [draft(2, 'raised')], open: openDraft([openAlert(1), openAlert(2)]) }),
    ]);
    expect(events.map(({ seq, draft: { alert, change } }) => [seq, alert, change])).toEqual([
      [3, 1, 'raised'],
      [4, 2, 'raised'],
    ]);
    const states = late.database.connection.prepare('SELECT seq, state FROM alerts ORDER BY seq').raw().all();
    expect(states).toEqual([
      [1, 'lost'],
      [2, 'lost'],
      [3, 'open'],
      [4, 'open'],
    ]);
    late.close();
  });
});
