import { AFTER_END_MS } from '../../daemon/monitors/applications.js';
import type { Gathered } from '../gathered.js';
import { brakeApplications } from './brake-applications.js';
import { firstAt, type Points, pointsOf, seriesOf, tiresOf, type Window, wheelEndOf } from './kit.js';

/** States, pedal and pressure are told by different senders: one that is told a little early or late is of the application. */
const NEAR_MS = 2 * AFTER_END_MS;

/** Readings of the state of a wheel end that were told with the brakes released. */
export interface Released {
  readings: number;
  saying: number;
  firstMs: number;
  lastMs: number;
}

/** How often a wheel end said a state with the brakes released; null: readings were not kept. */
export function releasedSaying(gathered: Gathered, subject: string, code: number, window: Window): Released | null {
  const states = seriesOf(gathered, subject, 'stroke state');
  if (states === null || states.low !== undefined) return null;
  const isApplied = new Uint8Array(states.atMs.length);
  for (const { startMs, endMs } of brakeApplications(gathered))
    isApplied.fill(1, firstAt(states.atMs, startMs - NEAR_MS), firstAt(states.atMs, endMs + NEAR_MS + 1));
  const found: Released = { readings: 0, saying: 0, firstMs: Number.NaN, lastMs: Number.NaN };
  const end = firstAt(states.atMs, window.toMs + 1);
  for (let i = firstAt(states.atMs, window.fromMs); i < end; i++) {
    if (isApplied[i] === 1) continue;
    const atMs = states.atMs[i]!;
    found.readings++;
    if (states.value[i] !== code) continue;
    if (found.saying === 0) found.firstMs = atMs;
    found.saying++;
    found.lastMs = atMs;
  }
  return found;
}

/** How the hottest tire of a wheel end went: at the beginning of a window, and its greatest in it. */
export interface Heat {
  startC: number;
  hottestC: number;
}

/** null: no temperature is known there, or none at the beginning. */
export function heatOf(gathered: Gathered, wheelEnd: string, window: Window): Heat | null {
  const tires = tiresOf(gathered).filter((tire) => wheelEndOf(tire) === wheelEnd);
  const heats = tires
    .map((tire) => heatOfPoints(pointsOf(gathered, tire, 'temperature', window.fromMs, window.toMs)))
    .filter((heat) => heat !== null);
  if (heats.length === 0) return null;
  return heats.reduce((a, b) => (b.hottestC - b.startC > a.hottestC - a.startC ? b : a));
}

const heatOfPoints = (points: Points | null): Heat | null =>
  points === null ? null : { startC: points.value[0]!, hottestC: Math.max(...(points.high ?? points.value)) };
