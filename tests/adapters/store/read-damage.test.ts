import { closeSync, mkdtempSync, openSync, readFileSync, rmSync, statSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { StoreDatabase } from '../../../adapters/store/database.js';
import type { StoreError } from '../../../adapters/store/errors.js';
import { alertsOf, draftsOf, eventsOf } from '../../../adapters/store/read-alerts.js';
import { readingsOf, recordsOf, tripsOf } from '../../../adapters/store/read-history.js';
import { from, type Key, pagesOf } from '../../../adapters/store/read-pages.js';
import { EVERYTHING, StoreReader } from '../../../adapters/store/reader.js';
import { lookAt, plainSql, pulled } from './files.js';
import { brakeApplication, commit, draft, MINUTE_MS, minute, optionsIn, seeded, tempDir, trip } from './helpers.js';

const PAGE = 4096;
const MINUTES = 400;

let sound = '';
const readers: StoreReader[] = [];

/** Some hundred pages: minutes of 20 series, an event and a record each few minutes. */
beforeAll(() => {
  const options = optionsIn(mkdtempSync(join(tmpdir(), 'axlepost-damage-')));
  const db = new StoreDatabase(options);
  const commits = Array.from({ length: MINUTES }, (_, n) => {
    const t = n * MINUTE_MS;
    const events = n % 5 === 0 ? [draft(1 + n, 'raised', { t, advice: `${n}`.padEnd(1_500, '.') })] : [];
    const records = n % 3 === 0 ? [{ ...brakeApplication(), startAt: t, endAt: t + 4_000 }] : [];
    return commit({ t, events, history: minute(t, 20), records, trip: n % 100 === 0 ? trip(n) : null });
  });
  db.commit(commits);
  db.close();
  sound = options.path;
});
afterAll(() => rmSync(join(sound, '..'), { recursive: true, force: true }));
afterEach(() => {
  for (const reader of readers.splice(0)) reader.close();
});

function overwrite(path: string, page: number, bytes: Buffer): void {
  const handle = openSync(path, 'r+');
  writeSync(handle, bytes, 0, bytes.length, (page - 1) * PAGE);
  closeSync(handle);
}

interface Content {
  rows: Record<string, string[]>;
  problems: string[];
}

function contentOf(path: string): Content {
  const reader = new StoreReader(path);
  readers.push(reader);
  const all = (pages: Generator<object[]>): string[] => [...pages].flat().map((row) => JSON.stringify(row));
  const rows = {
    alerts: all(alertsOf(reader, EVERYTHING)),
    events: all(eventsOf(reader, EVERYTHING)),
    drafts: all(draftsOf(reader, EVERYTHING)),
    readings: all(readingsOf(reader, EVERYTHING)),
    records: all(recordsOf(reader, 'brake_applications', EVERYTHING)),
    trips: all(tripsOf(reader, EVERYTHING)),
  };
  return { rows, problems: [...reader.problems] };
}

/** Pages of one table or index. */
const pagesNamed = (name: string): number[] =>
  plainSql(sound, "SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY path", name).map(
    ({ pageno }) => Number(pageno),
  );

describe('a damaged file', () => {
  test('readings around a bad page are read, and what is missing is told by its time', () => {
    const leaves = pagesNamed('history');
    expect(leaves.length).toBeGreaterThan(20);
    const path = pulled(sound, tempDir());
    overwrite(path, leaves[10]!, Buffer.alloc(PAGE, 0x5a));
    const before = lookAt(join(path, '..'));
    const whole = contentOf(sound).rows.readings!;
    const { rows, problems } = contentOf(path);
    const [left, missing] = parted(whole, rows.readings!);
    // No more than what stood on that page, and the rest of the minutes that it shares with its neighbours.
    expect(missing.length).toBeGreaterThan(50);
    expect(missing.length).toBeLessThan(PAGE / 20 + 40);
    expect(rows.readings).toEqual(left);
    expect(problems).toHaveLength(1);
    const [, low, high] = /readings of start 1: what lies between (\S+) and (\S+) cannot be read/.exec(problems[0]!)!;
    for (const row of missing) {
      const { at } = JSON.parse(row) as { at: string };
      expect(at >= low! && at <= high!).toBe(true);
    }
    expect(lookAt(join(path, '..'))).toEqual(before);
  });

  test('its last page: everything before it is read', () => {
    const path = pulled(sound, tempDir());
    overwrite(path, pagesNamed('history').at(-1)!, Buffer.alloc(PAGE));
    const { rows, problems } = contentOf(path);
    const whole = contentOf(sound).rows.readings!;
    expect(rows.readings!.length).toBeGreaterThan(whole.length - 250);
    expect(rows.readings).toEqual(whole.slice(0, rows.readings!.length));
    expect(problems).toEqual([expect.stringMatching(/and the end of that run cannot be read$/)]);
  });

  test('an event whose text is damaged is left out alone', () => {
    const path = pulled(sound, tempDir());
    const before = contentOf(path).rows.drafts!;
    // One byte of one draft: a quotation mark is gone.
    const at = readFileSync(path).indexOf('advice":"50...');
    expect(at).toBeGreaterThan(0);
    const handle = openSync(path, 'r+');
    writeSync(handle, ' ', at + 'advice'.length);
    closeSync(handle);
    const { rows, problems } = contentOf(path);
    expect(rows.drafts).toEqual(before.filter((one) => !one.includes('"advice":"50...')));
    expect(rows.alerts).toHaveLength(before.length);
    expect(problems.length).toBeGreaterThan(0);
  });

  test('any page may be bad: nothing is invented, nothing crashes, and whatever is missing is told', () => {
    const random = seeded('read-damage');
    const whole = contentOf(sound);
    const pages = Math.floor(statSync(sound).size / PAGE);
    let [partly, notAtAll] = [0, 0];
    for (let n = 0; n < 12; n++) {
      const path = pulled(sound, tempDir());
      const page = 1 + Math.floor(random() * pages);
      const noise = Buffer.from(Array.from({ length: PAGE }, () => Math.floor(random() * 256)));
      // A first byte that no kind of page has; the header of the file stays.
      noise[0] = 0x5a;
      if (page === 1) continue;
      overwrite(path, page, noise);
      let content: Content;
      try {
        content = contentOf(path);
      } catch (error) {
        expect((error as StoreError).code).toBe('store-corrupt');
        notAtAll++;
        continue;
      }
      let lost = 0;
      for (const [name, rows] of Object.entries(content.rows)) {
        const known = new Set(whole.rows[name]);
        expect(rows.filter((row) => !known.has(row) && !isHalf(row))).toEqual([]);
        lost += known.size - rows.length;
      }
      if (lost > 0) expect([page, content.problems.length > 0]).toEqual([page, true]);
      if (lost > 0) partly++;
    }
    expect(partly).toBeGreaterThan(2);
    expect(notAtAll).toBeLessThan(6);
  });
});

/** Those that are there, and those that are not. */
function parted(whole: readonly string[], rows: readonly string[]): [there: string[], missing: string[]] {
  const known = new Set(rows);
  return [whole.filter((row) => known.has(row)), whole.filter((row) => !known.has(row))];
}

/** An alert whose first or last event cannot be read has no time for it. */
const isHalf = (row: string): boolean => row.includes('"raised":null') || row.includes('"latest":null');

describe('pages of a scan', () => {
  /** Rows 0 … 99, of which some cannot be read. */
  function scanned(bad: (n: number) => boolean, limit: number): { read: number[]; lost: [number, number | null][] } {
    const lost: [number, number | null][] = [];
    const rows = pagesOf<number>({
      page: (after: Key, most: number) => {
        const found: number[] = [];
        for (let n = Math.max(0, Math.floor(after.major) + (after.minor < 0 ? 0 : 1)); n < 100; n++) {
          if (bad(n)) throw Object.assign(new Error('database disk image is malformed'), { code: 'SQLITE_CORRUPT' });
          found.push(n);
          if (found.length === most) break;
        }
        return found;
      },
      keyOf: (n) => ({ major: n, minor: 0 }),
      ...{ start: from(0), limit },
      lost: (low, high) => lost.push([low, high]),
    });
    return { read: [...rows].flat(), lost };
  }
  const all = Array.from({ length: 100 }, (_, n) => n);

  test.each([1, 7, 64, 1_000])('of %d rows each give all of them, once and in order', (limit) => {
    expect(scanned(() => false, limit)).toEqual({ read: all, lost: [] });
  });

  test.each<[string, (n: number) => boolean]>([
    ['the first', (n) => n === 0],
    ['one amid them', (n) => n === 41],
    ['several in a row', (n) => n >= 20 && n < 33],
    ['the last ones', (n) => n >= 90],
    ['two places', (n) => n === 10 || n === 77],
    ['each second one', (n) => n % 2 === 1],
    ['all', () => true],
  ])('%s cannot be read: all others are', (_, bad) => {
    for (const limit of [1, 7, 64, 1_000]) {
      const { read, lost } = scanned(bad, limit);
      expect(read).toEqual(all.filter((n) => !bad(n)));
      expect(lost.length).toBeGreaterThan(0);
      for (const n of all.filter(bad)) expect(lost.some(([a, b]) => n >= a && (b === null || n < b))).toBe(true);
    }
  });

  test('what is no damage is thrown', () => {
    const busy = Object.assign(new Error('database is locked'), { code: 'SQLITE_BUSY' });
    const scan = {
      page: () => {
        throw busy;
      },
      ...{ keyOf: () => from(0), start: from(0), limit: 10, lost: () => {} },
    };
    expect(() => [...pagesOf(scan)]).toThrow(busy);
  });
});
