import type { Points } from './series.js';

/**
 * At most about `most` points of a series (and two more for each gap): first, last, the extremes of every stretch and both ends
 * of every gap are among them. Between two gaps each bucket keeps its least and its greatest value, in their order.
 */
export function thin(points: Points, most: number): Points {
  const n = points.atMs.length;
  if (n <= most) return points;
  const kept: number[] = [];
  for (const [from, to] of stretches(points)) {
    const share = Math.floor(((to - from) / n) * most);
    if (to - from <= Math.max(4, share)) for (let i = from; i < to; i++) kept.push(i);
    else keep(points, from, to, Math.max(1, Math.floor((share - 2) / 2)), kept);
  }
  const cut = (list: readonly number[]): number[] => kept.map((i) => list[i]!);
  return {
    atMs: cut(points.atMs),
    value: cut(points.value),
    ...(points.low && points.high && { low: cut(points.low), high: cut(points.high) }),
    gapMs: points.gapMs,
  };
}

/** Stretches without a gap, [from, to) by index. */
export function stretches({ atMs, gapMs }: Points): [from: number, to: number][] {
  const found: [number, number][] = [];
  let from = 0;
  for (let i = 1; i <= atMs.length; i++) {
    if (i < atMs.length && atMs[i]! - atMs[i - 1]! <= gapMs) continue;
    found.push([from, i]);
    from = i;
  }
  return found;
}

function keep(points: Points, from: number, to: number, buckets: number, kept: number[]): void {
  const lows = points.low ?? points.value;
  const highs = points.high ?? points.value;
  const inner = to - from - 2;
  kept.push(from);
  for (let b = 0; b < buckets; b++) {
    const begin = from + 1 + Math.floor((b * inner) / buckets);
    const end = from + 1 + Math.floor(((b + 1) * inner) / buckets);
    if (begin >= end) continue;
    let low = begin;
    let high = begin;
    for (let i = begin + 1; i < end; i++) {
      if (lows[i]! < lows[low]!) low = i;
      if (highs[i]! > highs[high]!) high = i;
    }
    kept.push(Math.min(low, high));
    if (low !== high) kept.push(Math.max(low, high));
  }
  kept.push(to - 1);
}
