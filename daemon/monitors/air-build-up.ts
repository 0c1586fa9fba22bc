import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import type { AirMoment } from './air-moment.js';

/** Two steps of a service pressure: air that goes elsewhere. kPa */
const FALL_KPA = 8;

/** Readings lie a step apart: when a pressure passed a limit is known to a second or two. */
export interface BuildUpState {
  /** Lower service circuit at the last tick; -1: not known, or air was used. */
  lastKpa: number;
  /** When it passed the lower limit; NEVER: it did not, or something came between. */
  fromAt: StreamMs;
  topKpa: number;
  /** Of the engine since then: sum over ticks, and lowest. */
  rpmSum: number;
  ticks: number;
  leastRpm: number;
}

export const newBuildUp = (): BuildUpState => ({
  lastKpa: -1,
  fromAt: NEVER,
  topKpa: 0,
  rpmSum: 0,
  ticks: 0,
  leastRpm: 0,
});

/** One build-up of the lower service circuit from one limit to the other, with no air used. */
export interface BuildUp {
  seconds: number;
  /** null: engine speed was not known throughout. */
  meanRpm: number | null;
  leastRpm: number;
  /** False: it had not come to the upper limit after `seconds`. */
  isDone: boolean;
}

/** Times build-ups. Given at the tick at which one ends, or has gone on for longestMs. */
export function timeBuildUp(
  s: BuildUpState,
  m: AirMoment,
  fromKpa: number,
  toKpa: number,
  longestMs: number,
): BuildUp | null {
  const before = s.lastKpa;
  const kpa = m.lowerKpa;
  const isVoid = m.isFirst || Number.isNaN(kpa) || m.usedAt === m.t || (s.fromAt > NEVER && kpa < s.topKpa - FALL_KPA);
  s.lastKpa = isVoid ? -1 : kpa;
  if (isVoid) {
    s.fromAt = NEVER;
    return null;
  }
  if (before < 0) return null;
  const passed = (limit: number): StreamMs => m.t - Math.round(((kpa - limit) / (kpa - before)) * TICK_MS);
  if (s.fromAt === NEVER) {
    if (!(before < fromKpa && kpa >= fromKpa)) return null;
    Object.assign(s, { fromAt: passed(fromKpa), topKpa: kpa, rpmSum: 0, ticks: 0, leastRpm: Number.MAX_VALUE });
  }
  s.topKpa = Math.max(s.topKpa, kpa);
  s.ticks++;
  const rpm = Number.isNaN(m.rpm) ? -1 : m.rpm;
  s.rpmSum += rpm;
  s.leastRpm = Math.min(s.leastRpm, rpm);
  const isDone = kpa >= toKpa;
  if (!isDone && m.t - s.fromAt < longestMs) return null;
  const seconds = ((isDone ? passed(toKpa) : m.t) - s.fromAt) / 1000;
  const { leastRpm } = s;
  s.fromAt = NEVER;
  return { seconds, meanRpm: leastRpm < 0 ? null : s.rpmSum / s.ticks, leastRpm, isDone };
}
