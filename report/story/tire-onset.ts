import { shown } from '../../config/show.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import type { Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { moveOf, slopeOf } from './moves.js';
import { matesOf } from './peers.js';
import { type Points, pointsOf } from './series.js';
import { kpaApart, type TireScene } from './tire-scene.js';
import { atS, lengthS } from './window.js';
import { lasting } from './wording.js';

/** When a tire began to fall against its mates, out of all that was heard before an instant. */
export interface Onset {
  fromMs: number;
  toMs: number;
  /** Against its mates, above zero. */
  kpaPerMin: number;
  /** What the median of its mates moved by meanwhile. */
  matesKpa: number;
  /** It fell from the first minute on that was heard. */
  isFromStart: boolean;
}

const MIN_MS = 60_000;
/** Older readings are of another drive. */
const MOST_BACK_MS = 12 * 60 * MIN_MS;
const FIRST = 10;
const LEAST_MINUTES = 5;
const CLEAR_KPA = 24;
const LEVEL_KPA = 8;
/** Of what it fell: mates may move so much more slowly. */
const MATES_SHARE = 0.25;
/** Both halves of the fall have one rate, to this factor: else there was no one beginning. */
const HALVES = 2;
/** Of what it fell: so far off the line half of the minutes may be. */
const OFF_SHARE = 0.15;

/**
 * Its pressure less the median of its mates, by the minute: level, then down a line. The bend is where both together fit best
 * (least squares), the rate a slope by Theil and Sen after it. null: less than 24 kPa, mates that moved as well (more than
 * 8 kPa and a quarter of it), or no such line.
 */
export function onsetOf(gathered: Gathered, tire: string, untilMs: number): Onset | null {
  const fromMs = untilMs - MOST_BACK_MS;
  const mates = minuteMedians(gathered, matesOf(gathered, tire), fromMs, untilMs);
  const own = minuteMedians(gathered, [tire], fromMs, untilMs);
  const atMs: number[] = [];
  const value: number[] = [];
  for (const [at, kpa] of own) {
    const level = mates.get(at);
    if (level === undefined) continue;
    atMs.push(at + MIN_MS / 2);
    value.push(kpa - level);
  }
  const bend = bendOf(atMs, value);
  if (bend === null) return null;
  const after: Points = { atMs: atMs.slice(bend), value: value.slice(bend), gapMs: MIN_MS };
  const slope = slopeOf(after);
  const length = after.atMs.at(-1)! - after.atMs[0]!;
  if (slope === null || slope.high >= 0) return null;
  const kpa = (-slope.perMin * length) / MIN_MS;
  const levels = [...mates].filter(([at]) => at >= after.atMs[0]! - MIN_MS);
  const moved = moveOf({ atMs: levels.map(([at]) => at), value: levels.map(([, kpa]) => kpa), gapMs: MIN_MS });
  const matesKpa = Math.abs(moved?.change ?? Number.POSITIVE_INFINITY);
  if (kpa < CLEAR_KPA || matesKpa > Math.max(LEVEL_KPA, MATES_SHARE * kpa) || !isOneRate(after, slope.perMin))
    return null;
  if (offLine(after, slope.perMin) > OFF_SHARE * kpa) return null;
  return {
    fromMs: after.atMs[0]!,
    toMs: after.atMs.at(-1)!,
    kpaPerMin: -slope.perMin,
    matesKpa,
    isFromStart: bend === 0,
  };
}

/** Median over tires of how far each has moved from its first readings, by the minute. */
function minuteMedians(
  gathered: Gathered,
  tires: readonly string[],
  fromMs: number,
  toMs: number,
): Map<number, number> {
  const all = new Map<number, number[]>();
  for (const tire of tires) {
    const points =
      pointsOf(gathered, tire, 'cold pressure', fromMs, toMs) ?? pointsOf(gathered, tire, 'pressure', fromMs, toMs);
    if (points === null) continue;
    const first = medianInPlace(points.value.slice(0, FIRST));
    const minutes = new Map<number, number[]>();
    for (const [i, at] of points.atMs.entries()) push(minutes, at - (at % MIN_MS), points.value[i]! - first);
    for (const [at, values] of minutes) push(all, at, medianInPlace(values));
  }
  return new Map([...all].sort(([a], [b]) => a - b).map(([at, values]) => [at, medianInPlace(values)]));
}

function push(lists: Map<number, number[]>, key: number, value: number): void {
  const list = lists.get(key);
  if (list === undefined) lists.set(key, [value]);
  else list.push(value);
}

/** Index from which on a level with a line after it fits best; null with too few, or where the line does not fall. */
function bendOf(atMs: readonly number[], value: readonly number[]): number | null {
  const n = atMs.length;
  const meanY = value.reduce((sum, v) => sum + v, 0) / n;
  let best: { index: number; gain: number } | null = null;
  for (let k = 0; k <= n - LEAST_MINUTES; k++) {
    let [sumX, sumXx, sumXy] = [0, 0, 0];
    for (let i = k; i < n; i++) {
      const x = (atMs[i]! - atMs[k]!) / MIN_MS;
      sumX += x;
      sumXx += x * x;
      sumXy += x * value[i]!;
    }
    const [xx, xy] = [sumXx - (sumX * sumX) / n, sumXy - sumX * meanY];
    // What the bend takes off the sum of squares.
    if (xx > 0 && xy < 0 && (best === null || (xy * xy) / xx > best.gain)) best = { index: k, gain: (xy * xy) / xx };
  }
  return best === null ? null : best.index;
}

/** Median distance from the line of that slope through the middle of the points. */
function offLine({ atMs, value }: Points, perMin: number): number {
  const off = value.map((v, i) => v - (perMin * (atMs[i]! - atMs[0]!)) / MIN_MS);
  const level = medianInPlace([...off]);
  return medianInPlace(off.map((v) => Math.abs(v - level)));
}

function isOneRate(points: Points, perMin: number): boolean {
  const half = points.atMs.length >> 1;
  const part = (from: number, to?: number): Points => ({
    atMs: points.atMs.slice(from, to),
    value: points.value.slice(from, to),
    gapMs: points.gapMs,
  });
  return [part(0, half), part(half)].every((p) => {
    const share = (slopeOf(p)?.perMin ?? perMin) / perMin;
    return share >= 1 / HALVES && share <= HALVES;
  });
}

const matesWords = ({ matesKpa }: Onset, show: TireScene['show']): string =>
  matesKpa <= LEVEL_KPA
    ? 'while its mates stayed level'
    : `against its mates, which moved by ${kpaApart(matesKpa, show)} meanwhile`;

/** A sentence about the fall before the alert, where it is clear: since about when, how fast, over how long. */
export function sawOnset({ gathered, tire, show, scene }: TireScene): Words[] {
  const onset = onsetOf(gathered, tire, scene.alert.fromMs);
  if (onset === null) return [];
  const rate = shown(onset.kpaPerMin, 'kPa/min', show);
  const since = onset.isFromStart
    ? 'It had been falling since the first readings, at '
    : 'It had been falling since about ';
  return [
    [
      since,
      { atS: atS(gathered, onset.fromMs) },
      `, ${rate} over ${lasting(lengthS(onset.toMs - onset.fromMs))}, ${matesWords(onset, show)}.`,
    ],
  ];
}

/** Air that goes fast has hardly begun to when its alert is raised: ten minutes after it belong to it. */
const AFTER_MS = 10 * MIN_MS;

export function sawBegin({ gathered, tire, show, scene }: TireScene): Words[] {
  const onset = onsetOf(gathered, tire, Math.min(scene.toMs, scene.alert.fromMs + AFTER_MS));
  if (onset === null) return [];
  const begun = onset.isFromStart ? 'It fell from the first readings on, at ' : 'It began to fall at about ';
  const rate = shown(onset.kpaPerMin, 'kPa/min', show);
  return [[begun, { atS: atS(gathered, onset.fromMs) }, `, by ${rate}, ${matesWords(onset, show)}.`]];
}
