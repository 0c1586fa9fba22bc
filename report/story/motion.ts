import { MOVING_KMH } from '../../daemon/truck/context.js';
import type { Gathered } from '../gathered.js';
import { firstAt, type Points, seriesOf } from './series.js';

/** Moving and standing time by the speed that was heard. */
export interface Motion {
  movingMs: number;
  standingMs: number;
}

/** Running sums beside each reading of speed. */
interface Sums {
  points: Points;
  moving: number[];
  standing: number[];
}

const KNOWN = new WeakMap<Gathered, Sums | null>();

/** How long the truck moved and stood within [fromMs, toMs]. Time in which no speed was heard is in neither. */
export function motionIn(gathered: Gathered, fromMs: number, toMs: number): Motion {
  let sums = KNOWN.get(gathered);
  if (sums === undefined) {
    sums = sumsOf(gathered);
    KNOWN.set(gathered, sums);
  }
  if (sums === null) return { movingMs: 0, standingMs: 0 };
  const from = firstAt(sums.points.atMs, fromMs);
  const to = firstAt(sums.points.atMs, toMs + 1) - 1;
  if (to <= from) return { movingMs: 0, standingMs: 0 };
  return {
    movingMs: sums.moving[to]! - sums.moving[from]!,
    standingMs: sums.standing[to]! - sums.standing[from]!,
  };
}

function sumsOf(gathered: Gathered): Sums | null {
  const points = seriesOf(gathered, 'tractor', 'speed');
  if (points === null) return null;
  const moving = [0];
  const standing = [0];
  for (let i = 1; i < points.atMs.length; i++) {
    const ms = points.atMs[i]! - points.atMs[i - 1]!;
    const known = ms <= points.gapMs ? ms : 0;
    const isMoving = points.value[i - 1]! >= MOVING_KMH;
    moving.push(moving[i - 1]! + (isMoving ? known : 0));
    standing.push(standing[i - 1]! + (isMoving ? 0 : known));
  }
  return { points, moving, standing };
}

/** Did it stand (or was nothing heard of speed) all the time between? */
export const stoodBetween = (gathered: Gathered, fromMs: number, toMs: number): boolean =>
  motionIn(gathered, fromMs, toMs).movingMs === 0;
