import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { KINDS } from '../../../daemon/commands/history-kinds.js';
import { WHATS, type What } from '../../../daemon/commands/history-settings.js';
import { plainSql } from '../../adapters/store/files.js';
import { canonical, ROOT, replayHere, SHIFT, TRUCK, temp } from './helpers.js';
import { history, parseCsv } from './history-helpers.js';

/* The demonstration shift, replayed into a database, against plain SQL on the public views. */

const store = [temp('shift.db')];
const [path] = store as [string];
beforeAll(async () => {
  const { code, err } = await replayHere([SHIFT], { store: path });
  expect([code, err]).toEqual([0, expect.stringContaining('23 events')]);
}, 60_000);

const sql = (text: string, ...params: unknown[]): Record<string, unknown>[] => plainSql(path, text, ...params);

const ISO = "strftime('%Y-%m-%dT%H:%M:%fZ', (r.zero_wall_ms + x) / 1000.0, 'unixepoch')";
const iso = (t: string, run = 'r'): string => ISO.replace('r.', `${run}.`).replace('x)', `${t})`);

/** The same rows by SQL alone, in the same order. */
const SAME: Record<What, string> = {
  alerts: `SELECT a.id, a.rule, a.kind, a.subject, a.place, a.state, a.how, a.urgency, a.worst, f.at AS raised, l.at AS latest,
    l.synced, a.cause, a.events, a.seq, a.last_seq
    FROM alerts a JOIN alert_events f ON f.seq = a.seq JOIN alert_events l ON l.seq = a.last_seq ORDER BY a.seq`,
  events: 'SELECT * FROM alert_events ORDER BY seq',
  readings: `SELECT v.* FROM readings v JOIN series s ON s.subject = v.subject AND s.quantity = v.quantity
    ORDER BY v.boot, v.t, s.id`,
  applications: 'SELECT * FROM brake_applications ORDER BY boot, end_t, id',
  'air-tests': 'SELECT * FROM air_tests ORDER BY boot, end_t, id',
  'air-cycles': 'SELECT * FROM air_cycles ORDER BY boot, end_t, id',
  trips: `SELECT ${iso('start_t')} AS at, ${iso('end_t')} AS ended, r.synced, trip, provisional, distance_km, alerts, gap_s,
    not_judged, summary, t.boot, start_t, end_t, config, version FROM trips t JOIN runs r ON r.boot = t.boot ORDER BY trip`,
  'start-checks': 'SELECT * FROM start_checks ORDER BY boot, end_t, id',
};

const cell = (value: unknown): string => (value === null ? '' : String(value));

describe.each(WHATS)('%s', (what) => {
  test('as CSV: the columns of the public view and its rows', async () => {
    const { code, out, err } = await history([what], { store, format: 'csv' });
    expect([code, err]).toEqual([0, '']);
    const [head, ...rows] = parseCsv(out);
    const same = sql(SAME[what]);
    expect(same.length).toBeGreaterThan(0);
    // Brake applications have more at the end, per wheel end.
    const width = what === 'applications' ? 1 + Object.keys(same[0]!).length : head!.length;
    expect(head!.slice(0, width)).toEqual(['truck', ...Object.keys(same[0]!)]);
    expect(rows.map((row) => row.slice(0, width))).toEqual(
      same.map((row) => ['T-1042', ...Object.values(row).map(cell)]),
    );
  });

  test('as JSON lines: the same values, what is JSON in them as such', async () => {
    const { code, out } = await history([what], { store, format: 'ndjson' });
    expect(code).toBe(0);
    const rows = out
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line) as Record<string, unknown>);
    const back = rows.map(({ truck, ...row }) => {
      expect(truck).toBe('T-1042');
      const flat = (value: unknown): unknown =>
        value !== null && typeof value === 'object' ? JSON.stringify(value) : value;
      return Object.fromEntries(Object.entries(row).map(([name, value]) => [name, flat(value)]));
    });
    expect(back).toEqual(sql(SAME[what]));
  });

  test.each([80, 120])(
    'as a table on a terminal of %d columns: no line is wider, and every row begins a line',
    async (columns) => {
      process.env.NO_COLOR = '1';
      const { code, out, err } = await history([what], { store, config: TRUCK }, columns);
      delete process.env.NO_COLOR;
      expect(code).toBe(0);
      const lines = out.trimEnd().split('\n');
      expect(lines.find((line) => line.length > columns)).toBeUndefined();
      const rows = sql(SAME[what]);
      expect(lines.filter((line) => /^ *(\d+ +)?2026-03-02 /.test(line))).toHaveLength(rows.length);
      expect(err).toContain(`${rows.length} `);
    },
  );
});

describe('time', () => {
  const AT = '2026-03-02T14:20:43.000Z';
  const seqs = async (options: object): Promise<number[]> => {
    const { out } = await history(['events'], { store, format: 'ndjson', ...options });
    return out
      .split('\n')
      .filter((line) => line !== '')
      .map((line) => (JSON.parse(line) as { seq: number }).seq);
  };

  test('--from takes the moment itself, --to does not, to the millisecond', async () => {
    const [event] = sql('SELECT seq FROM alert_events WHERE at = ?', AT) as [{ seq: number }];
    expect(event.seq).toBeGreaterThan(1);
    const after = Array.from({ length: 23 - event.seq + 1 }, (_, n) => event.seq + n);
    expect(await seqs({ from: AT })).toEqual(after);
    expect(await seqs({ from: '2026-03-02T14:20:43.001Z' })).toEqual(after.slice(1));
    expect((await seqs({ to: AT })).at(-1)).toBe(event.seq - 1);
    expect((await seqs({ to: '2026-03-02T14:20:43.001Z' })).at(-1)).toBe(event.seq);
    expect(await seqs({ from: AT, to: '2026-03-02T14:20:43.001Z' })).toEqual([event.seq]);
  });

  test('a time without a zone is UTC, and one with an offset is what it says', async () => {
    expect(await seqs({ from: '2026-03-02T14:20:43' })).toEqual(await seqs({ from: AT }));
    expect(await seqs({ from: '2026-03-02 14:20:43' })).toEqual(await seqs({ from: AT }));
    expect(await seqs({ from: '2026-03-02T16:20:43+02:00' })).toEqual(await seqs({ from: AT }));
  });

  test('a date is the whole of that day, at both ends', async () => {
    expect(await seqs({ from: '2026-03-02', to: '2026-03-02' })).toHaveLength(23);
    expect(await seqs({ to: '2026-03-01' })).toEqual([]);
    expect(await seqs({ from: '2026-03-03' })).toEqual([]);
  });

  test('--last counts back from the newest in the database, or from --to', async () => {
    const [{ newest }] = sql(
      'SELECT max(at) AS newest FROM (SELECT at FROM alert_events UNION SELECT at FROM readings UNION SELECT ended FROM truck_records)',
    ) as [{ newest: string }];
    const from = new Date(Date.parse(newest) - 30 * 60_000).toISOString();
    const same = sql('SELECT seq FROM alert_events WHERE at >= ? ORDER BY seq', from).map(({ seq }) => seq);
    expect(same.length).toBeGreaterThan(0);
    expect(await seqs({ last: '30min' })).toEqual(same);
    const before = sql(
      'SELECT seq FROM alert_events WHERE at >= ? AND at < ?',
      '2026-03-02T14:20:00.000Z',
      '2026-03-02T14:30:00.000Z',
    );
    expect(await seqs({ last: '10 min', to: '2026-03-02T14:30' })).toEqual(before.map(({ seq }) => seq));
  });

  test('an alert belongs to every time that it lasted into', async () => {
    const ids = async (options: object): Promise<unknown[]> => {
      const { out } = await history([], { store, format: 'ndjson', ...options });
      return out
        .split('\n')
        .filter((line) => line !== '')
        .map((line) => (JSON.parse(line) as { seq: number }).seq);
    };
    for (const minute of ['13:49', '13:51', '14:09', '14:56', '15:30', '15:59', '23:00']) {
      const [from, to] = [`2026-03-02T${minute}:00.000Z`, `2026-03-02T${minute}:30.000Z`];
      const same = sql(
        `SELECT a.seq FROM alerts a JOIN alert_events f ON f.seq = a.seq JOIN alert_events l ON l.seq = a.last_seq
          WHERE f.at < ? AND (a.state = 'open' OR l.at >= ?) ORDER BY a.seq`,
        to,
        from,
      );
      expect([minute, await ids({ from, to })]).toEqual([minute, same.map(({ seq }) => seq)]);
    }
  });

  test('a record is in the time in which it begins, at both edges', async () => {
    const [first, second] = sql('SELECT id, at FROM brake_applications ORDER BY at LIMIT 2') as {
      id: number;
      at: string;
    }[];
    const ids = async (options: object): Promise<number[]> => {
      const { out } = await history(['applications'], { store, format: 'ndjson', ...options });
      return out.split('\n').flatMap((line) => (line === '' ? [] : [(JSON.parse(line) as { id: number }).id]));
    };
    const next = (at: string): string => new Date(Date.parse(at) + 1).toISOString();
    expect(await ids({ from: first!.at, to: second!.at })).toEqual([first!.id]);
    expect(await ids({ from: next(first!.at), to: next(second!.at) })).toEqual([second!.id]);
    expect(await ids({ to: first!.at })).toEqual([]);
  });

  test('a trip is in every time that it lasted into, at both edges', async () => {
    const [trip] = sql(`${SAME.trips} LIMIT 1`) as { at: string; ended: string }[];
    const isIn = async (options: object): Promise<boolean> =>
      (await history(['trips'], { store, format: 'ndjson', ...options })).out !== '';
    const by = (at: string, ms: number): string => new Date(Date.parse(at) + ms).toISOString();
    expect(await isIn({ from: trip!.ended })).toBe(true);
    expect(await isIn({ from: by(trip!.ended, 1) })).toBe(false);
    expect(await isIn({ to: trip!.at })).toBe(false);
    expect(await isIn({ to: by(trip!.at, 1) })).toBe(true);
    expect(await isIn({ from: by(trip!.at, 60_000), to: by(trip!.at, 120_000) })).toBe(true);
  });

  test('readings of one wheel in some minutes', async () => {
    const options = {
      from: '2026-03-02T14:10',
      to: '2026-03-02T14:20',
      subject: ['tractor/2/left/outer'],
      quantity: ['pressure'],
    };
    const { out } = await history(['readings'], { store, format: 'csv', ...options });
    const same = sql(
      "SELECT * FROM readings WHERE subject = 'tractor/2/left/outer' AND quantity = 'pressure' AND at >= '2026-03-02T14:10:00.000Z' AND at < '2026-03-02T14:20:00.000Z' ORDER BY t",
    );
    expect(same).toHaveLength(10);
    expect(parseCsv(out).slice(1)).toEqual(same.map((row) => ['T-1042', ...Object.values(row).map(cell)]));
  });
});

describe('what is asked for', () => {
  const rows = async (what: What, options: object): Promise<Record<string, unknown>[]> => {
    const { out } = await history([what], { store, format: 'ndjson', ...options });
    return out
      .split('\n')
      .filter((line) => line !== '')
      .map((line) => JSON.parse(line) as Record<string, unknown>);
  };
  const subjectsOf = (found: Record<string, unknown>[]): unknown[] => [...new Set(found.map(({ subject }) => subject))];

  test('a subject means itself and what is in it, by whole segments', async () => {
    expect(subjectsOf(await rows('readings', { subject: ['tractor/2/left'] }))).toEqual([
      'tractor/2/left/outer',
      'tractor/2/left/inner',
    ]);
    expect(subjectsOf(await rows('readings', { subject: ['air'] }))).toEqual([
      'air/primary',
      'air/secondary',
      'air/supply',
    ]);
    expect(subjectsOf(await rows('readings', { subject: ['tractor/2/lef'] }))).toEqual([]);
    expect(subjectsOf(await rows('alerts', { subject: ['trailer/2/left/'] }))).toEqual(
      sql("SELECT DISTINCT subject FROM alerts WHERE subject LIKE 'trailer/2/left%' ORDER BY seq").map(
        ({ subject }) => subject,
      ),
    );
    expect(await rows('readings', { subject: ['tractor/1', 'trailer'] })).toHaveLength(
      sql("SELECT 1 FROM readings WHERE subject LIKE 'tractor/1/%' OR subject LIKE 'trailer/%'").length,
    );
  });

  test('brake applications of one brake have what that brake said', async () => {
    const found = await rows('applications', { subject: ['trailer/1/right'] });
    const all = sql('SELECT wheels FROM brake_applications ORDER BY end_t').map(
      ({ wheels }) => JSON.parse(String(wheels)) as object,
    );
    const own = all.flatMap((wheels) =>
      'trailer/1/right' in wheels ? [{ 'trailer/1/right': wheels['trailer/1/right'] }] : [],
    );
    expect(found.map(({ wheels }) => wheels)).toEqual(own);
    // A tire is asked for with its brake.
    expect(await rows('applications', { subject: ['trailer/1/right/outer'] })).toEqual(found);
    expect(await rows('applications', { subject: ['trailer/9'] })).toEqual([]);
  });

  test('a circuit, and a wheel of the start checks', async () => {
    expect((await rows('air-tests', { subject: ['air/primary'] })).map(({ circuit }) => circuit)).toEqual(
      Array(5).fill('air/primary'),
    );
    const [check] = await rows('start-checks', { subject: ['tractor/2/left'] });
    expect(Object.keys(check!.tires as object)).toEqual(['tractor/2/left/outer', 'tractor/2/left/inner']);
    expect(Object.keys((check!.brakes as { wheels: object }).wheels)).toEqual(['tractor/2/left']);
  });

  test('a rule; an urgency and what is worse', async () => {
    expect((await rows('events', { rule: ['tire-losing-air'] })).map(({ seq }) => seq)).toEqual(
      sql("SELECT seq FROM events WHERE rule = 'tire-losing-air' ORDER BY seq").map(({ seq }) => seq),
    );
    expect((await rows('alerts', { urgency: 'next-stop' })).map(({ seq }) => seq)).toEqual(
      sql("SELECT seq FROM alerts WHERE worst <> 'plan' ORDER BY seq").map(({ seq }) => seq),
    );
    expect(subjectsOf(await rows('alerts', { urgency: 'pull-over', rule: ['air-low'] }))).toEqual(['air/service']);
  });

  test.each<[string, string[], object, RegExp]>([
    [
      'a rule that there is not',
      [],
      { rule: ['tire-cold'] },
      /^--rule tire-cold: no such rule; there are tire-underinflated, /,
    ],
    ['an urgency that there is not', [], { urgency: 'now' }, /^--urgency now: write plan, next-stop, pull-over$/],
    [
      'a filter that does not fit',
      ['trips'],
      { subject: ['tractor'] },
      /^trips cannot be filtered by --subject; it can be by --from, --to, --last$/,
    ],
    ['two questions', ['trips', 'alerts'], {}, /^trips, alerts: ask for one of them at a time$/],
    ['a question that there is not', ['wheels'], {}, /^history wheels: neither a file nor one of alerts, events, /],
    ['a format that there is not', [], { format: 'xml' }, /^--format xml: write table, csv or ndjson$/],
    ['a time that is none', [], { from: '2026-02-30' }, /^--from 2026-02-30: write a date or a time in UTC, /],
    ['an hour that is none', [], { to: '2026-03-02T25:00' }, /^--to 2026-03-02T25:00: write /],
    [
      'times the wrong way round',
      [],
      { from: '2026-03-02T14:00', to: '2026-03-02T14:00' },
      /the end is not after the begin$/,
    ],
    [
      'two ways of saying from when',
      [],
      { from: '2026-03-02', last: '1h' },
      /^--from and --last: one of them at a time$/,
    ],
    ['a span without its unit', [], { last: '7' }, /^--last 7: write for example 12h, 90min or 7d$/],
    ['patterns in a subject', [], { subject: ['tractor/*'] }, /^--subject "tractor\/\*": write it as events do/],
    [
      "a report over somebody else's file",
      [],
      { report: TRUCK },
      /exists already and is no report of this program; name another file for --report$/,
    ],
    ['the database as output', [], { out: path }, /: is read, and would be overwritten; name another file$/],
  ])('%s is one line and exit code 2', async (_, words, options, says) => {
    const { code, out, err } = await history(words, { store, ...options });
    expect([code, out]).toEqual([2, '']);
    expect(err.trimEnd()).toMatch(says);
    expect(err.trimEnd().split('\n')).toHaveLength(1);
  });

  test('no database at all', async () => {
    expect(await history([], {})).toEqual({
      code: 2,
      out: '',
      err: 'history: which database? Add --store axlepost.db\n',
    });
  });

  test('nothing is found: one line says what there is', async () => {
    const { code, out, err } = await history(['readings'], { store, subject: ['tractor/9'] });
    expect([code, out]).toEqual([0, '']);
    expect(err).toMatch(
      /no readings of tractor\/9; there are pressure, temperature, speed of tractor\/1\/left\/single, /,
    );
    expect((await history(['events'], { store, from: '2027-01-01' })).err).toMatch(
      /no events; it goes from 2026-03-02T13:00Z to 2026-03-02T15:59Z$/m,
    );
  });
});

describe('the table', () => {
  test('ends with the number of its rows: a minute of three series is three', async () => {
    const options = { store, quantity: ['pressure'], from: '2026-03-02T14:10', to: '2026-03-02T14:40' };
    const three = { ...options, subject: ['tractor/1', 'tractor/2/left/outer'] };
    const same = sql(
      `SELECT 1 FROM readings WHERE quantity = 'pressure' AND at >= '2026-03-02T14:10:00.000Z'
        AND at < '2026-03-02T14:40:00.000Z' AND (subject LIKE 'tractor/1/%' OR subject = 'tractor/2/left/outer')`,
    );
    expect(same.length).toBeGreaterThan(30);
    expect((await history(['readings'], three)).err).toMatch(
      new RegExp(`shift\\.db: ${same.length} rows of readings\n`),
    );
    const one = { ...options, subject: ['tractor/2/left/outer'], to: '2026-03-02T14:11' };
    expect((await history(['readings'], one)).err).toMatch(/shift\.db: 1 row of readings\n/);
  });

  test('says where, what and how long, in the units of the truck file', async () => {
    const alerts = await history([], { store, rule: ['tire-losing-air'] }, 100);
    expect(alerts.out).toMatch(/2026-03-02 14:08 +47 min +pull over +tractor axle 2, left outer tire: losing air\n/);
    const options = { store, subject: ['tractor/2/left/outer'], quantity: ['pressure'], last: '2min' };
    expect((await history(['readings'], options, 80)).out).toMatch(/ {2}7\d\d kPa\n/);
    expect((await history(['readings'], { ...options, config: TRUCK }, 80)).out).toMatch(/ {2}10\d psi\n/);
  });

  test('colours nothing but its titles, and nothing where it is no terminal', async () => {
    expect((await history([], { store }, 80)).out).toContain('\u001b[1mraised');
    expect((await history([], { store })).out).not.toContain('\u001b');
  });
});

test('--out writes a file, and nothing else is said there', async () => {
  const file = temp('alerts.csv');
  const { code, out } = await history([], { store, format: 'csv', out: file });
  expect([code, out]).toEqual([0, '']);
  expect(readFileSync(file, 'utf8')).toBe((await history([], { store, format: 'csv' })).out);
});

test('docs/database.md has every question, and the columns of those that have no view', () => {
  const page = readFileSync(join(ROOT, 'docs/database.md'), 'utf8').replace(/\s+/g, ' ');
  for (const what of WHATS) expect(page).toContain(`| \`${what}\``);
  for (const what of ['alerts', 'trips'] as const)
    expect(page).toContain(KINDS[what].columns.map((column) => `\`${column}\``).join(', '));
});

describe('--events', () => {
  test('has the bytes that a replay of the same shift has', async () => {
    const { out } = await canonical([SHIFT]);
    const told = await history([], { store, events: '-' });
    expect(told).toEqual({ code: 0, out, err: '' });
    const file = temp('shift.events');
    await history([], { store, events: file });
    expect(readFileSync(file, 'utf8')).toBe(out);
  }, 60_000);

  test('of a time or a rule has the lines of that alone', async () => {
    const all = (await history([], { store, events: '-' })).out.split('\n');
    const { out } = await history([], { store, events: '-', rule: ['air-low'] });
    expect(out.trimEnd().split('\n')).toEqual(all.filter((line) => line.includes('"rule":"air-low"')));
  });

  test('stands for itself', async () => {
    expect((await history(['trips'], { store, events: '-' })).err).toBe(
      '--events stands for itself: leave trips out\n',
    );
  });
});
