import type { Line } from './data.js';

/**
 * The line with about so many points, and two more for each stretch between two gaps: of each stretch the first, the last and the
 * extremes of even pieces stay. What was not joined is not joined afterwards.
 */
export function thinLine(line: Line, most: number): Line {
  const { s } = line;
  if (s.length <= most) return line;
  const kept: number[] = [];
  const starts = new Set<number>();
  for (const [from, to] of stretches(line)) {
    starts.add(kept.length);
    const pieces = Math.max(1, Math.floor((((to - from) / s.length) * most) / 2));
    if (to - from <= 2 * pieces + 2) for (let i = from; i < to; i++) kept.push(i);
    else keepExtremes(line, from, to, pieces, kept);
  }
  const cut = (list: readonly number[]): number[] => kept.map((i) => list[i]!);
  const at = cut(s);
  const step = (i: number): number => Math.round((at[i]! - at[i - 1]!) * 1000) / 1000;
  let { gapS } = line;
  for (let i = 1; i < at.length; i++) if (!starts.has(i)) gapS = Math.max(gapS, step(i));
  const breaks = [...starts].filter((i) => i > 0 && step(i) <= gapS);
  const { label, role, axis, v, low, high } = line;
  return {
    ...{ label, role, axis, s: at, v: cut(v) },
    ...(low && high && { low: cut(low), high: cut(high) }),
    gapS,
    ...(breaks.length > 0 && { breaks }),
  };
}

/** Points that are joined, [from, to) by index. */
function stretches({ s, gapS, breaks = [] }: Line): [from: number, to: number][] {
  const cuts = new Set(breaks);
  const found: [number, number][] = [];
  let from = 0;
  for (let i = 1; i <= s.length; i++) {
    if (i < s.length && s[i]! - s[i - 1]! <= gapS && !cuts.has(i)) continue;
    found.push([from, i]);
    from = i;
  }
  return found;
}

function keepExtremes({ v, low = v, high = v }: Line, from: number, to: number, pieces: number, kept: number[]): void {
  const inner = to - from - 2;
  kept.push(from);
  for (let piece = 0; piece < pieces; piece++) {
    const begin = from + 1 + Math.floor((piece * inner) / pieces);
    const end = from + 1 + Math.floor(((piece + 1) * inner) / pieces);
    let [least, greatest] = [begin, begin];
    for (let i = begin; i < end; i++) {
      if (low[i]! < low[least]!) least = i;
      if (high[i]! > high[greatest]!) greatest = i;
    }
    kept.push(Math.min(least, greatest));
    if (least !== greatest) kept.push(Math.max(least, greatest));
  }
  kept.push(to - 1);
}
