import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { StoreDatabase } from '../../../adapters/store/database.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { packCommand } from '../../../daemon/commands/pack.js';
import { lookAt, plainSql } from '../../adapters/store/files.js';
import { commit, DAY_MS, draft, MINUTE_MS, minute, optionsIn, ZERO_MS } from '../../adapters/store/helpers.js';
import { LAYOUT } from '../../support/truck-file.js';
import { CLI } from './helpers.js';
import { history, parseCsv } from './history-helpers.js';

/* Which files are read: several trucks, copies of one database, folders, archives, damaged ones. */

const root = mkdtempSync(join(tmpdir(), 'axlepost-history-files-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));
const at = (name: string): string => join(root, name);

/** A closed database of a truck with so many alerts. */
function database(path: string, truck: string, alerts: number, zeroMs = ZERO_MS): string {
  mkdirSync(join(path, '..'), { recursive: true });
  const db = new StoreDatabase({ ...optionsIn(root), path, truck, run: { zeroWallMs: zeroMs, synced: true } });
  const drafts = Array.from({ length: alerts }, (_, n) => draft(n + 1, 'raised'));
  db.commit([commit({ events: drafts, history: minute(0, 20) })]);
  db.close();
  return path;
}

const trucks = (csv: string): string[] =>
  parseCsv(csv)
    .slice(1)
    .map(([truck]) => truck!);

let a = '';
let b = '';
beforeAll(() => {
  a = database(at('pulled/b-first.db'), 'T-1042', 2);
  b = database(at('pulled/deep/a-second.db'), 'B-31', 3);
});

describe('several databases', () => {
  test('each row has its truck; trucks come one after the other', async () => {
    const { code, out, err } = await history([], { store: [a, b], format: 'csv' });
    expect([code, err]).toEqual([0, '']);
    expect(trucks(out)).toEqual(['B-31', 'B-31', 'B-31', 'T-1042', 'T-1042']);
  });

  test('a table says whose rows follow', async () => {
    const { out } = await history([], { store: [a, b] });
    expect(out.split('\n').filter((line) => line.includes('.db'))).toEqual([`B-31  ${b}`, `T-1042  ${a}`]);
  });

  test('--truck takes those of one', async () => {
    expect(trucks((await history([], { store: [a, b], truck: ['B-31'], format: 'csv' })).out)).toEqual(
      Array(3).fill('B-31'),
    );
    const none = await history([], { store: [a, b], truck: ['T-9'], format: 'csv' });
    expect(none).toEqual({ code: 1, out: '', err: '--truck T-9: none of these; there is T-1042, B-31\n' });
  });

  test('databases may stand behind the question too, as a shell writes patterns out', async () => {
    const { out } = await history(['alerts', b], { store: [a], format: 'csv' });
    expect(trucks(out)).toHaveLength(5);
  });

  test('a folder: every database and archive in it and in its folders, and nothing else', async () => {
    writeFileSync(at('pulled/notes.txt'), 'not a database');
    const { out, err } = await history([], { store: [at('pulled')], format: 'csv' });
    expect(trucks(out)).toHaveLength(5);
    expect(err).toBe(`${at('pulled')}: b-first.db, deep/a-second.db\n`);
    mkdirSync(at('nothing'));
    expect(await history([], { store: [at('nothing')] })).toEqual({
      ...{ code: 1, out: '', err: `${at('nothing')}: there is no database and no archive of pack in it\n` },
    });
  });

  test('of copies of one database the newest is read, and that is said', async () => {
    const path = database(at('copies/now.db'), 'T-208', 2);
    copyFileSync(path, at('copies/monday.db'));
    const db = new StoreDatabase({ ...optionsIn(root), path, truck: 'T-208' });
    db.commit([commit({ events: [draft(9, 'raised')] })]);
    db.close();
    const { out, err } = await history([], { store: [at('copies/monday.db'), path], format: 'csv' });
    expect(trucks(out)).toHaveLength(3);
    expect(err).toBe(
      `${at('copies/monday.db')}: an older copy of ${path}; it is left out (name it alone to read it)\n`,
    );
    expect(trucks((await history([], { store: [at('copies/monday.db')], format: 'csv' })).out)).toHaveLength(2);
  });

  test('databases of one truck come in the order of time, one that was moved aside before what came after it', async () => {
    const now = database(at('aside/axlepost.db'), 'T-1042', 1, ZERO_MS + DAY_MS);
    const broken = database(at('aside/axlepost.db.20260302T140311Z.broken'), 'T-1042', 1);
    const { out } = await history(['events'], { store: [at('aside')], format: 'ndjson' });
    const times = out
      .trimEnd()
      .split('\n')
      .map((line) => (JSON.parse(line) as { at: string }).at);
    expect(times).toEqual(['2026-03-02T08:01:00.000Z', '2026-03-03T08:01:00.000Z']);
    expect(now < broken).toBe(true);
  });

  test.each([{ events: '-' }, { report: at('r.html') }])('%o takes one', async (options) => {
    const { code, err } = await history([], { store: [a, b], ...options });
    expect(code).toBe(2);
    expect(err).toMatch(/ takes one database; there are /);
  });
});

describe('an archive of pack', () => {
  beforeAll(async () => {
    const path = database(at('truck/axlepost.db'), 'T-1042', 4);
    writeFileSync(at('truck.yaml'), `${LAYOUT}store: {path: ${path}}\nshow: {pressure: psi}\n`);
    const nobody = { out: { write: () => {} }, err: { write: () => {} } };
    await packCommand({ config: at('truck.yaml'), last: '1h', out: at('T-1042.tar.gz') }, nobody);
  });

  test('is read, and nothing that was unpacked is left', async () => {
    const ours = (): string[] => readdirSync(tmpdir()).filter((name) => /^axlepost-(archive|read)-/.test(name));
    const before = ours();
    const { code, out } = await history([], { store: [at('T-1042.tar.gz')], format: 'csv' });
    expect([code, trucks(out)]).toEqual([0, Array(4).fill('T-1042')]);
    expect(ours().filter((name) => !before.includes(name))).toEqual([]);
  });

  test('its truck file says which units, fleet and limits there are', async () => {
    const options = { subject: ['tractor/3/left/single'], quantity: ['pressure'] };
    expect((await history(['readings'], { store: [at('T-1042.tar.gz')], ...options })).out).toMatch(/ 116 psi\n/);
    await history([], { store: [at('T-1042.tar.gz')], report: at('packed.html') });
    expect(readFileSync(at('packed.html'), 'utf8')).toContain('"fleet":"northline"');
    // Whoever names another one means that.
    writeFileSync(at('si.yaml'), `${LAYOUT}show: {pressure: kPa}\n`);
    const { out } = await history(['readings'], { store: [at('T-1042.tar.gz')], config: at('si.yaml'), ...options });
    expect(out).toMatch(/ 803 kPa\n/);
  });

  test('the database of a truck file is taken where none is named', async () => {
    expect(trucks((await history([], { config: at('truck.yaml'), format: 'csv' })).out)).toHaveLength(4);
  });
});

test('--verify looks at each, and the worst one is the exit code', async () => {
  writeFileSync(at('none.db'), 'x'.repeat(1_000));
  const { code, out, err } = await history([], { store: [a, at('none.db')], verify: true });
  expect(code).toBe(1);
  expect(out).toMatch(/^.*b-first\.db: sound: truck T-1042, .* 2 events given, .*\n$/);
  expect(err).toMatch(/^.*none\.db: /);
});

describe('a file that cannot be read, or only in part', () => {
  test('one line, exit code 1; the others are read all the same', async () => {
    writeFileSync(at('text.db'), 'fleet: northline\n'.repeat(100));
    expect(await history([], { store: [at('text.db')] })).toEqual({
      code: 1,
      out: '',
      err: `${at('text.db')}: not a database\n`,
    });
    const { code, out, err } = await history([], { store: [at('text.db'), a], format: 'csv' });
    expect([code, trucks(out), err]).toEqual([1, ['T-1042', 'T-1042'], `${at('text.db')}: not a database\n`]);
    expect(await history([], { store: [at('gone.db')] })).toEqual({
      code: 1,
      out: '',
      err: `${at('gone.db')}: there is no such file\n`,
    });
  });

  test('an archive without a database, or none of ours', async () => {
    writeFileSync(at('bare.yaml'), `${LAYOUT}store: {path: ${at('not-there.db')}}\n`);
    const nobody = { out: { write: () => {} }, err: { write: () => {} } };
    await packCommand({ config: at('bare.yaml'), last: '1h', out: at('bare.tar') }, nobody);
    const { code, err } = await history([], { store: [at('bare.tar')] });
    expect([code, err]).toEqual([1, `${at('bare.tar')}: there is no database in it\n`]);
  });

  test('what is missing is told, and exit code 1 says that there is more to know', async () => {
    const folder = at('bad');
    const path = database(join(folder, 'bad.db'), 'T-1042', 30);
    const [{ seq }] = plainSql(path, 'SELECT seq FROM events WHERE seq = 17') as [{ seq: number }];
    const db = new Database(path);
    db.prepare('UPDATE events SET draft = substr(draft, 1, 50) WHERE seq = ?').run(seq);
    db.close();
    const before = lookAt(folder);
    const { code, out, err } = await history(['events'], { store: [path], format: 'csv' });
    expect(code).toBe(1);
    expect(
      parseCsv(out)
        .slice(1)
        .map(([, n]) => Number(n)),
    ).toEqual(Array.from({ length: 30 }, (_, n) => n + 1).filter((n) => n !== 17));
    expect(err).toMatch(/bad\.db: events: what lies between 16 and 18 cannot be read\n$/);
    const canonical = await history([], { store: [path], events: '-' });
    expect([canonical.code, canonical.out.trimEnd().split('\n').length]).toEqual([1, 29]);
    expect(lookAt(folder)).toEqual(before);
  });
});

describe('of several starts', () => {
  test('--events has the events of each, times from its start, and says so; a clock that was not right is marked', async () => {
    const path = at('starts/axlepost.db');
    database(path, 'T-1042', 1);
    const run = { zeroWallMs: ZERO_MS + DAY_MS, synced: false };
    const again = new StoreDatabase({ ...optionsIn(root), path, run });
    again.commit([commit({ t: 5_000, events: [draft(2, 'raised', { t: 5_000 })] })]);
    again.close();
    const { code, out, err } = await history([], { store: [path], events: '-' });
    expect([code, err]).toEqual([
      0,
      `${path}: events of 2 starts; times count from each start, as replay has them for each\n`,
    ]);
    expect(
      out
        .trimEnd()
        .split('\n')
        .map((line) => (JSON.parse(line) as { at: number }).at),
    ).toEqual([MINUTE_MS, 5_000]);
    const table = await history(['events'], { store: [path] });
    expect(table.out).toContain('2026-03-03 08:00:05?');
    expect(table.err).toContain('times with ? are by a clock that was not known to be right\n');
  });
});

test('a reader that closes the pipe ends it quietly', { timeout: 60_000 }, async () => {
  const path = at('long/axlepost.db');
  database(path, 'T-1042', 1);
  const db = new StoreDatabase({ ...optionsIn(root), path });
  for (let n = 1; n < 40; n++) db.commit([commit({ t: n * MINUTE_MS, history: minute(n * MINUTE_MS, 1_000) })]);
  db.close();
  const child = spawn(process.execPath, [CLI, 'history', 'readings', '--store', path, '--format', 'csv'], {
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let said = '';
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    said += text;
  });
  const closed = once(child, 'close') as Promise<[number]>;
  child.stdout.once('data', () => child.stdout.destroy());
  const [code] = await closed;
  expect([code, said]).toEqual([0, '']);
});
