import { beforeAll, describe, expect, test } from 'vitest';
import { partStart } from '../../../adapters/store/read-every.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { plainSql, pulled } from '../../adapters/store/files.js';
import { replayHere, SHIFT, TRUCK, temp } from './helpers.js';
import { history, parseCsv } from './history-helpers.js';

/* Readings by the hour and the like, against plain SQL with GROUP BY on the public view. */

const path = temp('shift.db');
beforeAll(async () => {
  const { code } = await replayHere([SHIFT], { store: path });
  expect(code).toBe(0);
}, 60_000);

/** Parts of so many seconds of a day. A run whose clock was not right stands alone. */
function grouped(file: string, seconds: number): string[][] {
  const rows = plainSql(
    file,
    `WITH minutes AS (
       SELECT v.*, s.id, unixepoch(at) / ${seconds} * ${seconds} AS part, iif(synced = 1, 0, boot) AS alone
       FROM readings v JOIN series s ON s.subject = v.subject AND s.quantity = v.quantity),
     placed AS (
       SELECT *, first_value(boot) OVER w AS boot1, first_value(t) OVER w AS t1, last_value(last) OVER w AS last1
       FROM minutes WINDOW w AS (PARTITION BY part, alone, id ORDER BY boot, t
         ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING))
     SELECT 'T-1042' AS truck, strftime('%Y-%m-%dT%H:%M:%S.000Z', part, 'unixepoch') AS at, synced, subject, quantity,
       min(min) AS min, max(max) AS max, last1 AS last, sum(count) AS count, boot1 AS boot, t1 AS t
     FROM placed GROUP BY part, alone, id ORDER BY min(boot), part, id`,
  );
  expect(rows.length).toBeGreaterThan(0);
  return [Object.keys(rows[0]!), ...rows.map((row) => Object.values(row).map(String))];
}

const PARTS: [string, number][] = [
  ['1h', 3600],
  ['10min', 600],
  ['90 min', 5400],
  ['1d', 86_400],
  ['1min', 60],
];

test.each(PARTS)('--every %s is what SQL gives', async (every, seconds) => {
  const { code, out, err } = await history(['readings'], { store: [path], format: 'csv', every });
  expect([code, err]).toEqual([0, '']);
  expect(parseCsv(out)).toEqual(grouped(path, seconds));
});

describe('a restart within the hour, and minutes that begin within the minute of the clock', () => {
  const CUT_MS = 80 * 60_000;
  const restarted = (synced: 0 | 1): string => {
    const copy = pulled(path, temp(`restarted-${synced}`));
    const db = new Database(copy);
    db.exec(`UPDATE runs SET synced = 1, zero_wall_ms = zero_wall_ms + 31000;
      INSERT INTO runs SELECT 2, zero_wall_ms + ${CUT_MS}, ${synced}, started_ms FROM runs;
      UPDATE history SET boot = 2, t = t - ${CUT_MS} WHERE t >= ${CUT_MS};`);
    db.close();
    return copy;
  };

  test.each([0, 1] as const)('clock of the second start right: %d', async (synced) => {
    const file = restarted(synced);
    const { out } = await history(['readings'], { store: [file], format: 'csv', every: '1h' });
    const rows = parseCsv(out);
    expect(rows).toEqual(grouped(file, 3600));
    const one = rows.filter((row) => row[3] === 'tractor/1/left/single' && row[4] === 'pressure');
    expect(one).toHaveLength(synced === 1 ? 3 : 4);
  });
});

test('parts begin at midnight, those of days on a Monday', () => {
  const start = (at: string, minutes: number): string =>
    new Date(partStart(Date.parse(at), minutes * 60_000)).toISOString().slice(0, 16);
  expect(start('2026-03-04T23:59:59.999Z', 60)).toBe('2026-03-04T23:00');
  expect(start('2026-03-05T00:00Z', 60)).toBe('2026-03-05T00:00');
  expect(start('2026-03-04T22:00Z', 7 * 60)).toBe('2026-03-04T21:00');
  expect(start('2026-03-05T00:00Z', 7 * 60)).toBe('2026-03-05T00:00');
  expect(start('2026-03-04T12:00Z', 24 * 60)).toBe('2026-03-04T00:00');
  expect(start('2026-03-04T12:00Z', 7 * 24 * 60)).toBe('2026-03-02T00:00');
  expect(start('1969-12-31T23:30Z', 60)).toBe('1969-12-31T23:00');
});

test('as a table, of one wheel, in the units of the truck file', async () => {
  const options = { store: [path], config: TRUCK, subject: ['tractor/1/left'], quantity: ['pressure'], every: '1h' };
  const { out, err } = await history(['readings'], options, 80);
  expect(out).toMatch(/2026-03-02 13:00 +tractor\/1\/left\/single +pressure +\d+ to \d+ psi +\d+ psi\n/);
  expect(err).toMatch(/shift\.db: 3 rows of readings\n/);
});

test.each([
  ['readings', '90s', /^--every 90s: write whole minutes, up to a year, for example 10min, 1h or 1d$/],
  ['readings', '0min', /^--every 0min: write whole minutes, /],
  ['readings', '7', /^--every 7: write whole minutes, /],
  ['alerts', '1h', /^--every 1h: is of readings: write history readings --every 1h$/],
])('history %s --every %s is one line and exit code 2', async (what, every, says) => {
  const { code, out, err } = await history([what], { store: [path], every });
  expect([code, out]).toEqual([2, '']);
  expect(err.trimEnd()).toMatch(says);
});
