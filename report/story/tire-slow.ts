import { shown } from '../../config/show.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { COLD_AFTER_MS } from '../../daemon/monitors/cold-starts.js';
import type { Plot, Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { drawn } from './lines.js';
import { peersOf } from './peers.js';
import type { Scene } from './picture.js';
import { firstAt, type Points, seriesOf } from './series.js';
import { hintOf, type TireHint } from './tire-hints.js';
import { pressurePlot } from './tire-plots.js';
import { type TireScene, tireScene } from './tire-scene.js';
import { atS, spanOf } from './window.js';
import { listed } from './wording.js';

/** Readings of the first three minutes make a cold start, as the monitor has it. */
const COLLECT_MS = 180_000;
const LEAST_READINGS = 2;
const MOST_TOLD = 8;

/** Cold-equivalent pressure at each cold start within the data: after three hours in which the tire was not heard. */
export function coldStartsOf(gathered: Gathered, tire: string): Points {
  const starts: Points = { atMs: [], value: [], gapMs: 0 };
  const all = seriesOf(gathered, tire, 'cold pressure');
  if (all === null) return starts;
  for (let i = 1; i < all.atMs.length; i++) {
    if (all.atMs[i]! - all.atMs[i - 1]! < COLD_AFTER_MS) continue;
    const first = all.value.slice(i, firstAt(all.atMs, all.atMs[i]! + COLLECT_MS));
    if (first.length < LEAST_READINGS) continue;
    starts.atMs.push(all.atMs[i]!);
    starts.value.push(medianInPlace(first));
  }
  return starts;
}

/** Is it a leak that shows from one cold start to the next? */
export const isSlow = ({ alert }: Scene): boolean =>
  alert.events.some(({ draft: { measured: m } }) => m !== null && 'unit' in m && m.unit === 'kPa/day');

/** What it had at each cold start, and the median of its peers then. */
export function sawColdStarts({ gathered, tire, show }: TireScene): Words[] {
  const own = coldStartsOf(gathered, tire);
  const from = Math.max(0, own.atMs.length - MOST_TOLD);
  if (own.atMs.length === 0)
    return [['No cold start lies within these data: what was found earlier is in the history.']];
  const words: Words = ['Cold-equivalent pressure at cold starts within these data: '];
  const medians: string[] = [];
  for (let i = from; i < own.atMs.length; i++) {
    const at = own.atMs[i]!;
    const median = peerMedianAt(gathered, tire, at);
    medians.push(Number.isNaN(median) ? 'not known' : shown(median, 'kPa', show));
    const end = i === own.atMs.length - 1 ? '.' : ', ';
    words.push(`${shown(own.value[i]!, 'kPa', show)} at `, { atS: atS(gathered, at) }, end);
  }
  return [words, [`The median of the tires that run like it was ${listed(medians)}.`]];
}

const ONCE_SHARE = 0.85;
const ONCE_KPA = 12;
const STAYS_KPA = 4;

/** Did it lose all between two cold starts, and nothing after that? A leak goes on. Judged against its peers, of three starts or more. */
export const lostAtOnce: TireHint = ({ gathered, tire }) => {
  const own = coldStartsOf(gathered, tire);
  const off = own.atMs.map((at, i) => own.value[i]! - peerMedianAt(gathered, tire, at));
  if (off.length < 3 || off.some(Number.isNaN)) return null;
  const steps = off.slice(1).map((v, i) => off[i]! - v);
  const whole = off[0]! - off.at(-1)!;
  const most = steps.indexOf(Math.max(...steps));
  const isOnce = whole >= ONCE_KPA && steps[most]! >= ONCE_SHARE * whole;
  const after = steps.slice(most + 1);
  if (!isOnce || after.length === 0 || after.some((kpa) => Math.abs(kpa) > STAYS_KPA)) return null;
  return hintOf(
    'unclear',
    'Against its peers it lost all of that between ',
    { atS: atS(gathered, own.atMs[most]!) },
    ' and ',
    { atS: atS(gathered, own.atMs[most + 1]!) },
    ', and nothing after that. A leak goes on: was the tire, the trailer or the sensor changed, or air let out?',
  );
};

/** Median of the peers at a cold start; NaN with fewer than three. */
function peerMedianAt(gathered: Gathered, tire: string, atMs: number): number {
  const then = peersOf(gathered, tire).flatMap((peer) => {
    const starts = coldStartsOf(gathered, peer);
    return starts.value.filter((_, k) => Math.abs(starts.atMs[k]! - atMs) <= COLLECT_MS);
  });
  return then.length < 3 ? Number.NaN : medianInPlace(then);
}

/** The whole time, with what the tire had at each cold start. */
export function wholePressurePlot(scene: Scene): Plot | null {
  const t = tireScene({ ...scene, ...spanOf(scene.gathered) });
  const starts = coldStartsOf(t.gathered, t.tire);
  const line =
    starts.atMs.length === 0 ? null : drawn(t.gathered, starts, 'kPa', { label: 'at cold starts', role: 'judged' });
  // These are instants, not a course.
  const plot = pressurePlot(t, { lines: line === null ? [] : [{ ...line, gapS: 0 }] });
  return plot === null ? null : { ...plot, title: `${plot.title}, over the whole time` };
}
