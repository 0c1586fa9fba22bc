import { medianInPlace } from './median.js';

export interface Slope {
  /** Per millisecond, and the ends of its 95 % interval. */
  slope: number;
  low: number;
  high: number;
}

/** At most this many points: the pairs grow with the square. */
export const MAX_POINTS = 60;
/** Two-sided 95 % of the normal distribution. */
const Z95 = 1.96;

/**
 * Slope through points by Theil and Sen (median of the slopes of all pairs), with Sen's interval, widened by
 * √((1+ρ)/(1−ρ)) where ρ is the lag-1 autocorrelation of the residuals: readings of one sensor are not independent.
 * @param at instants, ms, rising @param values same length, at most MAX_POINTS of the end are used
 * @returns null with fewer than three points
 */
export function theilSen(at: readonly number[], values: readonly number[]): Slope | null {
  const from = Math.max(0, at.length - MAX_POINTS);
  const n = at.length - from;
  if (n < 3) return null;
  const slopes: number[] = [];
  for (let i = from; i < at.length; i++) {
    for (let j = i + 1; j < at.length; j++) {
      const dt = at[j]! - at[i]!;
      if (dt > 0) slopes.push((values[j]! - values[i]!) / dt);
    }
  }
  if (slopes.length < 3) return null;
  const slope = medianInPlace(slopes);
  const spread = Math.sqrt((n * (n - 1) * (2 * n + 5)) / 18);
  const c = Z95 * spread * widening(at, values, from, slope);
  const last = slopes.length - 1;
  // Sen: of the slopes in rising order the M1-th and the (M2 + 1)-th, counted from one.
  const lowAt = Math.round((slopes.length - c) / 2) - 1;
  const highAt = Math.round((slopes.length + c) / 2);
  return {
    slope,
    low: slopes[Math.min(last, Math.max(0, lowAt))]!,
    high: slopes[Math.max(0, Math.min(last, highAt))]!,
  };
}

function widening(at: readonly number[], values: readonly number[], from: number, slope: number): number {
  const residuals: number[] = [];
  for (let i = from; i < at.length; i++) residuals.push(values[i]! - slope * (at[i]! - at[from]!));
  const middle = medianInPlace([...residuals]);
  let above = 0;
  let below = 0;
  let before = 0;
  for (let i = 0; i < residuals.length; i++) {
    const r = residuals[i]! - middle;
    below += r * r;
    if (i > 0) above += r * before;
    before = r;
  }
  const rho = below > 0 ? Math.min(0.9, Math.max(0, above / below)) : 0;
  return Math.sqrt((1 + rho) / (1 - rho));
}
