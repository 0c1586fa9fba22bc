import { readFileSync } from 'node:fs';
import type { StreamMs } from '../time.js';
import { EXIT, Failure } from './failure.js';

/** What is compared of one canonical event. */
export interface Compared {
  /** Stream time, not wall time: this is the canonical form. */
  at: StreamMs;
  rule: string;
  subject: string;
  change: string;
  urgency: string;
}

/** Stream time as h:mm:ss. */
export function clockOf(t: StreamMs): string {
  const s = Math.floor(t / 1000);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
}

/** `1 event`, `2 events`. */
export const eventsWords = (n: number): string => `${n} ${n === 1 ? 'event' : 'events'}`;

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

/** Throws a Failure. @param mayBeMissing a file that does not exist is null, not a failure */
export function readExpected(path: string): string[];
export function readExpected(path: string, mayBeMissing: boolean): string[] | null;
export function readExpected(path: string, mayBeMissing = false): string[] | null {
  let text: string;
  try {
    text = readFileSync(path, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (mayBeMissing && code === 'ENOENT') return null;
    const why = code === 'ENOENT' ? 'no such file' : `cannot be read (${code})`;
    const remedy = code === 'ENOENT' ? '--bless makes it of what comes' : 'check what it is';
    throw new Failure(EXIT.usage, `${path}: ${why}; ${remedy}`, error);
  }
  return parseExpected(text, path);
}
