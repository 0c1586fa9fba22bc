import { NEVER, type StreamMs } from '../../time.js';

/**
 * Leak detector: S = max(0, S + (x_prev − x) − r0·dt) over the readings of one sensor. S is the fall in kPa beyond what a
 * healthy tire may do. It finds leaks several times sooner than a regression window at the same false rate.
 */
export interface FallState {
  sumKpa: number;
  /** Since when S has been above zero. */
  runAt: StreamMs;
}

export const newFall = (): FallState => ({ sumKpa: 0, runAt: NEVER });

/** @param fallKpa x_prev − x, NaN when either is unknown @param allowedKpaPerMin r0 @param gapMs reset over a longer gap */
export function addFall(
  f: FallState,
  t: StreamMs,
  fallKpa: number,
  sinceMs: number,
  allowedKpaPerMin: number,
  gapMs: number,
): void {
  if (Number.isNaN(fallKpa) || sinceMs > gapMs) {
    f.sumKpa = 0;
    f.runAt = NEVER;
    return;
  }
  const sum = f.sumKpa + fallKpa - (allowedKpaPerMin * sinceMs) / 60_000;
  if (sum > 0 && f.sumKpa <= 0) f.runAt = t - sinceMs;
  f.sumKpa = Math.max(0, sum);
  if (f.sumKpa === 0) f.runAt = NEVER;
}

/** Since both pressures fall, the one must have lost this part of what the other did: a leak takes the same from both. */
const ALIKE = 1 / 3;

/** The falls of the raw and of the cold-equivalent pressure of one tire. */
export interface TwoFalls {
  steadyRaw: FallState;
  steadyCold: FallState;
  /** What the one had lost when the run of the other began, whichever began last. kPa */
  otherKpa: number;
}

/** One reading, as `addFall`. */
export function addToBoth(
  falls: TwoFalls,
  t: StreamMs,
  fallKpa: { raw: number; cold: number },
  sinceMs: number,
  allowedKpaPerMin: number,
  gapMs: number,
): void {
  const { steadyRaw: raw, steadyCold: cold } = falls;
  const before = { raw: raw.sumKpa, rawAt: raw.runAt, cold: cold.sumKpa, coldAt: cold.runAt };
  addFall(raw, t, fallKpa.raw, sinceMs, allowedKpaPerMin, gapMs);
  addFall(cold, t, fallKpa.cold, sinceMs, allowedKpaPerMin, gapMs);
  if (raw.runAt !== before.rawAt) falls.otherKpa = before.cold;
  if (cold.runAt !== before.coldAt) falls.otherKpa = before.raw;
}

/**
 * Do both pressures fall at the same time? What one lost some time ago and gets back now, and what the other only begins to
 * lose, are heat that comes and goes (simulated: a bus that cools on a plain and meets the next grade), and no leak.
 */
export function fallTogether({ steadyRaw: raw, steadyCold: cold, otherKpa }: TwoFalls): boolean {
  const [first, later] = cold.runAt > raw.runAt ? [raw, cold] : [cold, raw];
  return first.sumKpa - otherKpa >= later.sumKpa * ALIKE;
}
