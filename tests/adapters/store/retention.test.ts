import { statSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { ENDED_ALERTS } from '../../../adapters/store/age.js';
import type { RunInfo } from '../../../adapters/store/contract.js';
import type { StoreDatabase } from '../../../adapters/store/database.js';
import { CHUNK_ROWS } from '../../../adapters/store/sizes.js';
import type { EventDraft } from '../../../daemon/alerts/event.js';
import {
  commit,
  DAY_MS,
  draft,
  HOUR_MS,
  historyRow,
  MINUTE_MS,
  minute,
  openDatabase,
  optionsIn,
  tempDir,
  trip,
  ZERO_MS,
} from './helpers.js';

function count(db: StoreDatabase, table: string): number {
  return Number(db.connection.prepare(`SELECT count(*) FROM ${table}`).pluck().get());
}

function commitAndKeep(db: StoreDatabase, t: number, more = {}): void {
  // Thousands of commits: what a power cut would do is no matter here.
  db.connection.pragma('synchronous = OFF');
  db.commit([commit({ t, ...more })]);
  db.maintain();
}

describe('history by size', () => {
  const MAX_BYTES = 1024 * 1024;
  const SERIES = 300;

  test('the file stays within maxBytes and history within about half of it, the oldest going first', () => {
    const options = optionsIn(tempDir(), { maxBytes: MAX_BYTES });
    const db = openDatabase(options);
    let largest = 0;
    let used = 0;
    const minutes = 300;
    for (let n = 0; n < minutes; n++) {
      commitAndKeep(db, n * MINUTE_MS, {
        history: minute(n * MINUTE_MS, SERIES),
        state: JSON.stringify('x'.repeat(5_000)),
      });
      largest = Math.max(largest, statSync(options.path).size);
      if (n > 200) used = Math.max(used, usedBytes(db));
    }
    expect(largest).toBeLessThanOrEqual(MAX_BYTES);
    // Half, what one minute brings, and the pages of the other tables.
    expect(used).toBeLessThan(0.6 * MAX_BYTES);
    const kept = db.connection.prepare('SELECT min(t) AS first, max(t) AS last, count(*) AS n FROM history').get() as {
      first: number;
      last: number;
      n: number;
    };
    expect(kept.last).toBe((minutes - 1) * MINUTE_MS);
    // No hole: from the first minute kept to the last, all rows of each (but of the first, cut amid).
    const whole = (kept.last - kept.first) / MINUTE_MS;
    expect(kept.n).toBeGreaterThanOrEqual(whole * SERIES);
    expect(kept.n).toBeLessThanOrEqual((whole + 1) * SERIES);
    // A row of nine columns takes 25 to 50 bytes: half a megabyte holds at least 10,000, and the oldest go a chunk at a time.
    expect(kept.n).toBeGreaterThan(10_000 - CHUNK_ROWS);
    expect(db.stats().retentionFailures).toBe(0);
  });

  test('when maxBytes was lowered the file shrinks to it, a piece with every commit', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    for (let n = 0; n < 100; n++) first.commit([commit({ history: minute(n * MINUTE_MS, 500) })]);
    first.close();
    expect(statSync(options.path).size).toBeGreaterThan(MAX_BYTES);
    const second = openDatabase({ ...options, maxBytes: MAX_BYTES });
    for (let n = 0; n < 40; n++) commitAndKeep(second, n * MINUTE_MS, { history: minute(n * MINUTE_MS, 10) });
    second.close();
    expect(statSync(options.path).size).toBeLessThanOrEqual(MAX_BYTES);
  });

  test('it is looked at once a minute of stream time', () => {
    const db = openDatabase(optionsIn(tempDir(), { maxBytes: MAX_BYTES }));
    commitAndKeep(db, 0);
    for (let n = 0; n < 59; n++) commitAndKeep(db, n * 1000, { history: minute(n * MINUTE_MS, 300) });
    expect(count(db, 'history')).toBe(59 * 300);
    commitAndKeep(db, 60_000);
    expect(count(db, 'history')).toBeLessThan(59 * 300);
  });
});

function usedBytes(db: StoreDatabase): number {
  const pragma = (name: string): number => Number(db.connection.pragma(name, { simple: true }));
  return (pragma('page_count') - pragma('freelist_count')) * pragma('page_size');
}

describe('retention by age', () => {
  const KEEP = { keepMs: 10 * DAY_MS };
  const old: RunInfo = { zeroWallMs: ZERO_MS, synced: true };

  /** Five days of history, one row an hour, in a run of its own, and a trip and an ended alert a day. */
  function withOldRun(run: RunInfo, confirmed: boolean): ReturnType<typeof optionsIn> {
    const options = optionsIn(tempDir(), { ...KEEP, run });
    const db = openDatabase(options);
    const commits = [];
    for (let hour = 0; hour < 120; hour++) {
      const t = hour * HOUR_MS;
      const events: EventDraft[] =
        hour % 24 === 0 ? [draft(hour + 1, 'raised', { t }), draft(hour + 1, 'cleared', { t })] : [];
      const ended = hour % 24 === 0 ? trip(hour, { startAt: t, endAt: t }) : null;
      commits.push(commit({ t, history: [historyRow(t)], events, trip: ended }));
    }
    db.commit(commits);
    if (confirmed) {
      db.confirm(10);
      for (const { boot, record } of db.trips(10)) db.confirmTrip({ boot, trip: record.trip });
    }
    db.close();
    return options;
  }

  /** A run that begins `days` after the old one; commits every minute for so many hours. */
  function runHours(db: StoreDatabase, hours: number, from = 0): void {
    for (let n = from * 60; n <= (from + hours) * 60; n++) commitAndKeep(db, n * MINUTE_MS);
  }

  test('nothing within the first hour, then at most a day of rows an hour, oldest first', () => {
    const options = withOldRun(old, true);
    const db = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 30 * DAY_MS, synced: true } });
    runHours(db, 0.98);
    expect(count(db, 'history')).toBe(120);
    runHours(db, 0.5, 1);
    expect(count(db, 'history')).toBe(96);
    expect([count(db, 'trips'), count(db, 'alerts'), count(db, 'events')]).toEqual([4, 4, 8]);
    expect(db.connection.prepare('SELECT min(t) FROM history').pluck().get()).toBe(24 * HOUR_MS);
    runHours(db, 0.5, 1.5);
    runHours(db, 0.2, 2);
    expect(count(db, 'history')).toBe(72);
    runHours(db, 5, 2.2);
    expect([count(db, 'history'), count(db, 'trips'), count(db, 'alerts'), count(db, 'events')]).toEqual([0, 0, 0, 0]);
    // Numbers go on all the same.
    expect(db.commit([commit({ events: [draft(1, 'raised')] })])[0]?.[0]?.seq).toBe(11);
  });

  test('rows younger than keepMs stay', () => {
    const options = withOldRun(old, true);
    const db = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 12 * DAY_MS, synced: true } });
    runHours(db, 8);
    // At 12 days and 8 hours, those of the first 2 days and some hours are older than 10 days.
    const oldest = Number(db.connection.prepare('SELECT min(t) FROM history').pluck().get());
    expect(oldest).toBeGreaterThan(2 * DAY_MS);
    expect(oldest).toBeLessThanOrEqual(2 * DAY_MS + 9 * HOUR_MS);
  });

  test.each([
    { name: 'the present run is not synced', earlier: old, now: false, confirmed: true, kept: [120, 5, 5] },
    {
      name: 'the rows have no calendar time',
      earlier: { ...old, synced: false },
      now: true,
      confirmed: true,
      kept: [120, 5, 5],
    },
    {
      name: 'events and trips have not been received: alerts and trips stay, the rest goes',
      earlier: old,
      now: true,
      confirmed: false,
      kept: [0, 5, 5],
    },
  ])('$name', ({ earlier, now, confirmed, kept }) => {
    const options = withOldRun(earlier, confirmed);
    const db = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 30 * DAY_MS, synced: now } });
    runHours(db, 8);
    expect([count(db, 'history'), count(db, 'trips'), count(db, 'alerts')]).toEqual(kept);
  });

  test('the hour begins when the clock is synced', () => {
    const options = withOldRun(old, true);
    const db = openDatabase({ ...options, run: { zeroWallMs: 0, synced: false } });
    runHours(db, 3);
    db.clock({ zeroWallMs: ZERO_MS + 30 * DAY_MS, synced: true });
    runHours(db, 0.9, 3.1);
    expect(count(db, 'history')).toBe(120);
    runHours(db, 0.5, 4.2);
    expect(count(db, 'history')).toBe(96);
  });

  test('an open alert stays however old it is', () => {
    const options = optionsIn(tempDir(), { ...KEEP, run: old });
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')] })]);
    first.confirm(1);
    first.close();
    const second = openDatabase({ ...options, run: { zeroWallMs: ZERO_MS + 30 * DAY_MS, synced: true } });
    runHours(second, 5);
    expect([count(second, 'alerts'), count(second, 'events')]).toEqual([1, 1]);
  });
});

describe('thinning of alerts', () => {
  const MAX_BYTES = 512 * 1024;

  /** An alert with `events` events of about 1 KB each, ended. */
  function life(alert: number, urgency: EventDraft['urgency'], events: number): EventDraft[] {
    return Array.from({ length: events }, (_, n) =>
      draft(alert, n === 0 ? 'raised' : n === events - 1 ? 'cleared' : n % 2 ? 'unsure' : 'sure', {
        urgency,
        advice: 'x'.repeat(700),
      }),
    );
  }

  function counts(db: StoreDatabase): Record<string, number> {
    const rows = db.connection.prepare('SELECT worst, sum(events) AS n FROM alerts GROUP BY worst').all() as {
      worst: string;
      n: number;
    }[];
    expect(count(db, 'events')).toBe(rows.reduce((sum, row) => sum + row.n, 0));
    return Object.fromEntries(rows.map((row) => [row.worst, row.n]));
  }

  test('ended plan alerts first, to first and last, with one gap record; open ones and pull-over stay', () => {
    const db = openDatabase(optionsIn(tempDir(), { maxBytes: MAX_BYTES }));
    db.commit([
      commit({
        events: [
          ...life(1, 'pull-over', 20),
          ...life(2, 'next-stop', 20),
          ...life(3, 'plan', 150),
          ...life(4, 'plan', 60),
        ],
      }),
    ]);
    db.commit([commit({ events: life(5, 'plan', 20).slice(0, -1) })]);
    for (let n = 1; n < 9; n++) commitAndKeep(db, n * MINUTE_MS);
    expect(counts(db)).toEqual({ 'pull-over': 20, 'next-stop': 20, plan: 2 + 2 + 19 });
    expect(db.gaps()).toEqual([
      {
        fromSeq: 42,
        toSeq: 249,
        what: 'events of ended plan alerts between first and last',
        count: 206,
        why: 'no room',
      },
    ]);
    const left = db.outbox(0, 999).map((e) => e.seq);
    expect(left).toHaveLength(63);
    expect(left.filter((seq) => seq > 40).slice(0, 4)).toEqual([41, 190, 191, 250]);
  });

  test('then ended next-stop alerts; a gap that was told leaves, one that has grown stays', () => {
    const db = openDatabase(optionsIn(tempDir(), { maxBytes: MAX_BYTES }));
    let t = 0;
    const bring = (events: EventDraft[]): void => {
      db.commit([commit({ t, events })]);
      for (let n = 0; n < 5; n++) {
        t += MINUTE_MS;
        commitAndKeep(db, t);
      }
    };
    bring([...life(1, 'plan', 20), ...life(2, 'next-stop', 200), ...life(3, 'pull-over', 30)]);
    expect(counts(db)).toEqual({ plan: 2, 'next-stop': 2, 'pull-over': 30 });
    const [nextStop, plan] = db.gaps().sort((a, b) => b.fromSeq - a.fromSeq);
    expect([plan?.count, nextStop?.count]).toEqual([18, 198]);
    bring(life(4, 'next-stop', 220));
    db.confirmGap(nextStop!);
    db.confirmGap(plan!);
    expect(db.gaps()).toMatchObject([{ fromSeq: nextStop!.fromSeq, count: 198 + 218 }]);
  });

  test('pull-over alerts are never thinned: when they fill everything the store is full, and no number is lost', () => {
    const db = openDatabase(optionsIn(tempDir(), { maxBytes: MAX_BYTES }));
    const numbers: number[] = [];
    let code: unknown = null;
    for (let n = 1; code === null && n < 100; n++) {
      try {
        numbers.push(
          ...(db.commit([commit({ t: n * MINUTE_MS, events: life(n, 'pull-over', 10) })])[0] ?? []).map((e) => e.seq),
        );
      } catch (error) {
        code = (error as { code: string }).code;
      }
      db.maintain();
    }
    expect(code).toBe('store-full');
    expect(db.outbox(0, 1000).map((e) => e.seq)).toEqual(numbers);
    expect(numbers.length).toBeGreaterThan(250);
    expect(db.gaps()).toEqual([]);
  });
});

describe('with very many events waiting', () => {
  test('the look at ended alerts goes by the events of each, not by all that waits', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const steps = db.connection.prepare(`EXPLAIN QUERY PLAN ${ENDED_ALERTS}`).all() as { detail: string }[];
    // With 90,000 waiting the other order took minutes, each hour.
    expect(steps.map(({ detail }) => detail)).toContain('SEARCH o USING PRIMARY KEY (kind=? AND seq=?)');
  });
});
