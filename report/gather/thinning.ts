import type { WallMs } from '../../daemon/time.js';
import type { Growing } from './growing.js';

/** Readings this close to a change of an alert are kept one by one as long as there is room. */
const AROUND_MS = 30 * 60_000;
/** Of so many readings in a row the least and the greatest stay. */
const GROUP = 4;

/** Spans of wall time, apart from each other and in order. */
export type Spans = readonly (readonly [fromMs: WallMs, toMs: WallMs])[];

/** Half an hour before and after each instant. */
export function spansAround(instants: readonly WallMs[]): Spans {
  const spans: [WallMs, WallMs][] = [];
  for (const at of [...instants].sort((a, b) => a - b)) {
    const last = spans.at(-1);
    if (last !== undefined && at - AROUND_MS <= last[1]) last[1] = at + AROUND_MS;
    else spans.push([at - AROUND_MS, at + AROUND_MS]);
  }
  return spans;
}

function isIn(spans: Spans, at: WallMs): boolean {
  let [low, high] = [0, spans.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (spans[middle]![1] < at) low = middle + 1;
    else high = middle;
  }
  return low < spans.length && spans[low]![0] <= at;
}

/**
 * Halves what lies outside of the spans: of four readings in a row the least and the greatest stay. Readings at the two ends of a
 * hole stay as well. Gives how far apart readings are now that had others in between, at least joinMs.
 * @param zeroMs wall time of rows that have none yet @param joinMs readings further apart than this have a hole between them
 */
export function halve(series: Growing, spans: Spans, zeroMs: WallMs, joinMs: number): number {
  const [at, value] = series.columns as [number[], number[]];
  const wall = (row: number): WallMs => at[row]! + (row < series.settled ? 0 : zeroMs);
  const isAfterHole = (row: number): boolean => row > 0 && Math.abs(wall(row) - wall(row - 1)) > joinMs;
  const kept = new Uint8Array(series.rows);
  let from = 0;
  const close = (to: number): void => {
    if (to - from < GROUP) kept.fill(1, from, to);
    else for (const row of extremes(value, from, to)) kept[row] = 1;
    from = to;
  };
  for (let row = 0; row < series.rows; row++) {
    if (isAfterHole(row)) {
      close(row);
      kept[row - 1] = 1;
      kept[row] = 1;
    }
    if (isIn(spans, wall(row))) {
      close(row);
      kept[row] = 1;
      from = row + 1;
    } else if (row + 1 - from === GROUP) close(row + 1);
  }
  close(series.rows);
  let widestMs = joinMs;
  let before = 0;
  for (let row = 1; row < series.rows; row++) {
    if (kept[row] === 0) continue;
    if (!isAfterHole(row)) widestMs = Math.max(widestMs, Math.abs(wall(row) - wall(before)));
    before = row;
  }
  series.filter((row) => kept[row] === 1);
  return widestMs;
}

function extremes(value: readonly number[], from: number, to: number): [low: number, high: number] {
  let [low, high] = [from, to - 1];
  for (let row = from; row < to; row++) {
    if (value[row]! < value[low]!) low = row;
    if (value[row]! > value[high]!) high = row;
  }
  return [low, high];
}

/** Two minutes that follow on each other become one row. @param stepMs rows further apart than this do not */
export function pairMinutes(series: Growing, stepMs: number): void {
  const [at, min, max, last] = series.columns as [number[], number[], number[], number[]];
  let isTaken = false;
  series.filter((row) => {
    if (isTaken) {
      isTaken = false;
      return false;
    }
    const next = row + 1;
    const isPair =
      next < at.length && next !== series.settled && at[next]! - at[row]! <= stepMs && at[next]! >= at[row]!;
    if (!isPair) return true;
    isTaken = true;
    min[row] = Math.min(min[row]!, min[next]!);
    max[row] = Math.max(max[row]!, max[next]!);
    last[row] = last[next]!;
    return true;
  });
}
