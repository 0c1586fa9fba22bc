import { readFileSync } from 'node:fs';
import type { StreamMs } from '../time.js';
import type { Out } from './console.js';
import { EXIT, Failure } from './failure.js';

/** What is compared of one canonical event. */
interface Compared {
  /** Stream time, not wall time: this is the canonical form. */
  at: StreamMs;
  rule: string;
  subject: string;
  change: string;
  urgency: string;
}

export interface Difference {
  /** One line each, in the order of time. */
  lines: string[];
  missing: number;
  extra: number;
  /** Same event, other numbers: fails only when strict. */
  numbers: number;
}

const keyOf = (e: Compared): string => `${e.at} ${e.rule} ${e.subject} ${e.change} ${e.urgency}`;

/** Stream time as h:mm:ss. */
export function clockOf(t: StreamMs): string {
  const s = Math.floor(t / 1000);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
}

const wordsOf = (e: Compared): string => `${clockOf(e.at)} ${e.rule} ${e.subject} ${e.change} ${e.urgency}`;

function isCompared(value: unknown): value is Compared {
  if (value === null || typeof value !== 'object') return false;
  const e = value as Record<string, unknown>;
  return (
    typeof e.at === 'number' && ['rule', 'subject', 'change', 'urgency'].every((key) => typeof e[key] === 'string')
  );
}

/** Lines of a canonical file; throws a Failure with the line's number where one is no event. */
export function parseExpected(text: string, file: string): string[] {
  const lines = text.split('\n').map((line) => line.trimEnd());
  return lines.flatMap((line, i) => {
    if (line === '') return [];
    try {
      if (isCompared(JSON.parse(line))) return [line];
    } catch {
      // said below
    }
    const remedy = 'make the file with "replay --events FILE --format canonical"';
    throw new Failure(EXIT.usage, `${file}:${i + 1}: no canonical event; ${remedy}`);
  });
}

export function readExpected(path: string): string[] {
  let text: string;
  try {
    text = readFileSync(path, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why = code === 'ENOENT' ? 'no such file' : `cannot be read (${code})`;
    const remedy = `make it with "replay --events ${path} --format canonical"`;
    throw new Failure(EXIT.usage, `${path}: ${why}; ${remedy}`, error);
  }
  return parseExpected(text, path);
}

/** Compares rule, subject, change, urgency and time of two canonical files; numbers are told apart. */
export function compareEvents(expected: readonly string[], got: readonly string[]): Difference {
  const waiting = new Map<string, string[]>();
  for (const line of expected) {
    const key = keyOf(JSON.parse(line));
    waiting.set(key, [...(waiting.get(key) ?? []), line]);
  }
  const found: { at: StreamMs; line: string }[] = [];
  const counts = { missing: 0, extra: 0, numbers: 0 };
  const add = (what: keyof typeof counts, e: Compared, more = ''): void => {
    counts[what]++;
    found.push({ at: e.at, line: `${what.padEnd(8)} ${wordsOf(e)}${more}` });
  };
  for (const line of got) {
    const event = JSON.parse(line) as Compared;
    const same = waiting.get(keyOf(event))?.shift();
    if (same === undefined) add('extra', event);
    else if (same !== line) add('numbers', event, `: ${firstDifference(JSON.parse(same), event) ?? 'order of keys'}`);
  }
  for (const line of [...waiting.values()].flat()) add('missing', JSON.parse(line));
  return { ...counts, lines: found.sort((a, b) => a.at - b.at).map(({ line }) => line) };
}

/** `measured.value 5.4, expected 5.5` */
function firstDifference(expected: unknown, got: unknown, path = ''): string | null {
  if (expected === got) return null;
  if (!isTree(expected) || !isTree(got)) return `${path} ${JSON.stringify(got)}, expected ${JSON.stringify(expected)}`;
  for (const key of new Set([...Object.keys(expected), ...Object.keys(got)])) {
    const found = firstDifference(expected[key], got[key], path === '' ? key : `${path}.${key}`);
    if (found !== null) return found;
  }
  return null;
}

const isTree = (value: unknown): value is Record<string, unknown> => value !== null && typeof value === 'object';

/** True when the events are the expected ones. Differences go to `out`, the verdict to `err`. */
export function tellDifference(
  { file, strict }: { file: string; strict: boolean },
  expected: readonly string[],
  got: readonly string[],
  { out, err }: { out: Out; err: Out },
): boolean {
  const { lines, missing, extra, numbers } = compareEvents(expected, got);
  for (const line of lines) out.write(`${line}\n`);
  const same = missing + extra + (strict ? numbers : 0) === 0;
  const counts = `${missing} missing, ${extra} extra, ${numbers} with other numbers`;
  err.write(`${file}: ${same ? 'as expected' : 'not as expected'} (${expected.length} events; ${counts})\n`);
  return same;
}
