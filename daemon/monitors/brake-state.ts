import { adopt } from '../state.js';
import { NEVER, type StreamMs } from '../time.js';
import { type GrowthState, newGrowth } from './brake-growth.js';

/** States of BSA (SPN 3785–3804). 4 and 5 are reserved, 7 is not fitted. */
export const STROKE = { ok: 0, notFunctioning: 1, overStroke: 2, dragging: 3, error: 6 } as const;
export const STROKE_TEXT: readonly string[] = ['ok', 'non-functioning', 'over-stroke', 'dragging'];

/** BSA comes once a second; what else tells a stroke is learned. */
const FIRST_INTERVAL_MS = 1000;
const LEAST_AGE_MS = 2_000;
const MOST_AGE_MS = 10_000;

/** What is known of one brake. Plain data; strokes in mm, −1: none. */
export interface WheelEndState {
  code: number;
  at: StreamMs;
  intervalMs: number;
  /** bus << 8 | source address that is believed; -1 none. */
  source: number;
  /** Last frame in which the believed sender called the sensor faulty. */
  faultAt: StreamMs;
  /** Frames of the running application, by code 0…3. */
  frames: number[];
  /** Last measured pushrod stroke. */
  strokeMm: number;
  strokeAt: StreamMs;
  strokeIntervalMs: number;
  /** Greatest of the running application: at all, and at pressures of the judged band. */
  peakMm: number;
  bandPeakMm: number;
  /** Greatest since the pressure was told last, which was in the band: it counts when the next one is not above it. */
  pendingMm: number;
  pressureAt: StreamMs;
  /** Last one at rest; least of the running pause between applications, and of the one before. */
  restMm: number;
  pauseMm: number;
  pauseBeforeMm: number;
  /** Least of the last pauses, newest last, and their median once there are enough. */
  restsMm: number[];
  learnedRestMm: number;
  /** Last stroke that was held against the limit, and what it was beyond that of the other side. */
  judgedMm: number;
  unevenMm: number;
  growth: GrowthState;
  /** Lining left as told last, a share; −1: never told. What was told last, newest last, as far as it is counted. */
  lining: number;
  linings: number[];
  liningAt: StreamMs;
  liningSource: number;
}

const newWheelEnd = (): WheelEndState => ({
  code: STROKE.ok,
  at: NEVER,
  intervalMs: FIRST_INTERVAL_MS,
  source: -1,
  faultAt: NEVER,
  frames: [0, 0, 0, 0],
  strokeMm: -1,
  strokeAt: NEVER,
  strokeIntervalMs: FIRST_INTERVAL_MS,
  peakMm: -1,
  bandPeakMm: -1,
  pendingMm: -1,
  pressureAt: NEVER,
  restMm: -1,
  pauseMm: -1,
  pauseBeforeMm: -1,
  restsMm: [],
  learnedRestMm: -1,
  judgedMm: -1,
  unevenMm: 0,
  growth: newGrowth(),
  lining: -1,
  linings: [],
  liningAt: NEVER,
  liningSource: -1,
});

/** The state of a brake; of one that an earlier version has saved, with what is new. It stays part of `states`. */
export function wheelEndOf(states: Record<string, WheelEndState>, subject: string): WheelEndState {
  const saved = states[subject];
  const state = saved === undefined ? newWheelEnd() : adopt(newWheelEnd(), saved);
  states[subject] = state;
  return state;
}

/** Nothing that was heard is fresh any more, and the running application is none. */
export function quiesceWheelEnd(s: WheelEndState): void {
  s.at = NEVER;
  s.faultAt = NEVER;
  s.strokeAt = NEVER;
  s.pressureAt = NEVER;
  s.frames.fill(0);
  s.peakMm = -1;
  s.bandPeakMm = -1;
  s.pendingMm = -1;
  s.pauseMm = -1;
}

const within = (ms: number): number => Math.max(LEAST_AGE_MS, Math.min(ms, MOST_AGE_MS));
const WEIGHT = 1 / 8;

/** Age limits, ms: 3 × learned interval, 2…10 s. */
export const statusAge = (s: WheelEndState): number => within(3 * s.intervalMs);
export const strokeAge = (s: WheelEndState): number => within(3 * s.strokeIntervalMs);

/** What an interval is after one more reading; longer gaps teach nothing. */
export const learned = (intervalMs: number, sinceMs: number): number =>
  sinceMs > 0 && sinceMs < 6 * MOST_AGE_MS ? intervalMs + (sinceMs - intervalMs) * WEIGHT : intervalMs;

/** Is a state told? A state, or that the sensor is faulty? A stroke? */
export const tellsState = (s: WheelEndState, t: StreamMs): boolean => t - s.at <= statusAge(s);
export const tellsStatus = (s: WheelEndState, t: StreamMs): boolean => t - Math.max(s.at, s.faultAt) <= statusAge(s);
export const tellsStroke = (s: WheelEndState, t: StreamMs): boolean => t - s.strokeAt <= strokeAge(s);

/** Strokes are compared to a thousandth of a millimetre: finer than any sender, and free of binary fractions. */
export const toStep = (mm: number): number => Math.round(mm * 1000) / 1000;
