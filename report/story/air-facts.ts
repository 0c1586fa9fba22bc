import { ENGINE_RUNNING_RPM } from '../../daemon/truck/context.js';
import type { Gathered } from '../gathered.js';
import { applicationsIn } from './brake-applications.js';
import { firstAt, type Points, pointsOf, seriesOf, valueBefore, type Window } from './kit.js';

/** How one circuit went over a window. */
export interface Fall {
  circuit: string;
  fromKpa: number;
  toKpa: number;
  /** kPa; below zero: it rose. */
  fallKpa: number;
}

const MEAN_READINGS = 3;

/** From the mean of its first readings to the mean of its last. null: it was not heard in the window. */
export function fallOf(gathered: Gathered, circuit: string, { fromMs, toMs }: Window): Fall | null {
  const points = pointsOf(gathered, circuit, 'pressure', fromMs, toMs);
  if (points === null) return null;
  const mean = (list: readonly number[]): number => list.reduce((a, b) => a + b, 0) / list.length;
  const n = Math.min(MEAN_READINGS, points.value.length);
  const [fromKpa, toKpa] = [mean(points.value.slice(0, n)), mean(points.value.slice(-n))];
  return { circuit, fromKpa, toKpa, fallKpa: fromKpa - toKpa };
}

/** Air that an application takes is gone within so long after it. */
const AFTER_MS = 5_000;
const BEFORE_MS = 1_000;

/** How far a circuit fell while the brakes were pressed, and how far at other times; rises count for nothing. */
export interface Use {
  pressedKpa: number;
  otherKpa: number;
}

export function useOf(gathered: Gathered, circuit: string, window: Window): Use | null {
  const points = pointsOf(gathered, circuit, 'pressure', window.fromMs, window.toMs);
  if (points === null || points.low !== undefined) return null;
  const isPressed = new Uint8Array(points.atMs.length);
  for (const { startMs, endMs } of applicationsIn(gathered, window))
    isPressed.fill(1, firstAt(points.atMs, startMs - BEFORE_MS), firstAt(points.atMs, endMs + AFTER_MS + 1));
  const use: Use = { pressedKpa: 0, otherKpa: 0 };
  for (let i = 1; i < points.atMs.length; i++) {
    const fell = points.value[i - 1]! - points.value[i]!;
    if (fell <= 0) continue;
    if (isPressed[i] === 1) use.pressedKpa += fell;
    else use.otherKpa += fell;
  }
  return use;
}

/** No longer ago than this a fall is looked for. */
const MOST_FALL_MS = 15 * 60_000;

/** So much of a fall is the ripple before it. */
const RIPPLE = 0.05;

/** From when on the circuit fell to what it is at an instant, at most a quarter of an hour back. null: not heard. */
export function fallBegan(gathered: Gathered, circuit: string, atMs: number): number | null {
  const points = pointsOf(gathered, circuit, 'pressure', atMs - MOST_FALL_MS, atMs);
  if (points === null) return null;
  const values = points.high ?? points.value;
  const topKpa = values.reduce((a, b) => Math.max(a, b));
  const near = topKpa - RIPPLE * (topKpa - points.value.at(-1)!);
  return points.atMs[values.findLastIndex((kpa) => kpa >= near)]!;
}

/** Difference of two circuits, at the readings of the first one. */
export function differenceOf(first: Points | null, second: Points | null): Points | null {
  if (first === null || second === null) return null;
  const found: Points = { atMs: [], value: [], gapMs: first.gapMs };
  for (const [i, atMs] of first.atMs.entries()) {
    const other = valueBefore(second, atMs);
    if (Number.isNaN(other)) continue;
    found.atMs.push(atMs);
    found.value.push(Math.abs(first.value[i]! - other));
  }
  return found.atMs.length === 0 ? null : found;
}

/** Greatest less least of a circuit in a window; NaN: not heard. */
export function rangeOf(gathered: Gathered, circuit: string, { fromMs, toMs }: Window): number {
  const points = pointsOf(gathered, circuit, 'pressure', fromMs, toMs);
  if (points === null) return Number.NaN;
  const greatest = (points.high ?? points.value).reduce((a, b) => Math.max(a, b));
  return greatest - (points.low ?? points.value).reduce((a, b) => Math.min(a, b));
}

/** How long the engine had run at an instant since the data began, ms. null: readings of its speed were not kept. */
export function runningUntil(gathered: Gathered): ((atMs: number) => number) | null {
  const rpm = seriesOf(gathered, 'tractor', 'engine speed');
  if (rpm === null || rpm.low !== undefined) return null;
  const sums = [0];
  for (let i = 1; i < rpm.atMs.length; i++) {
    const apart = rpm.atMs[i]! - rpm.atMs[i - 1]!;
    const isRunning = apart <= rpm.gapMs && rpm.value[i - 1]! >= ENGINE_RUNNING_RPM;
    sums.push(sums[i - 1]! + (isRunning ? apart : 0));
  }
  return (atMs) => sums[Math.min(sums.length - 1, firstAt(rpm.atMs, atMs))]!;
}
