import { strokeExceeds, strokeLimit } from '../../config/chambers.js';
import type { AxleConfig, Criterion, TruckConfig } from '../../config/resolved.js';
import { AFTER_END_MS } from '../../daemon/monitors/applications.js';
import { STROKE } from '../../daemon/monitors/brake-state.js';
import type { BrakeSection } from '../data.js';
import { type Gathered, seriesKey } from '../gathered.js';
import { type BrakeApplication, brakeApplications, readingsOf } from './brake-applications.js';
import { firstAt, type Points, seriesOf, subjectsOf } from './kit.js';

/** Rules that count applications. */
export type CountingRule = 'brake-overstroke' | 'brake-not-applying' | 'brake-stroke-uneven';

/** By which an alert was judged: the state that the sender gives, or a stroke that was measured. */
export type Way = 'state' | 'stroke';

/** One application that counts for a wheel end, and whether what the rule looks for was so in it. */
export interface Result {
  application: BrakeApplication;
  holds: boolean;
  /** mm; of uneven strokes the difference. null: judged by state. */
  strokeMm: number | null;
  /** Readings of the state in it, and those that said so; null: not kept. */
  readings: { told: number; saying: number } | null;
}

/** The other side of the axle. */
export function otherSide(subject: string): string {
  const [unit, axle, side] = subject.split('/');
  return `${unit}/${axle}/${side === 'left' ? 'right' : 'left'}`;
}

/** null: the truck file does not say. */
export function chamberOf(gathered: Gathered, subject: string): AxleConfig['chamber'] {
  return subjectsOf(gathered).wheelEnds.find((end) => end.subject === subject)?.chamber ?? null;
}

/** Greatest legal stroke, mm; NaN: the chamber is not known. */
export function limitOf(gathered: Gathered, subject: string): number {
  const chamber = chamberOf(gathered, subject);
  return chamber === null ? Number.NaN : strokeLimit(chamber).limitMm;
}

export const constantOf = (gathered: Gathered, rule: CountingRule, name: string): number =>
  gathered.config?.rules[rule].constants[name] ?? Number.NaN;

/** From this peak on an application is one to judge brakes by: as the monitor takes it, also where one of its rules is off. */
export function qualifyingKpa(rules: TruckConfig['rules'] | undefined): number | null {
  if (rules === undefined) return null;
  const rule = rules[rules['brake-overstroke'].enabled ? 'brake-overstroke' : 'brake-not-applying'];
  return rule.constants.qualifyingKpa ?? null;
}

/** Application pressures at which measured strokes are judged; null: no truck file is known. */
export function bandOf(gathered: Gathered): BrakeSection['band'] {
  const [lowKpa, highKpa] = [
    constantOf(gathered, 'brake-overstroke', 'bandLowKpa'),
    constantOf(gathered, 'brake-overstroke', 'bandHighKpa'),
  ];
  return Number.isNaN(lowKpa) || Number.isNaN(highKpa) ? null : { lowKpa, highKpa };
}

/** How many of how many: of the criterion that looks back furthest. */
export function countOf(criteria: Record<string, Criterion>, rule: CountingRule, way: Way): { n: number; m: number } {
  const counted = Object.entries(criteria)
    .filter(([name]) => rule === 'brake-stroke-uneven' || name.startsWith('measured') === (way === 'stroke'))
    .map(([, { of }]) => of)
    .filter((of) => of !== null);
  return counted.sort((a, b) => b.m - a.m || b.n - a.n)[0] ?? { n: 1, m: 3 };
}

const KNOWN = new WeakMap<Gathered, Map<string, Result[]>>();

/**
 * All applications that count for a wheel end under a rule, in the order of time: as the monitors count them. Worked out once for
 * each Gathered.
 */
export function resultsOf(gathered: Gathered, rule: CountingRule, subject: string, way: Way): readonly Result[] {
  let known = KNOWN.get(gathered);
  if (known === undefined) {
    known = new Map();
    KNOWN.set(gathered, known);
  }
  const key = `${rule} ${subject} ${way}`;
  let results = known.get(key);
  if (results === undefined) {
    results = findResults(gathered, rule, subject, way);
    known.set(key, results);
  }
  return results;
}

function findResults(gathered: Gathered, rule: CountingRule, subject: string, way: Way): Result[] {
  if (rule === 'brake-stroke-uneven') return unevenOf(gathered, subject);
  if (way === 'state') return statesOf(gathered, rule, subject);
  return rule === 'brake-overstroke' ? strokesOf(gathered, subject) : stillOf(gathered, subject);
}

/** A single reading of over-stroke in a long application does not count; where readings were not kept, the record's worst state does. */
function statesOf(gathered: Gathered, rule: CountingRule, subject: string): Result[] {
  const states = seriesOf(gathered, subject, 'stroke state');
  const all = brakeApplications(gathered);
  const readings = readingsOf(all, states?.atMs ?? [], AFTER_END_MS);
  const wanted = rule === 'brake-overstroke' ? STROKE.overStroke : STROKE.notFunctioning;
  const longS = constantOf(gathered, 'brake-overstroke', 'singleFrameLongS');
  // States come once a second; where many were left out the rest cannot be counted.
  const isThinned = gathered.samples.get(seriesKey(subject, 'stroke state'))?.joinMs !== undefined;
  const results: Result[] = [];
  for (const [i, application] of all.entries()) {
    const { qualifying, durationS, wheels } = application.values;
    const worst = wheels[subject]?.code ?? null;
    if (!qualifying || worst === null) continue;
    const [from, to] = readings[i]!;
    const told = to - from;
    const isKept = told > 0 && states?.low === undefined && !(isThinned && told < DENSE * durationS);
    let saying = 0;
    if (isKept) for (let k = from; k < to; k++) if (states!.value[k] === wanted) saying++;
    const least = rule === 'brake-overstroke' && durationS > longS ? 2 : 1;
    const holds = isKept ? saying >= least : worst === wanted;
    results.push({ application, holds, strokeMm: null, readings: isKept ? { told, saying } : null });
  }
  return results;
}

const DENSE = 0.7;

/** Only what was measured at pressures of the judged band is held against the limit of the chamber. */
function strokesOf(gathered: Gathered, subject: string): Result[] {
  const limitMm = limitOf(gathered, subject);
  const results: Result[] = [];
  for (const { application, strokeMm } of bandStrokes(gathered, subject))
    results.push({ application, holds: strokeExceeds(limitMm, strokeMm), strokeMm, readings: null });
  return results;
}

/** Greatest stroke of each application at a pressure of the judged band; an application without such a moment is left out. */
export function bandStrokes(
  gathered: Gathered,
  subject: string,
): { application: BrakeApplication; strokeMm: number }[] {
  const band = bandOf(gathered);
  if (band === null) return [];
  const { lowKpa: low, highKpa: high } = band;
  const strokes = seriesOf(gathered, subject, 'stroke');
  const pressures = seriesOf(gathered, 'brakes', 'application pressure');
  const found: { application: BrakeApplication; strokeMm: number }[] = [];
  for (const application of brakeApplications(gathered)) {
    const { peakKpa, wheels } = application.values;
    const greatest = wheels[subject]?.strokeMm ?? null;
    if (greatest === null || peakKpa === null || !(peakKpa >= low)) continue;
    const strokeMm = peakKpa <= high ? greatest : greatestWithin(application, strokes, pressures, low, high);
    if (strokeMm !== null) found.push({ application, strokeMm });
  }
  return found;
}

/** A harder application passed through the band: by the readings of the same second; null: none was in it. */
function greatestWithin(
  { startMs, endMs }: BrakeApplication,
  strokes: Points | null,
  pressures: Points | null,
  low: number,
  high: number,
): number | null {
  if (strokes === null || pressures === null || strokes.low !== undefined || pressures.low !== undefined) return null;
  const [[from, to]] = readingsOf([{ startMs, endMs } as BrakeApplication], strokes.atMs, 0) as [[number, number]];
  let greatest: number | null = null;
  let k = Math.max(0, firstAt(pressures.atMs, startMs + 1) - 1);
  for (let i = from; i < to; i++) {
    while (k + 1 < pressures.atMs.length && pressures.atMs[k + 1]! <= strokes.atMs[i]!) k++;
    const kpa = pressures.value[k]!;
    const next = pressures.value[k + 1] ?? kpa;
    if (kpa >= low && kpa <= high && next <= high) greatest = Math.max(greatest ?? 0, strokes.value[i]!);
  }
  return greatest;
}

/** How far the rod moved: from where it lay before the application. */
function stillOf(gathered: Gathered, subject: string): Result[] {
  const leastMm = constantOf(gathered, 'brake-not-applying', 'minStrokeMm');
  const strokes = seriesOf(gathered, subject, 'stroke');
  const results: Result[] = [];
  let restMm = 0;
  let from = 0;
  for (const application of brakeApplications(gathered)) {
    const greatest = application.values.wheels[subject]?.strokeMm ?? null;
    if (strokes !== null) {
      let least = Number.POSITIVE_INFINITY;
      for (; from < strokes.atMs.length && strokes.atMs[from]! < application.startMs; from++)
        least = Math.min(least, strokes.value[from]!);
      if (least < Number.POSITIVE_INFINITY) restMm = least;
      while (from < strokes.atMs.length && strokes.atMs[from]! <= application.endMs) from++;
    }
    if (greatest === null || !application.values.qualifying) continue;
    const strokeMm = Math.round((greatest - restMm) * 10) / 10;
    results.push({ application, holds: strokeMm < leastMm, strokeMm, readings: null });
  }
  return results;
}

/** Beyond the other side of the axle; equal to the limit is within it. */
function unevenOf(gathered: Gathered, subject: string): Result[] {
  const raise = gathered.config?.rules['brake-stroke-uneven'].criteria.plan?.raise ?? Number.NaN;
  const across = otherSide(subject);
  const results: Result[] = [];
  for (const application of brakeApplications(gathered)) {
    const { wheels, qualifying } = application.values;
    const own = wheels[subject]?.strokeMm ?? null;
    const other = wheels[across]?.strokeMm ?? null;
    if (!qualifying || own === null || other === null) continue;
    const strokeMm = Math.round((own - other) * 10) / 10;
    results.push({ application, holds: strokeMm > raise, strokeMm, readings: null });
  }
  return results;
}
