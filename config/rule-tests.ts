import { dirname, isAbsolute, join } from 'node:path';
import { findings as findingsOf } from './findings.js';
import { isMap } from './layers.js';
import { loadTruckFile, readFromDisk } from './load.js';
import { type Finding, type Problem, suggest } from './problems.js';
import type { RuleName, TruckConfig, Urgency } from './resolved.js';
import { defaultSeries } from './rule-test-given.js';
import { infoOf, TestTruck } from './rule-test-quantities.js';
import {
  type CHANGE_WORDS,
  EXAMPLES,
  type ExpectText,
  FILE,
  type SeriesText,
  type TestText,
} from './rule-test-schema.js';
import { MOST_VALUES, parseTime, parseValues, type Series } from './rule-test-series.js';
import { parseSource, type Source } from './source.js';

export interface ExpectedEvent {
  rule: RuleName;
  subject: string;
  change: (typeof CHANGE_WORDS)[number];
  /** null: any. */
  urgency: Urgency | null;
  /** null: at any time. */
  atMs: number | null;
  withinMs: number;
  /** Where it is written. */
  line: number;
  column: number;
}

export interface RuleTest {
  name: string;
  line: number;
  column: number;
  /** What the test tells, and under it what is so with a healthy truck. */
  series: Series[];
  below: Series[];
  /** Tires are sent in 1 kPa steps as well. */
  fine: boolean;
  lengthMs: number;
  /** Events of these rules have to be expected; null: of all. */
  rules: RuleName[] | null;
  expect: ExpectedEvent[];
}

/** Tests of one file, for one truck. */
export interface RuleTests {
  file: string;
  truck: TruckConfig;
  truckFile: string;
  notes: Problem[];
  tests: RuleTest[];
}

export type LoadedTests = { tests: RuleTests; problems?: never } | { tests?: never; problems: Problem[] };

/** A month: slow leaks need days. */
const LONGEST_MS = 30 * 86_400_000;
/** Events fall on whole seconds. */
const DEFAULT_WITHIN_MS = 1000;
const STEP_MS = 100;
const UNIT = /^(?:tractor|trailer|trailer-2|dolly)\//;
const MOST_PROBLEMS = 100;

/**
 * Reads a file of tests and the truck that they are for. Never throws for what is in them.
 * @param truckFile of the command line, before the one that the file names
 */
export function loadRuleTests(file: string, truckFile: string | null = null): LoadedTests {
  const { text, error } = readFromDisk(file, 'tests');
  if (error !== undefined) return { problems: [{ file, line: 1, column: 1, ...error }] };
  const source = parseSource(text, file);
  const wrong = (found: Finding[]): LoadedTests => ({
    problems: [...source.problems, ...inOrder(found.map(source.locate))].slice(0, MOST_PROBLEMS),
  });
  if (source.problems.length > 0) return wrong([]);
  if (!isMap(source.tree))
    return wrong([{ path: [], text: 'these are no tests', hint: `add for example \`${EXAMPLES.tests}\`` }]);
  const parsed = FILE.safeParse(source.tree);
  if (!parsed.success) return wrong(findingsOf(parsed.error.issues, [], source.tree, EXAMPLES));
  const { truck: named, given, tests } = parsed.data;
  if (truckFile === null && named === undefined) {
    const hint = 'add for example `truck: truck.yaml`, or name one on the command line';
    return wrong([{ path: [], text: 'no truck file is named', hint }]);
  }
  const path = truckFile ?? (isAbsolute(named!) ? named! : join(dirname(file), named!));
  const loaded = loadTruckFile(path);
  if (loaded.config === undefined) return { problems: loaded.problems };
  const found: Finding[] = [];
  const truck = new TestTruck(loaded.config);
  const made = tests.map((test, i) => new Maker(truck, source, ['tests', i], found).test(test, given ?? {}));
  if (found.length > 0) return wrong(found);
  return { tests: { file, truck: loaded.config, truckFile: path, notes: loaded.notes, tests: made } };
}

/** In file order; what is given for all tires is wrong once. */
function inOrder(problems: Problem[]): Problem[] {
  const seen = new Set<string>();
  return problems
    .filter(({ line, column, text }) => {
      const key = `${line}:${column} ${text}`;
      return !seen.has(key) && seen.add(key);
    })
    .sort((a, b) => a.line - b.line || a.column - b.column);
}

/** Makes one test of what is written, and says what is wrong with it. */
class Maker {
  readonly #truck: TestTruck;
  readonly #source: Source;
  readonly #path: readonly PropertyKey[];
  readonly #found: Finding[];

  constructor(truck: TestTruck, source: Source, path: readonly PropertyKey[], found: Finding[]) {
    this.#truck = truck;
    this.#source = source;
    this.#path = path;
    this.#found = found;
  }

  test(written: TestText, above: TestText['given'] & object): RuleTest {
    const given = { ...above, ...written.given };
    const own = written.given ?? {};
    const below = defaultSeries(this.#truck, given, (key, text, hint) =>
      this.#wrong(Object.hasOwn(own, key) ? [...this.#path, 'given', key] : ['given', key], text, hint),
    );
    const series = (written.series ?? []).map((one, i) => this.#series(one, [...this.#path, 'series', i]));
    this.#twice(series);
    const expect = written.expect.map((one, i) => this.#expected(one, [...this.#path, 'expect', i]));
    return {
      name: written.name,
      ...this.#place(this.#path),
      ...{ series, below, expect },
      fine: given.tireMessage === 'TIRE2',
      lengthMs: this.#length(written, series, expect),
      rules: written.rules ?? (expect.length === 0 ? null : [...new Set(expect.map(({ rule }) => rule))]),
    };
  }

  #wrong(path: readonly PropertyKey[], text: string, hint: string, key = false): void {
    this.#found.push({ path, text, hint, key });
  }

  #place(path: readonly PropertyKey[]): { line: number; column: number } {
    const { line, column } = this.#source.locate({ path, text: '', hint: '' });
    return { line, column };
  }

  #time(text: string | undefined, path: readonly PropertyKey[]): number | null {
    if (text === undefined) return null;
    const ms = parseTime(text);
    if (ms !== null && ms <= LONGEST_MS) return ms;
    this.#wrong(path, `"${text}" is no time within 30 days`, 'write for example 650 s, 10 min, 10:50 or 1:10:50');
    return null;
  }

  #series(written: SeriesText, path: readonly PropertyKey[]): Series {
    const { subject, quantity } = written;
    const complaint = this.#truck.complaintOf(subject, quantity);
    if (complaint !== null) this.#wrong([...path, 'subject'], complaint.text, complaint.hint);
    const target = this.#truck.targetOf(subject);
    const isTire = this.#truck.subjects.tires.some((tire) => tire.subject === subject);
    const everyMs = this.#time(written.every, [...path, 'every']) ?? (isTire ? 10 : infoOf(quantity).everyS) * 1000;
    if (everyMs < STEP_MS || everyMs % STEP_MS !== 0)
      this.#wrong([...path, 'every'], `"${written.every}" is no multiple of 100 ms`, 'write for example 1 s or 100 ms');
    const fromMs = this.#time(written.from, [...path, 'from']) ?? 0;
    const series: Series = { subject, quantity, values: [], everyMs, fromMs };
    for (const [i, text] of written.values.entries()) {
      const { value, complaint } = parseValues(text, quantity, target);
      if (complaint !== undefined) this.#wrong([...path, 'values', i], complaint.text, complaint.hint);
      else if (series.values.length + value.length > MOST_VALUES)
        this.#wrong([...path, 'values', i], `more than ${MOST_VALUES} values`, 'the last value goes on by itself');
      else for (const one of value) series.values.push(one);
    }
    return series;
  }

  #twice(series: readonly Series[]): void {
    const seen = new Set<string>();
    for (const [i, { subject, quantity }] of series.entries()) {
      const key = `${subject} ${quantity}`;
      const path = [...this.#path, 'series', i, 'subject'];
      if (seen.has(key)) this.#wrong(path, `the ${quantity} of ${subject} is told twice`, 'make one series of both');
      seen.add(key);
    }
  }

  #expected(written: ExpectText, path: readonly PropertyKey[]): ExpectedEvent {
    const { rule, subject, change = 'raised', urgency = null } = written;
    const atMs = this.#time(written.at, [...path, 'at']);
    const wheels = this.#truck.wheelSubjects;
    if (UNIT.test(subject) && !wheels.includes(subject))
      this.#wrong([...path, 'subject'], `this truck has no "${subject}"`, suggest(subject, wheels));
    if (!this.#truck.config.rules[rule].enabled)
      this.#wrong([...path, 'rule'], `${rule} is not enabled for this truck`, 'enable it in the truck file');
    if (written.within !== undefined && written.at === undefined)
      this.#wrong([...path, 'within'], 'within what time?', 'add for example "at: 10:50"', true);
    const withinMs = this.#time(written.within, [...path, 'within']) ?? DEFAULT_WITHIN_MS;
    return { rule, subject, change, urgency, atMs, withinMs, ...this.#place(path) };
  }

  /** As long as it says, else until the last series has told all and the last expected event may have come. */
  #length(written: TestText, series: readonly Series[], expect: readonly ExpectedEvent[]): number {
    const path = [...this.#path, written.for === undefined ? 'name' : 'for'];
    const asked = this.#time(written.for, path);
    const needed = Math.max(
      0,
      ...series.map(({ fromMs, everyMs, values }) => fromMs + everyMs * values.length),
      ...expect.map(({ atMs, withinMs }) => (atMs === null ? 0 : atMs + withinMs + 1000)),
    );
    const length = asked ?? needed;
    if (length > LONGEST_MS) this.#wrong(path, 'it would take more than 30 days', 'shorten the series');
    if (length < 1000) this.#wrong(path, 'it would end before the first decision', 'add for example "for: 10 min"');
    return length;
  }
}
