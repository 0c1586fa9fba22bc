import { spawnSync } from 'node:child_process';
import { appendFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import type { Outcome } from '../../quality/judge.js';
import { seedOf } from '../../quality/plan.js';
import { reportOf } from '../../quality/report.js';
import { codeHash, Results, ResultsError } from '../../quality/results.js';
import { type Drive, type RunOptions, runJobs, tallyOfPlan } from '../../quality/run.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-quality-'));
afterAll(() => rmSync(folder, { recursive: true }));
let count = 0;
let work: string;
beforeEach(() => {
  count += 1;
  work = join(folder, String(count));
});

const OPTIONS: RunOptions = { seed: 3, hours: 60, faults: 70, shard: { index: 1, of: 1 } };

/** What might have come of a scenario: drawn from its id, so that it is the same each time. */
function outcomeOf(id: string, seed: number): Outcome {
  const drawn = seedOf(id, seed);
  const late = drawn % 90;
  return {
    id,
    hours: 1 + (drawn % 5),
    detections: [
      {
        ...{ rule: 'tire-losing-air', urgency: 'pull-over', subject: 'tractor/1/left/single', because: 'tire-leak' },
        ...{ from: 0, visibleFrom: 0, toldAt: late > 80 ? null : late * 1000, under: false },
        ...{
          delayS: late,
          movingS: late,
          applications: 0,
          sinceBeginS: late > 80 ? null : late,
          earlyS: null,
          leakKpaPerMin: 30,
        },
      },
    ],
    alerts:
      drawn % 7 === 0
        ? [
            {
              ...{ rule: 'air-low', subject: 'air/service', urgency: 'pull-over', t: drawn % 100_000 },
              ...{ verdict: 'false', caused: false, measured: 'null' },
            },
          ]
        : [],
    again: drawn % 5 === 0 ? { 'air-low': 1 } : {},
  };
}

const drive: Drive = async (id, seed) => outcomeOf(id, seed);
const results = (code = 'c0de') => new Results(work, OPTIONS.seed, code);
const run = (options: Partial<RunOptions> = {}, lanes: Drive[] = [drive, drive]) =>
  runJobs({ ...OPTIONS, ...options }, results(), lanes, () => {});
const table = () => reportOf(tallyOfPlan(OPTIONS, results()).tally, 'head');

/** The table of a run that nothing interrupted, in a folder of its own. */
async function wholeTable(): Promise<string> {
  const mine = work;
  work = `${mine}-whole`;
  await run();
  const text = table();
  work = mine;
  return text;
}

describe('a quality run', () => {
  it('goes on where it was stopped, and gives the same table', async () => {
    let left = 20;
    const dies: Drive = async (id, seed) => {
      left -= 1;
      if (left < 0) throw new Error('stopped');
      return outcomeOf(id, seed);
    };
    const first = await run({}, [dies]);
    expect(first.done).toBe(20);
    expect(first.failed).toHaveLength(first.all - 20);
    expect(first.failed[0]).toMatch(/^\S+\/\S+: stopped$/);
    const driven: string[] = [];
    const counts: Drive = async (id, seed) => {
      driven.push(id);
      return outcomeOf(id, seed);
    };
    const second = await run({}, [counts, counts]);
    expect(driven).toHaveLength(second.all - 20);
    expect(second.done).toBe(second.all);
    expect(table()).toBe(await wholeTable());
    driven.length = 0;
    await run({}, [counts]);
    expect(driven).toEqual([]);
  });

  it('drives again what was cut off while it was written', async () => {
    await run();
    const path = join(work, 'results-1-of-1.ndjson');
    const text = readFileSync(path, 'utf8');
    writeFileSync(path, text.slice(0, -30));
    const { done, all } = tallyOfPlan(OPTIONS, results());
    expect(done).toBe(all - 1);
    await run();
    expect(table()).toBe(await wholeTable());
  });

  it('shards add up to the whole', async () => {
    for (const index of [1, 2, 3]) await run({ shard: { index, of: 3 } });
    expect(table()).toBe(await wholeTable());
  });

  it('more hours go on from fewer', async () => {
    await run({ hours: 20, faults: 5 });
    await run();
    expect(table()).toBe(await wholeTable());
  });

  it('the table says what was found', async () => {
    await run();
    const { tally } = tallyOfPlan(OPTIONS, results());
    const all = tally.asked[0]!.all;
    const missed = all.filter(({ toldAt }) => toldAt === null).length;
    expect(missed).toBeGreaterThan(0);
    const row =
      /^ {2}tire-losing-air +pull-over +(\d+) +(\d+) +0 +(\d+) .* s from begin +<= 60 MISSED by \d+ of \d+$/m.exec(
        table(),
      )!;
    expect(row.slice(1, 4).map(Number)).toEqual([all.length, all.length - missed, missed]);
    expect(table()).toMatch(new RegExp(`MISSED +no missed pull-over fault: ${missed} of ${all.length} missed`));
    expect(table()).toMatch(/FALSE air-low pull-over at air\/service/);
  });

  it('refuses results of another program, another seed, or of nothing known, in one line', async () => {
    await run();
    for (const other of [results('0ther'), new Results(work, 4, 'c0de')])
      expect(() => other.read()).toThrow(ResultsError);
    appendFileSync(join(work, 'results-2-of-2.ndjson'), 'something\n');
    expect(() => results().read()).toThrow(/^[^\n]*results-2-of-2\.ndjson: [^\n]* --work$/);
  });
});

describe('the program that made results', () => {
  it('has a name that depends on its files', () => {
    const root = join(import.meta.dirname, '../..');
    expect(codeHash(root)).toMatch(/^[0-9a-f]{8}$/);
    expect(codeHash(root)).toBe(codeHash(root));
    expect(() => codeHash(folder)).toThrow();
  });
});

describe('npm run quality', { timeout: 120_000 }, () => {
  const quality = (...more: string[]) =>
    spawnSync(process.execPath, ['dist/scripts/quality.js', ...more], { encoding: 'utf8' });

  it('drives a shift in threads, prints the table, and prints the same again', () => {
    const options = ['--hours', '4', '--faults', '0', '--work', work];
    const first = quality(...options);
    expect(first.stderr).toBe('');
    expect(first.status).toBe(0);
    expect(first.stdout).toMatch(/^\d{4}-\d\d-\d\d, seed 1, program [0-9a-f]{8}\n4 h healthy in 1 shifts; 0 faults/);
    expect(first.stdout).toMatch(/^ {2}met +no false pull-over or next-stop/m);
    const text = readFileSync(join(work, 'results-1-of-1.ndjson'), 'utf8');
    expect(quality(...options).stdout).toBe(first.stdout);
    expect(readFileSync(join(work, 'results-1-of-1.ndjson'), 'utf8')).toBe(text);
  });

  it.each([
    [['--shard', '3/2'], /i\/n/],
    [['--hours', 'many'], /whole number/],
    [['--only', 'fault/none/0'], /no scenario is called fault\/none\/0/],
  ])('says what is wrong with %s', (options, words) => {
    const { status, stderr } = quality(...options);
    expect(stderr).toMatch(words);
    expect(stderr.trimEnd().split('\n')).toHaveLength(1);
    expect(status).not.toBe(0);
  });
});
