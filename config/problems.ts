/** Something in a file that a person has to change, or (a note) may want to know. Line and column from 1. */
export interface Problem {
  file: string;
  line: number;
  column: number;
  text: string;
  /** What to do instead. */
  hint: string;
}

/** One line, without line end. */
export function formatProblem({ file, line, column, text, hint }: Problem): string {
  return `${file}:${line}:${column}: ${text}${hint === '' ? '' : ` — ${hint}`}`;
}

/** A problem at a place in the document; a path of keys and indexes. `key` points at the last key, not at its value. */
export interface Finding {
  path: readonly PropertyKey[];
  text: string;
  hint: string;
  key?: boolean;
  /** Another value that it is as much about. Told is the one that the stronger file has: there it went wrong. */
  or?: readonly PropertyKey[];
}

/** The candidate that a misspelled word most likely means; null when none is near. */
export function nearest(word: string, candidates: readonly string[]): string | null {
  let best: string | null = null;
  let bestDistance = Math.max(2, Math.ceil(word.length / 3)) + 1;
  for (const candidate of candidates) {
    const d = distance(word.toLowerCase(), candidate.toLowerCase());
    if (d < bestDistance) [best, bestDistance] = [candidate, d];
  }
  return best;
}

/** "did you mean …?" where one is near, else all that is possible. */
export function suggest(word: string, candidates: readonly string[], what = 'possible'): string {
  const near = nearest(word, candidates);
  return near === null ? `${what}: ${candidates.join(', ')}` : `did you mean ${near}?`;
}

/** Levenshtein distance; words here are short (≤ 64). */
function distance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= Math.min(a.length, 64); i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) {
      const change = row[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1);
      next.push(Math.min(change, row[j]! + 1, next[j - 1]! + 1));
    }
    row = next;
  }
  return row[b.length]!;
}
