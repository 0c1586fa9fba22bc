import type { Line } from '../data.js';
import type { Gathered } from '../gathered.js';
import { drawn, drawnAs, type LineLook, type Points } from './kit.js';

/** A state that changes more often than this is thinned like anything else. */
const MOST_KEPT = 600;

/**
 * A state as a line: of a run of the same value only its two ends are kept, so that hours of "ok" take two points. Both ends of
 * each gap stay. null: nothing was told.
 */
export function steppedLine(gathered: Gathered, points: Points | null, look: LineLook): Line | null {
  if (points === null) return null;
  const { atMs, value, gapMs } = points;
  const kept: number[] = [];
  const isSame = (i: number, k: number): boolean => value[k] === value[i] && Math.abs(atMs[i]! - atMs[k]!) <= gapMs;
  for (let i = 0; i < atMs.length; i++) if (!isSame(i, i - 1) || !isSame(i, i + 1)) kept.push(i);
  if (kept.length > MOST_KEPT || points.low !== undefined) return drawn(gathered, points, '', look);
  const ends = { atMs: kept.map((i) => atMs[i]!), value: kept.map((i) => value[i]!), gapMs };
  return drawnAs(gathered, ends, points, '', look);
}
