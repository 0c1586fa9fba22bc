import type { BoardAlert } from '../../core/board-model.js';
import { msOf } from '../words/time.js';

/** Where the lines of the small picture beside an alert run. Pure, in a box of WIDTH × HEIGHT. */

export const WIDTH = 260;
export const HEIGHT = 84;
/** Room for figures above and below the line. */
const PAD_X = 6;
const PAD_Y = 16;
/** Of the height, left below (or above) the line for where it is going. */
const AHEAD = 0.4;
/** Of the greatest value: what the height stands for at least. */
const LEAST_RANGE = 0.08;

export interface Point {
  x: number;
  y: number;
}

export interface Trend {
  /** Of the measured points, "x,y x,y". */
  line: string;
  first: Point & { value: number };
  last: Point & { value: number };
  nowX: number;
  /** Of the limit, where it is in the unit of the points. */
  limitY: number | null;
  /** at: where the line would be then. */
  forecast: { fromX: number; toX: number; at: Point } | null;
}

/** Null where there are not two points. */
export function trendOf(alert: Pick<BoardAlert, 'evidence' | 'measured' | 'forecast'>, nowMs: number): Trend | null {
  const points = alert.evidence?.points.map(([at, value]): [number, number] => [msOf(at), value]) ?? [];
  const [first, last] = [points[0], points.at(-1)];
  if (first === undefined || last === undefined || first === last) return null;
  const limit = limitOf(alert);
  const ahead = alert.forecast === null || msOf(alert.forecast.to) < nowMs ? null : alert.forecast;
  const endMs = Math.max(last[0], nowMs, ahead === null ? 0 : msOf(ahead.to));
  const { low, high, goal } = scaleOf(points, limit, ahead !== null);
  const x = (ms: number): number => round(PAD_X + ((ms - first[0]) / (endMs - first[0] || 1)) * (WIDTH - 2 * PAD_X));
  const y = (value: number): number =>
    round(HEIGHT - PAD_Y - ((value - low) / (high - low || 1)) * (HEIGHT - 2 * PAD_Y));
  const place = ([ms, value]: [number, number]) => ({ x: x(ms), y: y(value), value });
  return {
    line: points.map(([ms, value]) => `${x(ms)},${y(value)}`).join(' '),
    first: place(first),
    last: place(last),
    nowX: x(nowMs),
    limitY: limit === null ? null : y(limit),
    forecast: ahead && {
      fromX: x(msOf(ahead.from)),
      toX: x(msOf(ahead.to)),
      at: { x: x(msOf(ahead.at)), y: y(goal) },
    },
  };
}

/** Ends of the scale. The value that a forecast ends at is not in the message: the line goes on in its direction, to the edge. */
function scaleOf(points: [number, number][], limit: number | null, goesOn: boolean) {
  const values = points.map(([, value]) => value).concat(limit ?? []);
  let [low, high] = [Math.min(...values), Math.max(...values)];
  // The noise of a sensor shall not look like an event.
  const lacking = LEAST_RANGE * Math.abs(high) - (high - low);
  if (lacking > 0) [low, high] = [low - lacking / 2, high + lacking / 2];
  if (!goesOn) return { low, high, goal: low };
  const more = (high - low) * AHEAD;
  const falls = points.at(-1)![1] <= points[0]![1];
  return falls ? { low: low - more, high, goal: low - more } : { low, high: high + more, goal: high + more };
}

/** The limit, if it is of the quantity that the points show. */
function limitOf({ evidence, measured }: Pick<BoardAlert, 'evidence' | 'measured'>): number | null {
  if (evidence === null || measured === null || !('value' in measured)) return null;
  return measured.unit === evidence.unit ? (measured.limit ?? null) : null;
}

const round = (n: number): number => Math.round(n * 10) / 10;
