/** Seconds between two points of a piece; each is the mean of the readings of the seconds up to it. */
export const POINT_S = 5;
/** A fall of fewer steps of its sensor tells no rate. */
const LEAST_STEPS = 3;
/** A leak goes on evenly: the rates of three thirds differ by no more than this. */
const AGREE = 2;

/** What one service circuit did in a piece of time in which nothing but a leak changes it. */
export interface Piece {
  seconds: number;
  /** From the first to the last point. */
  fallKpa: number;
  kpaPerMin: number;
  /** Rates of its three thirds, kPa/min, in order. */
  thirds: [number, number, number];
  /** Deep and even enough to be a leak of this rate. */
  isLeak: boolean;
  /** Whatever the steps hide, it loses no more than this. */
  mostKpaPerMin: number;
}

/**
 * @param points kPa, POINT_S apart, at least four @param stepKpa what the sensor can tell apart
 */
export function assess(points: readonly number[], stepKpa: number): Piece {
  const last = points.length - 1;
  const perMin = (from: number, to: number): number => ((points[from]! - points[to]!) * 60) / ((to - from) * POINT_S);
  const one = Math.round(last / 3);
  const two = Math.round((2 * last) / 3);
  const thirds: Piece['thirds'] = [perMin(0, one), perMin(one, two), perMin(two, last)];
  const fallKpa = points[0]! - points[last]!;
  const seconds = last * POINT_S;
  const isEven = Math.min(...thirds) > 0 && Math.max(...thirds) <= AGREE * Math.min(...thirds);
  return {
    seconds,
    fallKpa,
    kpaPerMin: perMin(0, last),
    thirds,
    isLeak: fallKpa >= LEAST_STEPS * stepKpa && isEven,
    mostKpaPerMin: ((fallKpa + stepKpa) * 60) / seconds,
  };
}
