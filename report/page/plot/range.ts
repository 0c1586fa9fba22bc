import type { AxisUnit, Plot } from '../../data.js';

/** Nothing is drawn larger than this by itself: noise would look like news. In SI. */
const LEAST: Record<AxisUnit, number> = { kPa: 14, '°C': 6, mm: 3, 'km/h': 20, rpm: 200, share: 0.05, state: 3 };
const STATES: [number, number] = [-0.4, 3.4];
const FROM_ZERO = new Set<AxisUnit>(['km/h', 'rpm', 'share']);
const MARGIN = 0.07;

/**
 * What the axis spans, in SI: all that is seen of its lines, and its limits. A close look leaves out limits that are far away from
 * what is seen.
 * @param seen null: the whole plot
 */
export function valueRange(plot: Plot, axis: 0 | 1, seen: [fromS: number, toS: number] | null): [number, number] {
  const unit = plot.axes[axis]?.unit ?? 'kPa';
  if (unit === 'state') return STATES;
  let [low, high] = extent(plot, axis, seen);
  const limits = plot.limits.filter((limit) => limit.axis === axis).map(({ value }) => value);
  if (low > high) [low, high] = limits.length > 0 ? [Math.min(...limits), Math.max(...limits)] : [0, LEAST[unit]];
  const reach = Math.max(high - low, LEAST[unit]);
  const near = seen === null ? limits : limits.filter((value) => value > low - reach && value < high + reach);
  low = Math.min(low, ...near);
  high = Math.max(high, ...near);
  if (FROM_ZERO.has(unit) && seen === null) low = Math.min(low, 0);
  const missing = Math.max(0, LEAST[unit] - (high - low)) / 2;
  const margin = Math.max(high - low, LEAST[unit]) * MARGIN;
  const bottom = low - missing - margin;
  // Gauge pressures, speeds and shares do not go below zero by themselves.
  return [low >= 0 && unit !== '°C' ? Math.max(0, bottom) : bottom, high + missing + margin];
}

function extent(plot: Plot, axis: 0 | 1, seen: [number, number] | null): [number, number] {
  let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const line of plot.lines) {
    if (line.axis !== axis) continue;
    for (let i = 0; i < line.s.length; i++) {
      if (seen !== null && (line.s[i]! < seen[0] || line.s[i]! > seen[1])) continue;
      low = Math.min(low, line.low?.[i] ?? line.v[i]!);
      high = Math.max(high, line.high?.[i] ?? line.v[i]!);
    }
  }
  return [low, high];
}

/** A part of a plot that can be looked at: inside of it, and not so short that nothing is left. */
export function zoomTo(whole: [number, number], fromS: number, toS: number): [number, number] | null {
  const [from, to] = [Math.max(whole[0], Math.min(fromS, toS)), Math.min(whole[1], Math.max(fromS, toS))];
  return to - from < 1 || (from <= whole[0] && to >= whole[1]) ? null : [from, to];
}

const SHORTEST_S = 4;

/** The same part, larger (> 1) or smaller (< 1) around an instant. */
export function zoomBy(
  whole: [number, number],
  now: [number, number],
  factor: number,
  aroundS: number,
): [number, number] | null {
  if ((now[1] - now[0]) * factor < SHORTEST_S) return now;
  return zoomTo(whole, aroundS - (aroundS - now[0]) * factor, aroundS + (now[1] - aroundS) * factor);
}

/** So many that no two ticks read alike, and none reads as what it is not: steps may be 2.5. */
export function decimalsOf(step: number): number {
  for (let digits = 0; digits < 4; digits++) {
    const scaled = step * 10 ** digits;
    if (Math.abs(scaled - Math.round(scaled)) < 1e-6) return digits;
  }
  return 4;
}
