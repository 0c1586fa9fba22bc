import type { Forecast, Measured } from '../alerts/event.js';
import type { StreamMs } from '../time.js';
import { type Slope, theilSen } from './arithmetic/theil-sen.js';

/** A slope needs so many points of the run before it may forecast. */
const LEAST_POINTS = 6;
const DAY_MS = 86_400_000;
/** Further than a year nobody forecasts. */
const MOST_MS = 365 * DAY_MS;

/** Slope of a trace since an instant, per ms; null with fewer than three points. */
export function slopeSince(at: readonly StreamMs[], values: readonly number[], since: StreamMs): Slope | null {
  const from = at.findIndex((t) => t >= since);
  return from < 0 ? null : theilSen(at.slice(from), values.slice(from));
}

/** As `slopeSince`, of enough points to tell what is to come. */
export function lastingSlope(at: readonly StreamMs[], values: readonly number[], since: StreamMs): Slope | null {
  const points = at.length - at.findIndex((t) => t >= since);
  return points < LEAST_POINTS || points > at.length ? null : slopeSince(at, values, since);
}

/**
 * When a falling pressure reaches a share of its target.
 * @param aboveKpa how far it stands above that now @param slope of the pressure, kPa per ms @param sinceMs age of `aboveKpa`
 * @returns null when it is there already, or when even the interval of the slope does not say that it falls
 */
export function forecastOf(share: number, aboveKpa: number, slope: Slope | null, sinceMs: number): Forecast | null {
  if (slope === null || !(aboveKpa > 0) || slope.high >= 0) return null;
  const ms = (perMs: number): number => Math.max(0, Math.round(Math.min(aboveKpa / -perMs, MOST_MS)) - sinceMs);
  return {
    what: `${Math.round(share * 100)} % of cold pressure`,
    inMs: ms(slope.slope),
    fromMs: ms(slope.low),
    toMs: ms(slope.high),
  };
}

/** A fall over days, kPa per day, with the ends of its interval. */
export interface DailyFall {
  kpaPerDay: number;
  lowKpaPerDay: number;
  highKpaPerDay: number;
}

/** What the cold starts say of a leak: as it is judged (the smaller of own and against the peers), and the tire by itself. */
export interface SlowLeak {
  judged: DailyFall;
  own: DailyFall;
  fallenKpa: number;
  /** Cold pressure at the last of them, kPa gauge, and when that was. */
  coldKpa: number;
  startedAt: StreamMs;
}

export function slowForecast(leak: SlowLeak, share: number, targetKpa: number, t: StreamMs): Forecast | null {
  const { kpaPerDay, lowKpaPerDay, highKpaPerDay } = leak.own;
  const perMs = (fallPerDay: number): number => -fallPerDay / DAY_MS;
  const slope = { slope: perMs(kpaPerDay), low: perMs(highKpaPerDay), high: perMs(lowKpaPerDay) };
  return forecastOf(share, leak.coldKpa - share * targetKpa, slope, t - leak.startedAt);
}

/** @param limit kPa per day */
export function measuredSlow(leak: SlowLeak | null, limit: number): Measured | null {
  if (leak === null) return null;
  const { kpaPerDay, lowKpaPerDay, highKpaPerDay } = leak.judged;
  return {
    quantity: 'leak rate',
    window: 'slow',
    value: kpaPerDay,
    low: lowKpaPerDay,
    high: highKpaPerDay,
    limit,
    unit: 'kPa/day',
    quality: 'good',
  };
}
