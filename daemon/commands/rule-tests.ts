import { readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { formatProblem } from '../../config/problems.js';
import type { TruckConfig } from '../../config/resolved.js';
import { type ExpectedEvent, loadRuleTests, type RuleTest, type RuleTests } from '../../config/rule-tests.js';
import type { EventDraft } from '../alerts/event.js';
import type { Out } from './console.js';
import { clockOf } from './expect.js';
import { TestBus } from './rule-tests-bus.js';
import { Session } from './session.js';

/** Stream time 0 of every test: 2026-03-02T06:00:00Z, a clock that is known to be right. */
const ZERO_MS = Date.UTC(2026, 2, 2, 6);

/** What did not come as expected. */
export interface TestResult {
  missing: { expected: ExpectedEvent; nearest: EventDraft | null }[];
  unexpected: EventDraft[];
}

/** Runs one test through the pipeline, with its ticks, as replay would. */
export async function runRuleTest(test: RuleTest, config: TruckConfig): Promise<TestResult> {
  const events: EventDraft[] = [];
  const session = new Session({
    ...{ config, resume: null, run: { zeroWallMs: ZERO_MS, synced: true }, store: null },
    nowMs: () => 0,
    onEvents: (numbered) => {
      for (const { draft } of numbered) events.push(draft);
    },
  });
  new TestBus(test, config, session.stepper).play();
  await session.finish(test.lengthMs);
  return judge(test, events);
}

/** Each expected event takes the nearest one that fits; what is left of the rules that are looked at was not expected. */
export function judge({ expect, rules }: RuleTest, events: readonly EventDraft[]): TestResult {
  const left = new Set(events.filter(({ rule }) => rules === null || rules.includes(rule)));
  const nearest = (e: ExpectedEvent, fits: (event: EventDraft) => boolean): EventDraft | null => {
    const all = [...left].filter(fits);
    const off = ({ t }: EventDraft): number => (e.atMs === null ? t : Math.abs(t - e.atMs));
    return all.sort((a, b) => off(a) - off(b))[0] ?? null;
  };
  const open: ExpectedEvent[] = [];
  for (const e of expect) {
    const found = nearest(e, (event) => isAsExpected(event, e));
    if (found === null) open.push(e);
    else left.delete(found);
  }
  // Told together with what was expected in its place.
  const missing = open.map((expected) => {
    const near = nearest(expected, ({ rule, subject }) => rule === expected.rule && subject === expected.subject);
    if (near !== null) left.delete(near);
    return { expected, nearest: near };
  });
  return { missing, unexpected: [...left] };
}

function isAsExpected(event: EventDraft, e: ExpectedEvent): boolean {
  return (
    event.rule === e.rule &&
    event.subject === e.subject &&
    event.change === e.change &&
    (e.urgency === null || event.urgency === e.urgency) &&
    (e.atMs === null || Math.abs(event.t - e.atMs) <= e.withinMs)
  );
}

/**
 * Runs files of tests: one line per test to `out`, under a failed one what was expected and what came; mistakes in files to
 * `err`. A folder stands for the files in it. Returns the exit code: 0 all as expected, 1 not, 2 a file cannot be used.
 */
export async function checkRuleTests(
  paths: readonly string[],
  trucks: readonly string[],
  out: Out,
  err: Out,
): Promise<number> {
  let usable = true;
  const count = { all: 0, failed: 0 };
  for (const file of paths.flatMap(filesOf)) {
    for (const truck of trucks.length === 0 ? [null] : trucks) {
      const { tests, problems } = loadRuleTests(file, truck);
      for (const problem of problems ?? []) err.write(`${formatProblem(problem)}\n`);
      if (tests === undefined) usable = false;
      else await runFile(tests, count, out, err);
    }
  }
  if (count.all > 0) {
    const told = count.failed === 0 ? 'all as expected' : `${count.failed} not as expected`;
    out.write(`${count.all} ${count.all === 1 ? 'test' : 'tests'}, ${told}\n`);
  }
  if (!usable) return 2;
  return count.failed === 0 ? 0 : 1;
}

function filesOf(path: string): string[] {
  if (statSync(path, { throwIfNoEntry: false })?.isDirectory() !== true) return [path];
  const files = readdirSync(path).filter((name) => /\.ya?ml$/.test(name));
  return files.sort().map((name) => join(path, name));
}

async function runFile(tests: RuleTests, count: { all: number; failed: number }, out: Out, err: Out): Promise<void> {
  for (const note of tests.notes) err.write(`${formatProblem({ ...note, text: `note: ${note.text}` })}\n`);
  out.write(`${tests.file} (${tests.truckFile}, config ${tests.truck.hash})\n`);
  for (const test of tests.tests) {
    const result = await runRuleTest(test, tests.truck);
    const lines = linesOf(tests.file, test, result);
    count.all++;
    if (lines.length > 0) count.failed++;
    out.write(`  ${lines.length === 0 ? 'ok    ' : 'FAILED'}  ${test.name}\n`);
    for (const line of lines) out.write(`    ${line}\n`);
  }
}

/** Empty: as expected. */
function linesOf(file: string, test: RuleTest, { missing, unexpected }: TestResult): string[] {
  const lines = missing.map(({ expected: e, nearest }) => {
    const came = nearest === null ? 'it did not come' : `came ${eventWords(nearest)}`;
    return `${file}:${e.line}:${e.column}: expected ${expectedWords(e)}: ${came}`;
  });
  for (const event of unexpected) lines.push(`${file}:${test.line}:${test.column}: not expected: ${eventWords(event)}`);
  return lines;
}

function expectedWords(e: ExpectedEvent): string {
  const what = [e.rule, e.change, e.urgency, e.subject].filter((word) => word !== null).join(' ');
  if (e.atMs === null) return what;
  return `${what} at ${clockOf(e.atMs)}${e.withinMs === 0 ? '' : ` ± ${e.withinMs / 1000} s`}`;
}

const eventWords = (e: EventDraft): string => `${e.rule} ${e.change} ${e.urgency} ${e.subject} at ${clockOf(e.t)}`;
