import { z } from 'zod';
import { listSubjects } from '../daemon/truck/subjects.js';
import { AIR } from './crosscheck.js';
import { findings } from './findings.js';
import { configHash } from './hash.js';
import { type Finding, formatProblem, suggest } from './problems.js';
import type { Mark, TruckConfig } from './resolved.js';
import { instant, map, word, words } from './scalars.js';
import { parseSource } from './source.js';

/**
 * The marks file: what people said of sensors, in JSON, beside the store. Here only its text; edges read and write it.
 *
 *     {"v": 1, "marks": [{"subject": "tractor/2/left/outer", "what": "sensor-bad", "who": "J. Doe", "until": "2026-03-09T00:00:00.000Z"}]}
 */

/** Several times the wheels of the longest combination. */
export const MAX_MARKS = 256;

const file = map({
  v: word(['1']),
  marks: z
    .array(map({ subject: words(64), what: word(['sensor-bad']), who: words(64), until: instant() }))
    .max(MAX_MARKS),
});

/** The marks of a file's text, or one line that says what is wrong, where and what to do. Never throws. `name`: of the file. */
export function readMarks(text: string, name: string): { marks: Mark[]; problem?: never } | { problem: string } {
  const source = parseSource(text, name);
  const [broken] = source.problems;
  if (broken !== undefined) return { problem: formatProblem(broken) };
  const parsed = file.safeParse(source.tree);
  if (parsed.success) {
    return { marks: parsed.data.marks.map(({ until, ...mark }) => ({ ...mark, untilMs: until })) };
  }
  const [first] = findings(parsed.error.issues, [], source.tree);
  const finding: Finding = first ?? { path: [], text: 'this is no file of marks', hint: '' };
  const hint = finding.hint === '' ? 'mark the sensors anew and remove the file' : finding.hint;
  return { problem: formatProblem(source.locate({ ...finding, hint })) };
}

/** The text of a marks file, with a line for each mark. */
export function marksText(marks: readonly Mark[]): string {
  const lines = marks.map(({ untilMs, ...mark }) =>
    JSON.stringify({ ...mark, until: new Date(untilMs).toISOString() }),
  );
  return `{"v": 1, "marks": [${lines.length === 0 ? '' : `\n  ${lines.join(',\n  ')}\n`}]}\n`;
}

/** Why a subject cannot be marked: the truck has no such tire, wheel end or air circuit. null: it can. */
export function markProblem(config: Pick<TruckConfig, 'units'>, subject: string): string | null {
  const { tires, wheelEnds } = listSubjects(config.units);
  const subjects = [...tires, ...wheelEnds].map((place) => place.subject).concat(AIR);
  if (subjects.includes(subject)) return null;
  return `this truck has no "${subject}" — ${suggest(subject, subjects)}`;
}

/** The configuration with these marks, and the hash that follows from them. */
export function withMarks(config: TruckConfig, marks: readonly Mark[]): TruckConfig {
  const marked = { ...config, marks: [...marks] };
  return { ...marked, hash: configHash(marked) };
}
