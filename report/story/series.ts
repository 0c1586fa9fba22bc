import { coldPressure, SEA_LEVEL_KPA } from '../../daemon/monitors/arithmetic/cold-pressure.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { type Gathered, type MinuteSeries, type SampleSeries, type SeriesQuantity, seriesKey } from '../gathered.js';

/** Readings of one quantity of one subject, in the order of time. */
export interface Points {
  atMs: number[];
  value: number[];
  /** Least and greatest of each minute, where only minutes were kept. */
  low?: number[];
  high?: number[];
  /** Points further apart than this have nothing between them. */
  gapMs: number;
}

/** A reading of temperature belongs to one of pressure that is no further away. */
const TOGETHER_MS = 120_000;
const MINUTE_MS = 60_000;
const LEAST_GAP_MS = 5_000;
/** Senders are not exact: a third frame that comes late is not yet a gap. */
const JITTER_MS = 500;
/** 18 °C, where the truck file says nothing else. */
const REFERENCE_C = 18;

/**
 * All readings of a series: one by one where they were kept, else by the minute (at the middle of each, `value` the last of it).
 * Cold-equivalent pressure is worked out of pressure and temperature where it was not kept itself, against the air pressure of
 * the depot. null: nothing was heard of it. Worked out once for each Gathered, which must not change any more.
 */
export function seriesOf(gathered: Gathered, subject: string, quantity: SeriesQuantity): Points | null {
  const key = seriesKey(subject, quantity);
  let known = KNOWN.get(gathered);
  if (known === undefined) {
    known = new Map();
    KNOWN.set(gathered, known);
  }
  let points = known.get(key);
  if (points === undefined) {
    points = findSeries(gathered, subject, quantity);
    known.set(key, points);
  }
  return points;
}

const KNOWN = new WeakMap<Gathered, Map<string, Points | null>>();

/** By the minute, whatever else was kept; null: nothing was heard of it. */
export function minutesOf(gathered: Gathered, subject: string, quantity: SeriesQuantity): Points | null {
  const minutes = gathered.minutes.get(seriesKey(subject, quantity));
  return minutes === undefined || minutes.atMs.length === 0 ? null : ofMinutes(minutes);
}

/** The part of a series within [fromMs, toMs]; null: nothing in it. */
export function pointsOf(
  gathered: Gathered,
  subject: string,
  quantity: SeriesQuantity,
  fromMs: number,
  toMs: number,
): Points | null {
  const all = seriesOf(gathered, subject, quantity);
  return all === null ? null : within(all, fromMs, toMs);
}

/** null: no point in it. */
export function within(points: Points, fromMs: number, toMs: number): Points | null {
  const from = firstAt(points.atMs, fromMs);
  const to = firstAt(points.atMs, toMs + 1);
  if (from >= to) return null;
  const cut = (list: number[]): number[] => list.slice(from, to);
  return {
    atMs: cut(points.atMs),
    value: cut(points.value),
    ...(points.low && points.high && { low: cut(points.low), high: cut(points.high) }),
    gapMs: points.gapMs,
  };
}

/** Value that was told last at or before an instant, no longer ago than a gap; NaN: none. */
export function valueBefore(points: Points, atMs: number): number {
  const i = firstAt(points.atMs, atMs + 1) - 1;
  return i >= 0 && atMs - points.atMs[i]! <= points.gapMs ? points.value[i]! : Number.NaN;
}

/** Index of the first instant at or after one; the length where there is none. */
export function firstAt(atMs: readonly number[], ms: number): number {
  let low = 0;
  let high = atMs.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (atMs[middle]! < ms) low = middle + 1;
    else high = middle;
  }
  return low;
}

function findSeries(gathered: Gathered, subject: string, quantity: SeriesQuantity): Points | null {
  const key = seriesKey(subject, quantity);
  const samples = gathered.samples.get(key);
  if (samples !== undefined && samples.atMs.length > 0) return ofSamples(samples);
  const minutes = gathered.minutes.get(key);
  const isKept = minutes !== undefined && minutes.atMs.length > 0;
  if (quantity === 'cold pressure') {
    const cold = coldOfSamples(gathered, subject);
    if (cold !== null) return cold;
    if (!isKept) return coldOfMinutes(gathered, subject);
  }
  return isKept ? ofMinutes(minutes) : null;
}

function ofSamples({ atMs, value, joinMs = 0 }: SampleSeries): Points {
  return { atMs, value, gapMs: Math.max(LEAST_GAP_MS, 3 * spacing(atMs) + JITTER_MS, joinMs) };
}

/** A minute without a row had no reading in it. */
function ofMinutes({ atMs, min, max, last }: MinuteSeries): Points {
  return {
    atMs: atMs.map((at) => at + MINUTE_MS / 2),
    value: last,
    low: min,
    high: max,
    gapMs: minuteGap(atMs),
  };
}

const minuteGap = (atMs: readonly number[]): number => 1.5 * Math.max(MINUTE_MS, spacing(atMs));

/** So many intervals tell the median of tens of thousands. */
const MOST_STEPS = 2_000;

/** Median time between two of them, of some thousand of them where there are more; 0 with fewer than two. */
function spacing(atMs: readonly number[]): number {
  const stride = Math.ceil(atMs.length / MOST_STEPS);
  const steps: number[] = [];
  for (let i = 1; i < atMs.length; i += stride) steps.push(atMs[i]! - atMs[i - 1]!);
  return steps.length === 0 ? 0 : medianInPlace(steps);
}

/**
 * Cold-equivalent pressure by the truck file, kPa gauge, where nobody kept it and no barometer. Who sent a tire is not kept either: a
 * truck file with senders of absolute pressure less a constant is taken to have no others.
 */
function coldOf({ config }: Gathered, kpa: number, celsius: number): number {
  const depotKpa = config?.depotAirKpa ?? SEA_LEVEL_KPA;
  const airKpa = (config?.fixedGaugeSources.length ?? 0) > 0 ? SEA_LEVEL_KPA : depotKpa;
  return coldPressure(kpa, celsius, airKpa, config?.coldReferenceC ?? REFERENCE_C, depotKpa);
}

function coldOfSamples(gathered: Gathered, subject: string): Points | null {
  const pressure = seriesOf(gathered, subject, 'pressure');
  const temperature = seriesOf(gathered, subject, 'temperature');
  if (pressure === null || temperature === null || pressure.low || temperature.low) return null;
  const atMs: number[] = [];
  const value: number[] = [];
  for (const [i, at] of pressure.atMs.entries()) {
    const k = firstAt(temperature.atMs, at + 1) - 1;
    if (k < 0 || at - temperature.atMs[k]! > TOGETHER_MS) continue;
    atMs.push(at);
    value.push(coldOf(gathered, pressure.value[i]!, temperature.value[k]!));
  }
  return atMs.length === 0 ? null : { atMs, value, gapMs: pressure.gapMs };
}

function coldOfMinutes(gathered: Gathered, subject: string): Points | null {
  const pressure = gathered.minutes.get(seriesKey(subject, 'pressure'));
  const temperature = gathered.minutes.get(seriesKey(subject, 'temperature'));
  if (pressure === undefined || temperature === undefined) return null;
  const rows: MinuteSeries = { atMs: [], min: [], max: [], last: [] };
  for (const [i, at] of pressure.atMs.entries()) {
    const k = firstAt(temperature.atMs, at + MINUTE_MS) - 1;
    if (k < 0 || at - temperature.atMs[k]! > TOGETHER_MS) continue;
    rows.atMs.push(at);
    rows.last.push(coldOf(gathered, pressure.last[i]!, temperature.last[k]!));
    rows.min.push(coldOf(gathered, pressure.min[i]!, temperature.max[k]!));
    rows.max.push(coldOf(gathered, pressure.max[i]!, temperature.min[k]!));
  }
  return rows.atMs.length === 0 ? null : ofMinutes(rows);
}
