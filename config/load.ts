import { statSync } from 'node:fs';
import { dirname, isAbsolute, join } from 'node:path';
import { loadDefaults } from './defaults.js';
import { findings as findingsOf, unknownKey, without } from './findings.js';
import { isMap, Layers, type Origins } from './layers.js';
import type { Finding, Problem } from './problems.js';
import { readBounded } from './read-bounded.js';
import { resolve } from './resolve.js';
import type { TruckConfig } from './resolved.js';
import type { Defaults } from './rules.js';
import { EXAMPLES, REQUIRED, SECTIONS, type SectionName, TRUCK_FILE_ONLY, type TruckFile } from './schema.js';
import { parseSource, type Source } from './source.js';

export { loadDefaults } from './defaults.js';
export type { Origin, Origins } from './layers.js';
export type { Problem } from './problems.js';
export { standardAirKpa } from './resolve.js';

/** Notes do not keep a truck file from being used. Problems do; all that can be told are listed, in file order. */
export type LoadResult =
  | { config: TruckConfig; notes: Problem[]; origins: Origins; problems?: never }
  | { config?: never; notes?: never; origins?: never; problems: Problem[] };

/** The text of a file, or why there is none. */
export type Read = { text: string; error?: never } | { text?: never; error: Pick<Problem, 'text' | 'hint'> };

/** A truck file is a few kilobytes. */
const MAX_FILE_BYTES = 1_000_000;
const MAX_PROBLEMS = 100;

/** Reads and checks a truck file and the files that it builds on. Never throws for what is in them or cannot be read. */
export function loadTruckFile(path: string): LoadResult {
  const { text, error } = readFromDisk(path);
  if (error !== undefined) return { problems: [{ file: path, line: 1, column: 1, ...error }] };
  return readTruckFile(text, path);
}

/** The text of a file that a person has written. `what` it should be, for the message. */
export function readFromDisk(path: string, what = 'a truck file'): Read {
  try {
    const { size } = statSync(path);
    const text = size > MAX_FILE_BYTES ? null : readBounded(path, MAX_FILE_BYTES);
    if (text !== null) return { text };
    const bytes = Math.max(size, MAX_FILE_BYTES + 1);
    return { error: { text: `${bytes} bytes are too long for ${what}`, hint: 'is this the right file?' } };
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code ?? String(error);
    return { error: { text: `cannot be read: ${READ_ERRORS[code] ?? code}`, hint: 'check the path' } };
  }
}

const READ_ERRORS: Record<string, string> = {
  ENOENT: 'no such file',
  EACCES: 'permission denied',
  EISDIR: 'it is a directory',
  ENOTDIR: 'part of the path is not a directory',
};

/**
 * As loadTruckFile, for text that is at hand. `file` is named in problems, and paths in its `from` start at its folder;
 * `read` gets the files named there.
 */
export function readTruckFile(
  text: string,
  file: string,
  defaults: Defaults = loadDefaults(),
  read: (path: string) => Read = (path) => readFromDisk(path),
): LoadResult {
  try {
    return readLayered(text, file, defaults, read);
  } catch (error) {
    // Thousands of brackets within each other are more than the stack holds.
    if (!(error instanceof RangeError)) throw error;
    return { problems: [{ file, line: 1, column: 1, text: 'entries are nested too deep', hint: TOO_DEEP }] };
  }
}

const TOO_DEEP = 'is this the right file?';

function readLayered(text: string, file: string, defaults: Defaults, read: (path: string) => Read): LoadResult {
  const truck = parseSource(text, file);
  if (!isMap(truck.tree)) {
    if (truck.problems.length === 0) truck.problems.push(truck.locate(notAMap(text, 'this is not a truck file')));
    return { problems: truck.problems.slice(0, MAX_PROBLEMS) };
  }
  const below = sourcesBelow(truck, truck.tree, read);
  const broken = below.sources.some((source) => !isMap(source.tree));
  const layers = new Layers([...below.sources.filter((source) => isMap(source.tree)), truck]);
  const problems = [...below.problems, ...[...below.sources, truck].flatMap((source) => source.problems)];
  // What a file that cannot be read would have said is not missing, and not wrong.
  if (broken || below.problems.length > 0) return { problems: layers.ordered(problems).slice(0, MAX_PROBLEMS) };
  const found: Finding[] = [];
  const notes: Finding[] = [];
  const config = resolve(parseSections(layers.tree, found), defaults, found, notes);
  problems.push(...found.map((finding) => layers.locate(finding)));
  if (problems.length > 0 || config === null) return { problems: layers.ordered(problems).slice(0, MAX_PROBLEMS) };
  return { config, notes: layers.ordered(notes.map((note) => layers.locate(note))), origins: layers };
}

const notAMap = (text: string, otherwise: string): Finding => ({
  path: [],
  text: text.trim() === '' ? 'the file is empty' : otherwise,
  hint: `it begins for example with \`${EXAMPLES.fleet}\``,
});

/** The files that a truck file builds on, weakest first. `problems`: those that there are not. */
function sourcesBelow(
  truck: Source,
  tree: Record<string, unknown>,
  read: (path: string) => Read,
): { sources: Source[]; problems: Problem[] } {
  const listed = SECTIONS.from.safeParse(tree.from);
  if (!listed.success) {
    return { sources: [], problems: findingsOf(listed.error.issues, ['from'], tree.from).map(truck.locate) };
  }
  const problems: Problem[] = [];
  const names = listed.data ?? [];
  const sources = names.flatMap((name, index) => {
    const at = (text: string, hint: string) => problems.push(truck.locate({ path: ['from', index], text, hint }));
    const path = isAbsolute(name) ? name : join(dirname(truck.file), name);
    if (names.indexOf(name) < index) at(`"${name}" is there twice`, 'keep one of the two');
    const { text, error } = read(path);
    if (error === undefined) return [parseLayer(text, path)];
    at(`${path} ${error.text}`, `${error.hint}; it starts at the folder of this file`);
    return [];
  });
  return { sources, problems };
}

function parseLayer(text: string, path: string): Source {
  const source = parseSource(text, path);
  if (!isMap(source.tree)) {
    if (source.problems.length === 0) source.problems.push(source.locate(notAMap(text, 'no truck can build on this')));
    return source;
  }
  for (const key of TRUCK_FILE_ONLY) {
    if (!Object.hasOwn(source.tree, key)) continue;
    const text = `"${key}" belongs into truck files, not into what they build on`;
    const hint = key === 'from' ? 'name all files in the truck file, the most general first' : 'move it there';
    source.problems.push(source.locate({ path: [key], key: true, text, hint }));
  }
  return source;
}

function parseSections(tree: Record<string, unknown>, found: Finding[]): TruckFile {
  const names = Object.keys(SECTIONS) as SectionName[];
  const known = new Set<string>(names);
  for (const key of Object.keys(tree)) if (!known.has(key)) found.push(unknownKey([key], names));
  const sections: Record<string, unknown> = {};
  for (const name of names) {
    if (tree[name] === undefined) {
      if (REQUIRED.includes(name)) {
        found.push({ path: [], text: `"${name}" is missing`, hint: `add for example \`${EXAMPLES[name]}\`` });
      }
      continue;
    }
    const parsed = SECTIONS[name].safeParse(tree[name]);
    if (parsed.success) {
      sections[name] = inWrittenOrder(parsed.data, tree[name]);
      continue;
    }
    found.push(...findingsOf(parsed.error.issues, [name], tree[name]));
    sections[name] = inWrittenOrder(
      SECTIONS[name].safeParse(without(tree[name], parsed.error.issues)).data,
      tree[name],
    );
  }
  return sections as TruckFile;
}

/** The schema puts keys into its own order; that of units in the layout means something: front to rear. */
function inWrittenOrder(data: unknown, written: unknown): unknown {
  if (!isMap(data) || !isMap(written)) return data;
  return Object.fromEntries(Object.keys(written).flatMap((key) => (key in data ? [[key, data[key]]] : [])));
}
