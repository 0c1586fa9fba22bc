import { findings as findingsOf, unknownKey, without } from './findings.js';
import { type Read, readFromDisk } from './load.js';
import { resolveOffice } from './office-checks.js';
import type { OfficeConfig } from './office-resolved.js';
import { isMap } from './office-scalars.js';
import { OFFICE_EXAMPLES, OFFICE_SECTIONS, type OfficeFile, type OfficeSection } from './office-schema.js';
import type { Finding, Problem } from './problems.js';
import { parseSource, type Source } from './source.js';

export { fleetFilters, fleetRules, type OfficeConfig } from './office-resolved.js';

/** Notes do not keep an office file from being used. Problems do; all that can be told are listed, in file order. */
export type OfficeResult =
  | { config: OfficeConfig; notes: Problem[]; problems?: never }
  | { config?: never; notes?: never; problems: Problem[] };

const MAX_PROBLEMS = 100;
const SECTION_NAMES = Object.keys(OFFICE_SECTIONS) as OfficeSection[];

/**
 * Reads and checks an office file; null: there is none, and all is as it is by default. Never throws for what is in it or cannot be
 * read. Paths in it start where the program is started.
 */
export function loadOffice(path: string | null): OfficeResult {
  if (path === null) return readOfficeFile('{}', 'no office file');
  const { text, error }: Read = readFromDisk(path, 'an office file');
  if (error !== undefined) return { problems: [{ file: path, line: 1, column: 1, ...error }] };
  return readOfficeFile(text, path);
}

/** As loadOffice, for text that is at hand; `file` is named in problems. */
export function readOfficeFile(text: string, file: string): OfficeResult {
  try {
    return read(text, file);
  } catch (error) {
    // Thousands of brackets within each other are more than the stack holds.
    if (!(error instanceof RangeError)) throw error;
    const hint = 'is this the right file?';
    return { problems: [{ file, line: 1, column: 1, text: 'entries are nested too deep', hint }] };
  }
}

function read(text: string, file: string): OfficeResult {
  const source = parseSource(text, file);
  const problems = [...source.problems];
  if (!isMap(source.tree)) {
    if (problems.length === 0) problems.push(source.locate(notAnOffice(text)));
    return { problems: problems.slice(0, MAX_PROBLEMS) };
  }
  const found: Finding[] = [];
  const notes: Finding[] = [];
  const config = resolveOffice(parseSections(source.tree, found), found, notes);
  problems.push(...located(source, found));
  if (problems.length > 0) return { problems: problems.sort(inFileOrder).slice(0, MAX_PROBLEMS) };
  return { config, notes: located(source, notes) };
}

const notAnOffice = (text: string): Finding => ({
  path: [],
  text: text.trim() === '' ? 'the file is empty' : 'this is not an office file',
  hint: `it begins for example with \`${OFFICE_EXAMPLES.mqtt}\`; without a file all is as it is by default`,
});

const located = (source: Source, all: readonly Finding[]): Problem[] =>
  all.map((finding) => source.locate(finding)).sort(inFileOrder);

const inFileOrder = (a: Problem, b: Problem): number => a.line - b.line || a.column - b.column;

function parseSections(tree: Record<string, unknown>, found: Finding[]): OfficeFile {
  for (const key of Object.keys(tree)) {
    if (!Object.hasOwn(OFFICE_SECTIONS, key)) found.push(unknownKey([key], SECTION_NAMES));
  }
  const sections: Record<string, unknown> = {};
  for (const name of SECTION_NAMES) {
    if (!Object.hasOwn(tree, name)) continue;
    const parsed = OFFICE_SECTIONS[name].safeParse(tree[name]);
    if (parsed.success) {
      sections[name] = parsed.data;
      continue;
    }
    found.push(...findingsOf(parsed.error.issues, [name], tree[name], OFFICE_EXAMPLES));
    sections[name] = OFFICE_SECTIONS[name].safeParse(without(tree[name], parsed.error.issues)).data;
  }
  return sections as OfficeFile;
}
