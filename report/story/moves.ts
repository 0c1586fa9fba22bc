import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { MAX_POINTS, theilSen } from '../../daemon/monitors/arithmetic/theil-sen.js';
import type { Points } from './series.js';

/** How a reading moved from one moment to another. */
export interface Move {
  /** Medians of the first and of the last readings. */
  from: number;
  to: number;
  change: number;
}

const ENDS = 3;

/** From the first three readings to the last three; fewer where there are less. null: none. */
export function moveOf(points: Points | null): Move | null {
  if (points === null || points.value.length === 0) return null;
  const n = Math.min(ENDS, Math.ceil(points.value.length / 2));
  const from = medianInPlace(points.value.slice(0, n));
  const to = medianInPlace(points.value.slice(-n));
  return { from, to, change: to - from };
}

export interface PerMinute {
  /** Change a minute, and the ends of its 95 % interval. */
  perMin: number;
  low: number;
  high: number;
}

const MIN_MS = 60_000;

/** Slope by Theil and Sen, of at most sixty binned points. null with fewer than three. */
export function slopeOf(points: Points | null): PerMinute | null {
  if (points === null) return null;
  const { atMs, value } = binned(points);
  const slope = theilSen(atMs, value);
  if (slope === null) return null;
  return { perMin: slope.slope * MIN_MS, low: slope.low * MIN_MS, high: slope.high * MIN_MS };
}

function binned({ atMs, value }: Points): { atMs: number[]; value: number[] } {
  const n = atMs.length;
  if (n <= MAX_POINTS) return { atMs, value };
  const out: { atMs: number[]; value: number[] } = { atMs: [], value: [] };
  for (let b = 0; b < MAX_POINTS; b++) {
    const [from, to] = [Math.floor((b * n) / MAX_POINTS), Math.floor(((b + 1) * n) / MAX_POINTS)];
    out.atMs.push(medianInPlace(atMs.slice(from, to)));
    out.value.push(medianInPlace(value.slice(from, to)));
  }
  return out;
}

/** The greatest change between two readings with no gap between them, and its share of the whole change. */
export interface Step {
  atMs: number;
  before: number;
  after: number;
  apartMs: number;
}

/** sign: −1 looks for a fall, 1 for a rise. null: fewer than two readings. */
export function largestStep({ atMs, value, gapMs }: Points, sign: -1 | 1): Step | null {
  let best: Step | null = null;
  for (let i = 1; i < atMs.length; i++) {
    const apartMs = atMs[i]! - atMs[i - 1]!;
    if (apartMs > gapMs) continue;
    const by = sign * (value[i]! - value[i - 1]!);
    if (best === null || by > sign * (best.after - best.before))
      best = { atMs: atMs[i]!, before: value[i - 1]!, after: value[i]!, apartMs };
  }
  return best;
}

const STEP_SHARE = 0.7;

/**
 * Did it change at one stroke, and stay there? The largest step makes up most of the change between what stood before it and
 * after it (medians of what the points have on both sides).
 */
export function isStep(points: Points, step: Step): boolean {
  const at = points.atMs.indexOf(step.atMs);
  const before = medianInPlace(points.value.slice(Math.max(0, at - 10), at));
  const after = medianInPlace(points.value.slice(at, at + 10));
  const whole = Math.abs(after - before);
  return (
    whole > 0 &&
    Math.abs(step.after - step.before) >= STEP_SHARE * whole &&
    whole >= STEP_SHARE * Math.abs(step.after - step.before)
  );
}

/** Do most of the others move the same way by at least this part of what this one did? Unknown with fewer than two of them. */
export function didPeersMoveToo(own: Move, peers: readonly Move[], part = 0.5): boolean | null {
  if (peers.length < 2) return null;
  const alike = peers.filter((p) => p.change * Math.sign(own.change) >= part * Math.abs(own.change));
  return alike.length * 2 > peers.length;
}

/** Longest run of the same value at the end of what there is, in readings; and since when. */
export function lastRepeat({ atMs, value }: Points): { readings: number; sinceMs: number; toMs: number } {
  let i = value.length - 1;
  while (i > 0 && value[i - 1] === value[i]) i--;
  return { readings: value.length - i, sinceMs: atMs[i]!, toMs: atMs.at(-1)! };
}
