import type { Line } from '../data.js';
import type { Gathered, SeriesQuantity } from '../gathered.js';
import { type Points, pointsOf } from './series.js';
import { stretches, thin } from './thin.js';
import { atS, lengthS, type Window } from './window.js';

export interface LineLook {
  label: string;
  role: Line['role'];
  axis?: 0 | 1;
  /** At most about so many points; left out: 500 of what is judged, 250 of the rest. */
  most?: number;
}

const MOST_JUDGED = 500;
const MOST_OTHER = 250;

/** SI unit of each quantity, whose declared step lines are rounded to. */
export const UNITS: Readonly<Record<SeriesQuantity, string>> = {
  pressure: 'kPa',
  'cold pressure': 'kPa',
  temperature: '°C',
  'stroke state': '',
  stroke: 'mm',
  speed: 'km/h',
  'engine speed': 'rpm',
  'application pressure': 'kPa',
};

/** A series as the page draws it within a window; null: nothing was heard in it. */
export function lineOf(
  gathered: Gathered,
  subject: string,
  quantity: SeriesQuantity,
  window: Window,
  look: LineLook,
): Line | null {
  const points = pointsOf(gathered, subject, quantity, window.fromMs, window.toMs);
  return points === null ? null : drawn(gathered, points, UNITS[quantity], look);
}

/** Any points as a line. Thinned, and rounded to the unit's step. */
export function drawn(gathered: Gathered, points: Points, unit: string, look: LineLook): Line {
  const most = look.most ?? (look.role === 'judged' ? MOST_JUDGED : MOST_OTHER);
  return drawnAs(gathered, thin(points, most), points, unit, look);
}

/** Some of the points of a series as its line. @param kept both ends of every gap are among them */
export function drawnAs(gathered: Gathered, kept: Points, points: Points, unit: string, look: LineLook): Line {
  const { label, role, axis = 0 } = look;
  const steps = STEPS[unit] ?? 10;
  const round = (list: readonly number[]): number[] => list.map((v) => Math.round(v * steps) / steps);
  const s = kept.atMs.map((ms) => atS(gathered, ms));
  const { gapS, breaks } = gapsOf(s, kept, points);
  return {
    label,
    role,
    axis,
    s,
    v: round(kept.value),
    ...(kept.low && kept.high && { low: round(kept.low), high: round(kept.high) }),
    gapS,
    ...(breaks.length > 0 && { breaks }),
  };
}

/** Steps of one unit that are told, as of daemon/alerts/rounding.ts, which takes far longer over a million points; else ten. */
const STEPS: Readonly<Record<string, number>> = { share: 1000, rpm: 1, '': 1 };

/** Instants are told to a tenth of a second. */
const HALF_STEP_S = 0.05;

/**
 * What thinning leaves lies further apart than a gap. So the line is joined as far as its own widest step, and where that would
 * join over a gap, the point after it is named.
 */
function gapsOf(s: readonly number[], kept: Points, points: Points): { gapS: number; breaks: number[] } {
  const ends = new Set<number>();
  for (const [from] of stretches(points).slice(1)) ends.add(points.atMs[from]!);
  const step = (i: number): number => Math.round((s[i]! - s[i - 1]!) * 10) / 10;
  let widest = lengthS(points.gapMs);
  const breaks: number[] = [];
  for (let i = 1; i < s.length; i++) if (!ends.has(kept.atMs[i]!)) widest = Math.max(widest, step(i));
  for (let i = 1; i < s.length; i++) if (ends.has(kept.atMs[i]!) && step(i) <= widest) breaks.push(i);
  return { gapS: Math.round((widest + HALF_STEP_S) * 100) / 100, breaks };
}
