import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import type { Gathered } from '../gathered.js';
import { axleOf, matesOf, peersOf, targetOf, tiresOf } from './peers.js';
import type { Scene } from './picture.js';
import { type Points, pointsOf, seriesOf } from './series.js';
import { showOf } from './spans.js';

/** One tire within the window of a scene. null: nothing was heard of it. */
export interface TireScene {
  scene: Scene;
  gathered: Gathered;
  show: TruckConfig['show'];
  tire: string;
  targetKpa: number | null;
  raw: Points | null;
  cold: Points | null;
  celsius: Points | null;
  /** Cold-equivalent pressure, else as it was sent: what tells of the air in it. */
  air: Points | null;
  /** The other tires of its axle, and all that run like it. */
  axleMates: string[];
  peers: string[];
  fall: Fall | null;
}

/** The largest fall within the window: from where it began to its lowest reading. */
export interface Fall {
  fromMs: number;
  toMs: number;
  fromKpa: number;
  toKpa: number;
  /** fromKpa − toKpa, above zero. */
  kpa: number;
}

/** Smaller ones are steps of a coarse sensor and what the road does. */
const LEAST_FALL_KPA = 12;

export function tireScene(scene: Scene, tire: string = scene.alert.subject): TireScene {
  const { gathered, fromMs, toMs } = scene;
  const of = (quantity: 'pressure' | 'cold pressure' | 'temperature'): Points | null =>
    pointsOf(gathered, tire, quantity, fromMs, toMs);
  const [raw, cold, celsius] = [of('pressure'), of('cold pressure'), of('temperature')];
  const air = cold ?? raw;
  return {
    scene,
    gathered,
    show: showOf(gathered),
    tire,
    targetKpa: targetOf(gathered, tire),
    raw,
    cold,
    celsius,
    air,
    axleMates: matesOf(gathered, tire).filter((mate) => axleOf(mate) === axleOf(tire)),
    peers: peersOf(gathered, tire),
    fall: air === null ? null : fallOf(air),
  };
}

/** Parts of a fall that are noise before it began and after it ended. */
const TOP_SHARE = 0.1;
const END_SHARE = 0.05;

/**
 * The largest fall of a series: from the highest reading to the lowest one after it, without what hardly fell at both ends.
 * null: less than three steps of a coarse sensor.
 */
export function fallOf({ atMs, value }: Points): Fall | null {
  let top = 0;
  let best = { top: 0, low: 0 };
  for (let i = 1; i < value.length; i++) {
    if (value[i]! > value[top]!) top = i;
    if (value[top]! - value[i]! > value[best.top]! - value[best.low]!) best = { top, low: i };
  }
  const whole = value[best.top]! - value[best.low]!;
  if (whole < LEAST_FALL_KPA) return null;
  let to = best.top;
  while (value[to]! > value[best.low]! + END_SHARE * whole) to++;
  let from = to;
  while (from > best.top && value[from]! < value[best.top]! - TOP_SHARE * whole) from--;
  return {
    fromMs: atMs[from]!,
    toMs: atMs[to]!,
    fromKpa: value[from]!,
    toKpa: value[to]!,
    kpa: value[from]! - value[to]!,
  };
}

/** "axle 3, left outer", or "left outer" beside one of the same axle; units are named where they differ. */
export function nameBeside(tire: string, beside: string): string {
  const [unit, axle, side, position] = tire.split('/');
  const words = position === 'single' ? side! : `${side} ${position}`;
  if (axleOf(tire) === axleOf(beside)) return words;
  const [ownUnit] = beside.split('/');
  return unit === ownUnit ? `axle ${axle} ${words}` : `${unit} axle ${axle} ${words}`;
}

/** Median of several series on a common axis of instants: those of the longest. At least `least` of them must tell there. */
export function medianLine(series: readonly Points[], least = 3): Points | null {
  const longest = series.reduce<Points | null>((a, b) => (a === null || b.atMs.length > a.atMs.length ? b : a), null);
  if (longest === null || series.length < least) return null;
  const next = series.map(() => 0);
  const out: Points = { atMs: [], value: [], gapMs: longest.gapMs };
  for (const at of longest.atMs) {
    const now: number[] = [];
    for (const [k, points] of series.entries()) {
      while (next[k]! < points.atMs.length && points.atMs[next[k]!]! <= at) next[k]!++;
      const i = next[k]! - 1;
      if (i >= 0 && at - points.atMs[i]! <= points.gapMs) now.push(points.value[i]!);
    }
    if (now.length < least) continue;
    out.atMs.push(at);
    out.value.push(medianInPlace(now));
  }
  return out.atMs.length === 0 ? null : out;
}

/** Series of several tires within the window, those that there are. */
export function seriesIn(
  scene: Scene,
  tires: readonly string[],
  quantity: 'pressure' | 'cold pressure' | 'temperature',
): Points[] {
  return tires
    .map((tire) => pointsOf(scene.gathered, tire, quantity, scene.fromMs, scene.toMs))
    .filter((points) => points !== null);
}

/** Does any tire tell a temperature? */
export const tellTemperature = (gathered: Gathered): boolean =>
  tiresOf(gathered).some((tire) => seriesOf(gathered, tire, 'temperature') !== null);

/** Differences of pressure as people read them; what rounds to nothing is "less than 1 psi". */
export function kpaApart(kpa: number, show: TruckConfig['show']): string {
  const text = shown(Math.abs(kpa), 'kPa', show);
  return /^0(\.0)? /.test(text) ? `less than ${shown(ONE[show.pressure], 'kPa', show)}` : text;
}

const ONE = { kPa: 1, psi: 6.894757, bar: 10 };

/** Differences of temperature: no zero point. */
export const degreesApart = (celsius: number, show: TruckConfig['show']): string =>
  show.temperature === '°F' ? `${Math.round(Math.abs(celsius) * 1.8)} °F` : `${Math.round(Math.abs(celsius))} °C`;
