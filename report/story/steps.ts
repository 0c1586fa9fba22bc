import type { Line } from '../data.js';
import type { Gathered } from '../gathered.js';
import { atS, drawn, type LineLook, type Points } from './kit.js';

/** A state that changes more often than this is thinned like anything else. */
const MOST_KEPT = 600;

/**
 * A state as a line: of a run of the same value only its two ends are kept, so that hours of "ok" take two points. Both ends of
 * each gap stay. null: nothing was told.
 */
export function steppedLine(gathered: Gathered, points: Points | null, look: LineLook): Line | null {
  if (points === null) return null;
  const { atMs, value, gapMs } = points;
  if (points.low !== undefined) return drawn(gathered, points, '', look);
  const kept: number[] = [];
  const breaks: number[] = [];
  let widestMs = gapMs;
  for (let i = 0; i < atMs.length; i++) {
    const isGap = i > 0 && atMs[i]! - atMs[i - 1]! > gapMs;
    const isFirst = i === 0 || isGap || value[i] !== value[i - 1];
    const isLast = i === atMs.length - 1 || atMs[i + 1]! - atMs[i]! > gapMs || value[i + 1] !== value[i];
    if (!isFirst && !isLast) continue;
    if (isGap) breaks.push(kept.length);
    else if (kept.length > 0) widestMs = Math.max(widestMs, atMs[i]! - atMs[kept.at(-1)!]!);
    kept.push(i);
  }
  if (kept.length > MOST_KEPT) return drawn(gathered, points, '', look);
  return {
    label: look.label,
    role: look.role,
    axis: look.axis ?? 0,
    s: kept.map((i) => atS(gathered, atMs[i]!)),
    v: kept.map((i) => value[i]!),
    gapS: Math.ceil(widestMs / 100) / 10,
    ...(breaks.length > 0 && { breaks }),
  };
}
