import { shown } from '../../config/show.js';
import type { Forecast } from '../../daemon/alerts/event.js';
import { addFall, newFall } from '../../daemon/monitors/arithmetic/fall-since.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { NEVER } from '../../daemon/time.js';
import type { Line, Plot } from '../data.js';
import type { GatheredEvent } from '../gathered.js';
import { drawn } from './lines.js';
import { plotOf } from './plots.js';
import { firstAt, type Points, pointsOf, within } from './series.js';
import { limitLines } from './spans.js';
import type { TireScene } from './tire-scene.js';
import { atS, lengthS } from './window.js';

/** The detector sums up from before the window, as it did on the truck. */
const BEFORE_MS = 30 * 60_000;
const MIN_MS = 60_000;
const MOST_FITS = 4;

/** What the leak detector summed up: air lost beyond a harmless rate, kPa, and since when it was above nothing. */
export interface Lost {
  points: Points;
  /** Beside each point; NEVER: no run. */
  runAtMs: number[];
}

/**
 * Air lost beyond a harmless rate, from the readings as the program itself sums it up: of raw and of cold-equivalent pressure the
 * smaller one. null where readings were not kept one by one.
 */
export function lostBeyond(t: TireScene, allowedKpaPerMin: number, gapS: number): Lost | null {
  const { gathered, tire, scene } = t;
  const from = scene.fromMs - BEFORE_MS;
  const raw = pointsOf(gathered, tire, 'pressure', from, scene.toMs);
  if (raw === null || raw.low !== undefined) return null;
  const cold = pointsOf(gathered, tire, 'cold pressure', from, scene.toMs);
  const [rawFall, coldFall] = [newFall(), newFall()];
  const lost: Lost = { points: { atMs: [], value: [], gapMs: raw.gapMs }, runAtMs: [] };
  let coldBefore = Number.NaN;
  for (const [i, at] of raw.atMs.entries()) {
    const k = cold === null ? -1 : firstAt(cold.atMs, at);
    const coldNow = cold !== null && cold.atMs[k] === at ? cold.value[k]! : Number.NaN;
    const sinceMs = i === 0 ? 0 : at - raw.atMs[i - 1]!;
    const kpa = i === 0 ? Number.NaN : raw.value[i - 1]! - raw.value[i]!;
    addFall(rawFall, at, kpa, sinceMs, allowedKpaPerMin, gapS * 1000);
    addFall(coldFall, at, coldBefore - coldNow, sinceMs, allowedKpaPerMin, gapS * 1000);
    coldBefore = coldNow;
    const byBoth = !Number.isNaN(coldNow);
    lost.points.atMs.push(at);
    lost.points.value.push(byBoth ? Math.min(rawFall.sumKpa, coldFall.sumKpa) : rawFall.sumKpa);
    const isRunning = rawFall.runAt !== NEVER && (!byBoth || coldFall.runAt !== NEVER);
    lost.runAtMs.push(!isRunning ? NEVER : byBoth ? Math.max(rawFall.runAt, coldFall.runAt) : rawFall.runAt);
  }
  return lost;
}

/** The two detectors of the rule; null where readings were not kept, or the truck file is not known. */
function detectors(t: TireScene): { steady: Lost; rapid: Lost } | null {
  const { steadyFallKpaPerMin, rapidFallKpaPerMin, gapS } = t.scene.alert.constants;
  if (steadyFallKpaPerMin === undefined || rapidFallKpaPerMin === undefined || gapS === undefined) return null;
  const steady = lostBeyond(t, steadyFallKpaPerMin, gapS);
  const rapid = lostBeyond(t, rapidFallKpaPerMin, gapS);
  return steady === null || rapid === null ? null : { steady, rapid };
}

/** What is judged of a tire that loses air: how much it lost beyond a harmless rate, with the limits of that. */
export function lostPlot(t: TireScene): Plot | null {
  const found = detectors(t);
  if (found === null) return null;
  const { scene, gathered, show } = t;
  const { steadyFallKpaPerMin, rapidFallKpaPerMin } = scene.alert.constants;
  const line = ({ points }: Lost, rate: number): Line | null => {
    const seen = within(points, scene.fromMs, scene.toMs);
    const label = `beyond ${shown(rate, 'kPa/min', show)}`;
    return seen === null ? null : drawn(gathered, seen, 'kPa', { label, role: 'judged' });
  };
  const limits = limitLines(scene, {
    axis: 0,
    unit: 'kPa',
    toAxis: (value, name) => (name === 'next-stop' || name === 'pull-over' ? value : null),
  });
  return plotOf(scene, {
    title: 'Air lost beyond a harmless rate',
    axes: [{ unit: 'kPa', label: 'air lost' }],
    lines: [line(found.steady, steadyFallKpaPerMin!), line(found.rapid, rapidFallKpaPerMin!)],
    limits,
  });
}

/** The slopes that the program found, each through the readings that it found it in, and where it forecast the tire to be. */
export function slopeLines(t: TireScene): Line[] {
  const found = detectors(t);
  const rises = t.scene.alert.events.filter(({ draft: { change, measured: m } }) => {
    const isRate = m !== null && 'unit' in m && m.unit === 'kPa/min';
    return isRate && (change === 'raised' || change === 'worse');
  });
  return rises.slice(0, MOST_FITS).flatMap((event) => slopeLine(t, event, found));
}

function slopeLine(t: TireScene, { atMs, draft }: GatheredEvent, found: ReturnType<typeof detectors>): Line[] {
  const m = draft.measured;
  if (m === null || !('unit' in m) || t.air === null) return [];
  const evidence = Math.max(0, ...(draft.evidence?.points ?? []).map(([ago]) => ago));
  const lost = m.window === 'rapid' ? found?.rapid : found?.steady;
  const run = lost === undefined ? NEVER : (lost.runAtMs[firstAt(lost.points.atMs, atMs + 1) - 1] ?? NEVER);
  // The trace of the truck holds ten minutes, so that no slope is of more.
  const earliest = atMs - evidence;
  const fromMs = run === NEVER ? fits(t.air, earliest, atMs, m.value) : Math.max(run, earliest);
  const points = within(t.air, fromMs, atMs);
  if (points === null || fromMs >= atMs) return [];
  const at = (ms: number): number => (-m.value * (ms - fromMs)) / MIN_MS;
  const level = medianInPlace(points.value.map((v, i) => v - at(points.atMs[i]!)));
  const line = (label: string, role: Line['role'], ends: [number, number][]): Line => ({
    label,
    role,
    axis: 0,
    s: ends.map(([ms]) => atS(t.gathered, ms)),
    v: ends.map(([, v]) => Math.round(v * 10) / 10),
    gapS: lengthS(ends.at(-1)![0] - ends[0]![0]) + 1,
  });
  const end: [number, number] = [atMs, level + at(atMs)];
  const label = `slope of ${shown(m.value, 'kPa/min', t.show)}`;
  const slope = line(label, 'context', [[fromMs, level], end]);
  const ahead = forecastEnd(t, end, draft.forecast);
  return ahead === null ? [slope] : [slope, line('forecast', 'context', [end, ahead])];
}

/** Off the line by so much it is no longer of it: three steps of a coarse sensor. */
const OFF_KPA = 12;

/** Where the run is not known: as far back as the readings lie on the slope through the last of them. */
function fits(air: Points, earliest: number, atMs: number, kpaPerMin: number): number {
  const points = within(air, earliest, atMs);
  if (points === null) return atMs;
  const last = points.atMs.length - 1;
  let from = last;
  for (let i = last; i >= 0; i--) {
    const expected = points.value[last]! + (kpaPerMin * (points.atMs[last]! - points.atMs[i]!)) / MIN_MS;
    if (Math.abs(points.value[i]! - expected) > OFF_KPA) break;
    from = i;
  }
  return points.atMs[from]!;
}

/** Where the forecast leads, no further than the window. */
function forecastEnd(
  t: TireScene,
  [atMs, fromKpa]: [number, number],
  forecast: Forecast | null,
): [number, number] | null {
  const percent = forecast === null ? null : /^(\d+) %/.exec(forecast.what);
  if (percent === null || forecast === null || t.targetKpa === null || forecast.inMs <= 0) return null;
  const goal = (Number(percent[1]) / 100) * t.targetKpa;
  const share = Math.min(1, (t.scene.toMs - atMs) / forecast.inMs);
  return share <= 0 ? null : [atMs + share * forecast.inMs, fromKpa + share * (goal - fromKpa)];
}
