import type { Series } from '../../core/board-model.js';

/** Readings come every five minutes while the truck is awake; two that are missing are a gap. */
export const GAP_MS = 11 * 60_000;

/** Which of the values of a subject. */
export const COLUMN = { measured: 0, cold: 1, celsius: 2 } as const;

/**
 * [ms, value] of one subject, ascending, each where it was measured: a sensor that is silent is told again and again with a growing age, and
 * must not look alive.
 */
export function pointsOf(rows: Series['r'][string] | undefined, column: number): [number, number][] {
  const found: [number, number][] = [];
  for (const [ms, ...values] of rows ?? []) {
    const value = values[column] ?? null;
    const ageS = values.at(-1) ?? 0;
    if (value === null) continue;
    const at = ms - ageS * 1000;
    // The same measurement told again; ages are whole seconds.
    if (found.length > 0 && at - found.at(-1)![0] < 2000) continue;
    found.push([at, value]);
  }
  return found;
}

/**
 * As uPlot wants it: instants in s, then a row per line. undefined: this line has no point then; null: it lies in a gap. A gap is null at
 * all instants of other lines too: uPlot opens a line only from the instant before a null to the one after it.
 */
export function aligned(
  lines: readonly (readonly [number, number])[][],
  gapMs: number,
): [number[], ...(number | null | undefined)[][]] {
  const withGaps = lines.map((points) => gapped(points, gapMs));
  const instants = [...new Set(withGaps.flatMap((points) => [...points.keys()]))].sort((a, b) => a - b);
  return [instants.map((ms) => ms / 1000), ...withGaps.map((points) => rowOf(points, instants))];
}

function rowOf(points: Map<number, number | null>, instants: readonly number[]): (number | null | undefined)[] {
  let isOpen = false;
  return instants.map((ms) => {
    const value = points.get(ms);
    if (value !== undefined) isOpen = value === null;
    return isOpen ? null : value;
  });
}

function gapped(points: readonly (readonly [number, number])[], gapMs: number): Map<number, number | null> {
  const found = new Map<number, number | null>();
  points.forEach(([ms, value], i) => {
    const before = points[i - 1];
    if (before !== undefined && ms - before[0] > gapMs) found.set(before[0] + 1, null);
    found.set(ms, value);
  });
  return found;
}
