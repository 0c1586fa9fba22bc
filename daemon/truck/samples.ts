import { NEVER, type StreamMs } from '../time.js';

/**
 * The latest good value of one signal, from the one source that is believed. A second sender of the same signal is
 * listened to only when the first has been silent past its age limit: two senders that disagree must not make the
 * value jump to and fro.
 */
export interface Sample {
  value: number;
  at: StreamMs;
  /** Learned time between readings, ms. */
  intervalMs: number;
  /** bus << 8 | source address; -1 none yet. */
  source: number;
}

/** Age limits of groups that are sent at 1 s or faster. */
const LEAST_MS = 2_000;
const MOST_MS = 10_000;
/** Weight of the newest interval in the learned one. */
const WEIGHT = 0.125;

export const newSample = (intervalMs: number): Sample => ({ value: 0, at: NEVER, intervalMs, source: -1 });

/** How old the sample may be and still count, ms: 3 × learned interval, 2…10 s. */
export function ageLimit(s: Sample): number {
  const limit = 3 * s.intervalMs;
  return Math.max(LEAST_MS, Math.min(limit, MOST_MS));
}

export const isFresh = (s: Sample, t: StreamMs): boolean => t - s.at <= ageLimit(s);

/** Takes a good value; false when another source is the believed one. */
export function take(s: Sample, t: StreamMs, source: number, value: number): boolean {
  const dt = t - s.at;
  if (s.source !== source) {
    if (dt <= ageLimit(s)) return false;
    s.source = source;
  } else if (dt > 0 && dt < 6 * MOST_MS) {
    s.intervalMs += (dt - s.intervalMs) * WEIGHT;
  }
  s.value = value;
  s.at = t;
  return true;
}

/** The value if it is fresh, else NaN. An old value is unknown, not false. */
export const valueAt = (s: Sample, t: StreamMs): number => (isFresh(s, t) ? s.value : Number.NaN);
