import type { Line } from '../../data.js';

/** A row of a plot: undefined: this line has no point then; null: a gap begins. */
type Row = (number | null | undefined)[];

/**
 * Lines with instants of their own on one axis, as uPlot wants them. What lies further apart than the line's `gapS` is parted by a
 * null, as what it names in `breaks`. All instants of other lines in between are null too: uPlot opens a line only from the instant
 * before a null to the one after it.
 * @param of a value in the reader's unit
 */
export function aligned(lines: readonly Line[], of: (value: number, line: Line) => number): [number[], ...Row[]] {
  const instants = new Set<number>();
  for (const line of lines) {
    line.s.forEach((s, i) => {
      instants.add(s);
      if (isGap(line, i)) instants.add(middle(line, i));
    });
  }
  const xs = [...instants].sort((a, b) => a - b);
  const indexOf = new Map(xs.map((s, i) => [s, i]));
  return [
    xs,
    ...lines.map((line) => {
      const row: Row = new Array(xs.length).fill(undefined);
      line.s.forEach((s, i) => {
        const at = indexOf.get(s)!;
        if (isGap(line, i)) row.fill(null, indexOf.get(line.s[i - 1]!)! + 1, at);
        row[at] = of(line.v[i]!, line);
      });
      return row;
    }),
  ];
}

/** Is there a gap before point i? */
export const isGap = (line: Line, i: number): boolean =>
  i > 0 && (line.s[i]! - line.s[i - 1]! > line.gapS || (line.breaks !== undefined && breaksOf(line).has(i)));

const known = new WeakMap<Line, Set<number>>();

function breaksOf(line: Line): Set<number> {
  let breaks = known.get(line);
  if (breaks === undefined) {
    breaks = new Set(line.breaks);
    known.set(line, breaks);
  }
  return breaks;
}

const middle = (line: Line, i: number): number => (line.s[i]! + line.s[i - 1]!) / 2;

/** Runs of points that belong together: [first, last] indices. */
export function runsOf(line: Line): [number, number][] {
  const runs: [number, number][] = [];
  let first = 0;
  for (let i = 1; i <= line.s.length; i++) {
    if (i < line.s.length && !isGap(line, i)) continue;
    runs.push([first, i - 1]);
    first = i;
  }
  return runs;
}

/** Index of the point nearest to an instant; -1: the line is empty. */
export function nearest(s: readonly number[], at: number): number {
  let [low, high] = [0, s.length - 1];
  while (low < high) {
    const middleIndex = (low + high) >> 1;
    if (s[middleIndex]! < at) low = middleIndex + 1;
    else high = middleIndex;
  }
  return low > 0 && at - s[low - 1]! <= s[low]! - at ? low - 1 : s.length === 0 ? -1 : low;
}

/** What a line says of an instant: its nearest point, unless nothing was heard around it. */
export function pointAt(line: Line, at: number): number | null {
  const i = nearest(line.s, at);
  if (i < 0) return null;
  const apart = Math.abs(line.s[i]! - at);
  // Between two points that are joined the nearer one speaks; elsewhere only for a short while.
  const other = line.s[i]! < at ? i + 1 : i;
  const isJoined = other > 0 && other < line.s.length && !isGap(line, other);
  return isJoined || apart <= line.gapS / 2 ? i : null;
}
