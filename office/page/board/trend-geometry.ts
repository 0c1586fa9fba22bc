import type { BoardAlert } from '../../core/board-model.js';
import { msOf } from '../words/time.js';

/** Where the lines of the small picture beside an alert run. Pure, in a box of WIDTH × HEIGHT. */

export const WIDTH = 260;
export const HEIGHT = 76;
const PAD = 6;

export interface Trend {
  /** Of the measured points, "x,y x,y". */
  line: string;
  last: { x: number; y: number };
  nowX: number;
  /** Of the limit, where it is in the unit of the points. */
  limitY: number | null;
  forecast: { fromX: number; atX: number; toX: number } | null;
  low: number;
  high: number;
  firstMs: number;
  endMs: number;
}

/** Null where there are not two points. */
export function trendOf(alert: Pick<BoardAlert, 'evidence' | 'measured' | 'forecast'>, nowMs: number): Trend | null {
  const points = alert.evidence?.points.map(([at, value]): [number, number] => [msOf(at), value]) ?? [];
  const [first, last] = [points[0], points.at(-1)];
  if (alert.evidence == null || first === undefined || last === undefined || first === last) return null;
  const limit = limitOf(alert);
  const ahead = alert.forecast === null || msOf(alert.forecast.to) < nowMs ? null : alert.forecast;
  const endMs = Math.max(last[0], nowMs, ahead === null ? 0 : msOf(ahead.to));
  const values = points.map(([, value]) => value).concat(limit ?? []);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const x = (ms: number): number => round(PAD + ((ms - first[0]) / (endMs - first[0] || 1)) * (WIDTH - 2 * PAD));
  const y = (value: number): number => round(HEIGHT - PAD - ((value - low) / (high - low || 1)) * (HEIGHT - 2 * PAD));
  return {
    line: points.map(([ms, value]) => `${x(ms)},${y(value)}`).join(' '),
    last: { x: x(last[0]), y: y(last[1]) },
    nowX: x(nowMs),
    limitY: limit === null ? null : y(limit),
    forecast: ahead === null ? null : { fromX: x(msOf(ahead.from)), atX: x(msOf(ahead.at)), toX: x(msOf(ahead.to)) },
    low,
    high,
    firstMs: first[0],
    endMs,
  };
}

/** The limit, if it is of the quantity that the points show. */
function limitOf({ evidence, measured }: Pick<BoardAlert, 'evidence' | 'measured'>): number | null {
  if (evidence === null || measured === null || !('value' in measured)) return null;
  return measured.unit === evidence.unit ? (measured.limit ?? null) : null;
}

const round = (n: number): number => Math.round(n * 10) / 10;
