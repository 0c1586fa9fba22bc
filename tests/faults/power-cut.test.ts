import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, realpathSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { MarksFile } from '../../adapters/host/marks-file.js';
import { LateDatabase } from '../../adapters/store/late.js';
import { announcedIn, type Change, Medium, readTrace } from './support/power-cut.js';
import { FaultRow } from './support/row.js';
import { Shim, shimIsMissing } from './support/shim.js';

const missing = shimIsMissing();
if (missing !== null) console.log(`power-cut: skipped: ${missing}`);
const PROGRAM = fileURLToPath(new URL('support/power-cut.mjs', import.meta.url));
const row = new FaultRow('power-cut', { short: 50, full: 2_000 });
const COMMITS = 60;
const SERIES = 30;

/** What had been answered when the power went; 0: nothing of the kind. */
interface Told {
  store: string | null;
  commit: number;
  seq: number;
  recorded: number;
  marked: number;
}

describe.skipIf(missing !== null)('the power goes', () => {
  const folder = realpathSync(mkdtempSync(join(tmpdir(), 'axlepost-power-')));
  const watched = join(folder, 'disk');
  const after = join(folder, 'after');
  let changes: Change[] = [];
  let folders: Map<number, string>;
  let shim: Shim;

  beforeAll(() => {
    shim = new Shim();
    mkdirSync(join(watched, 'recordings'), { recursive: true });
    const { status, stderr } = spawnSync(process.execPath, [PROGRAM, watched, String(COMMITS)], {
      env: { ...process.env, ...shim.env(watched, { traced: true }) },
      encoding: 'utf8',
    });
    expect(stderr).toBe('');
    expect(status).toBe(0);
    changes = readTrace(shim.traceFile);
    folders = new Map([watched, join(watched, 'recordings')].map((path) => [statSync(path).ino, path]));
  });
  afterAll(() => {
    shim?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  test('at any change, what was not synced dropped, torn and out of order: it opens, and nothing that was answered is missing', {
    timeout: row.timeoutMs,
  }, async () => {
    const lines = announcedIn(changes, 'told');
    const medium = new Medium(folders);
    const told: Told = { store: null, commit: 0, seq: 0, recorded: 0, marked: 0 };
    let at = 0;
    let lost = 0;
    await row.each((round) => {
      // Rounds go on through the run, so that each change is cut at in time.
      const end = Math.floor(((round.index + round.random()) / row.count) * changes.length);
      for (; at < end; at++) {
        medium.apply(changes[at]!);
        if (lines[at] !== null) Object.assign(told, nonNull(JSON.parse(lines[at]!)));
      }
      medium.cut(watched, after, round);
      lost += expectStore(told);
      expectSmallFiles(told);
    });
    const { write = 0, sync = 0 } = count(changes);
    console.log(
      `${changes.length} changes, ${write} writes and ${sync} syncs; commits that were under way and lost: ${lost}`,
    );
    expect(sync).toBeGreaterThan(COMMITS);
  });

  /** Gives 1 when the commit under way was lost. */
  function expectStore(told: Told): number {
    const run = { zeroWallMs: 0, synced: true };
    const path = join(after, 'axlepost.db');
    const late = new LateDatabase({ path, truck: 'T-1042', maxBytes: 8e6, keepMs: 1e9, run, mayWait: true });
    const { database } = late;
    const { opened, connection } = database;
    const number = (sql: string): number => connection.prepare<[], number>(sql).pluck().get() ?? 0;
    try {
      // Before the first answer a file that was just being made may be begun anew, or be between two schemas.
      if (told.store !== null) expect([opened.notes, opened.store]).toEqual([[], told.store]);
      const state = opened.restored === null ? 0 : (JSON.parse(opened.restored.state) as { n: number }).n;
      // The commit under way is there as a whole or not at all.
      expect([told.commit, told.commit + 1]).toContain(state);
      expect(opened.lastSeq).toBe(Math.floor(state / 2));
      expect(number('SELECT count(*) FROM events')).toBe(opened.lastSeq);
      expect(database.stats().outbox).toBe(opened.lastSeq);
      expect(number('SELECT count(*) FROM history')).toBe(SERIES * state);
      expect(opened.lastSeq).toBeGreaterThanOrEqual(told.seq);
      expect(connection.pragma('integrity_check', { simple: true })).toBe('ok');
      return state === told.commit ? 1 : 0;
    } finally {
      late.close();
    }
  }

  function expectSmallFiles(told: Told): void {
    const sidecar = join(after, 'recordings', 'T-1042-000001-000001.json');
    const log = join(after, 'recordings', 'T-1042-000001-000001.log.gz');
    const last = existsSync(sidecar) ? (JSON.parse(readFileSync(sidecar, 'utf8')) as { v: number }).v : 0;
    expect(last).toBeGreaterThanOrEqual(told.recorded);
    const text = existsSync(log) ? readFileSync(log, 'utf8') : '';
    for (let n = 1; n <= told.recorded; n++) expect(Number(text.slice((n - 1) * 800, n * 800))).toBe(n);
    const marks = new MarksFile(join(after, 'axlepost.db.marks.json')).read();
    if (marks !== null && 'problem' in marks) expect(marks.problem).toBeUndefined();
    const marked = marks !== null && 'marks' in marks ? Number(marks.marks[0]?.who.slice(2)) : 0;
    expect(marked).toBeGreaterThanOrEqual(told.marked);
  }
});

const nonNull = (told: object): object =>
  Object.fromEntries(Object.entries(told).filter(([, value]) => value !== null));

function count(changes: readonly Change[]): Record<string, number> {
  const counts: Record<string, number> = {};
  for (const { op } of changes) counts[op] = (counts[op] ?? 0) + 1;
  return counts;
}
