import { shown } from '../../config/show.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import type { Hint, Plot, Words } from '../data.js';
import { drawn, lineOf } from './lines.js';
import { targetOf } from './peers.js';
import type { Depict, Scene } from './picture.js';
import { plotOf, plotsOf, speedPlot } from './plots.js';
import { firstAt, type Points, pointsOf } from './series.js';
import { criterionOf, limitLines, showOf } from './spans.js';
import { fellAlongALine, fellInOneStep, hintOf, jumps, repeatsItself, sensorWasInTrouble } from './tire-hints.js';
import { orUnclear } from './tire-hints-unclear.js';
import { sawOnset } from './tire-onset.js';
import { sawFall } from './tire-saw.js';
import { kpaApart, type TireScene, tireScene } from './tire-scene.js';
import { atS } from './window.js';

const BEFORE_MS = 15 * 60_000;

/** Outer less inner, of the last readings of both, at each reading of either. */
interface Difference {
  raw: Points;
  cold: Points | null;
}

function differenceIn({ gathered }: Scene, pair: string, fromMs: number, toMs: number): Difference | null {
  const of = (position: string, quantity: 'pressure' | 'cold pressure'): Points | null =>
    pointsOf(gathered, pair.replace('/pair', `/${position}`), quantity, fromMs, toMs);
  const raw = apart(of('outer', 'pressure'), of('inner', 'pressure'));
  return raw === null ? null : { raw, cold: apart(of('outer', 'cold pressure'), of('inner', 'cold pressure')) };
}

function apart(outer: Points | null, inner: Points | null): Points | null {
  if (outer === null || inner === null) return null;
  const out: Points = { atMs: [], value: [], gapMs: Math.max(outer.gapMs, inner.gapMs) };
  for (const [i, at] of outer.atMs.entries()) {
    const k = firstAt(inner.atMs, at + 1) - 1;
    if (k < 0 || at - inner.atMs[k]! > inner.gapMs) continue;
    out.atMs.push(at);
    out.value.push(outer.value[i]! - inner.value[k]!);
  }
  return out.atMs.length === 0 ? null : out;
}

/**
 * As the rule judges it: of both differences the smaller one where both call the same tire lower, else nothing; then the median of
 * the last fifteen minutes, without its sign.
 */
export function judgedDifference({ raw, cold }: Difference): Points {
  const smaller = raw.value.map((own, i) => {
    const k = cold === null ? -1 : firstAt(cold.atMs, raw.atMs[i]!);
    const other = cold?.atMs[k] === raw.atMs[i] ? cold!.value[k]! : Number.NaN;
    if (Number.isNaN(other)) return own;
    return own * other <= 0 ? 0 : Math.abs(own) < Math.abs(other) ? own : other;
  });
  let from = 0;
  const value = raw.atMs.map((at, i) => {
    while (at - raw.atMs[from]! > BEFORE_MS) from++;
    return Math.abs(medianInPlace(smaller.slice(from, i + 1)));
  });
  return { atMs: raw.atMs, value, gapMs: raw.gapMs };
}

function pairPlot(scene: Scene, outer: string, inner: string): Plot | null {
  const { gathered } = scene;
  const target = targetOf(gathered, outer);
  const line = (tire: string, label: string, isRaw: boolean) =>
    lineOf(gathered, tire, isRaw ? 'pressure' : 'cold pressure', scene, { label, role: isRaw ? 'raw' : 'judged' });
  return plotOf(scene, {
    title: 'Pressure of both tires',
    axes: [{ unit: 'kPa', label: 'pressure' }],
    lines: [
      line(outer, 'outer, cold-equivalent', false),
      line(inner, 'inner, cold-equivalent', false),
      line(outer, 'outer, as sent', true),
      line(inner, 'inner, as sent', true),
    ],
    limits:
      target === null
        ? []
        : [
            {
              label: `target ${shown(target, 'kPa', showOf(gathered))}`,
              kind: 'target',
              urgency: null,
              axis: 0,
              value: Math.round(target * 10) / 10,
            },
          ],
  });
}

function differencePlot(scene: Scene, pair: string): Plot | null {
  const { gathered, fromMs, toMs } = scene;
  const difference = differenceIn(scene, pair, fromMs, toMs);
  if (difference === null) return null;
  const size = (points: Points): Points => ({ ...points, value: points.value.map(Math.abs) });
  const { raw, cold } = difference;
  return plotOf(scene, {
    title: 'Difference of the pair',
    axes: [{ unit: 'kPa', label: 'difference' }],
    lines: [
      drawn(gathered, judgedDifference(difference), 'kPa', { label: 'median of 15 min, as judged', role: 'judged' }),
      cold === null ? null : drawn(gathered, size(cold), 'kPa', { label: 'cold-equivalent', role: 'raw' }),
      drawn(gathered, size(raw), 'kPa', { label: 'as sent', role: 'raw' }),
    ],
    limits: limitLines(scene, { axis: 0, unit: 'kPa', toAxis: (kpa, name) => (isOfUse(scene, name) ? kpa : null) }),
  });
}

/** The limit of the road, and that of a cold start where it is what was met. */
function isOfUse({ alert }: Scene, name: string): boolean {
  const met = alert.events.map(({ draft }) => criterionOf(alert, draft.urgency, draft.basis)?.[0]);
  return name === 'plan' || met.includes(name);
}

function sawPair(scene: Scene, pair: string): Words[] {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const raise = alert.events[0]!.atMs;
  const found = differenceIn(scene, pair, scene.fromMs, Math.min(scene.toMs, raise));
  const points = found?.cold ?? found?.raw ?? null;
  if (points === null) return [['The two tires were not heard at the same time in these minutes.']];
  const last = medianInPlace(points.value.slice(-6));
  const first = medianInPlace(points.value.slice(0, 6));
  const lower = last < 0 ? 'outer' : 'inner';
  const judged = judgedDifference(found!).value.at(-1)!;
  const then = Math.sign(first) === Math.sign(last) ? kpaApart(first, show) : `${kpaApart(first, show)} the other way`;
  return [
    [
      `At `,
      { atS: atS(gathered, raise) },
      ` the ${lower} tire had ${kpaApart(last, show)} less than the other by its last readings, and ${kpaApart(judged, show)} by the median of 15 min that is judged; at the beginning of these minutes it was ${then}.`,
    ],
  ];
}

const SAME_SHARE = 0.75;
/** What the road does to both is no news of one. */
const FELL_KPA = 24;

/** Was the difference there from the first reading on? Then nothing was lost on this drive. */
function stoodSoFromStart(scene: Scene, pair: string): Hint | null {
  const { gathered, alert } = scene;
  const found = differenceIn(scene, pair, Number.NEGATIVE_INFINITY, alert.events[0]!.atMs);
  const points = found?.cold ?? found?.raw ?? null;
  if (points === null || points.value.length < 20) return null;
  const [first, last] = [medianInPlace(points.value.slice(0, 10)), medianInPlace(points.value.slice(-10))];
  if (Math.sign(first) !== Math.sign(last) || Math.abs(first) < SAME_SHARE * Math.abs(last)) return null;
  return hintOf(
    'unclear',
    `The difference was there from the first reading on, at `,
    { atS: atS(gathered, points.atMs[0]!) },
    `: filled unequally, or one of two sensors is off. Nothing was lost while these data were taken.`,
  );
}

export const dualsUnequal: Depict = (scene) => {
  const pair = scene.alert.subject;
  const tires = ['outer', 'inner'].map((position) => tireScene(scene, pair.replace('/pair', `/${position}`)));
  const [outer, inner] = tires as [TireScene, TireScene];
  const falling = tires.filter((t) => t.fall !== null && t.fall.kpa >= FELL_KPA);
  const named = (t: TireScene) => (t === outer ? 'Outer tire: ' : 'Inner tire: ');
  const own = tires.flatMap((t) =>
    [fellInOneStep, jumps, fellAlongALine, repeatsItself, sensorWasInTrouble].flatMap((find) => {
      const hint = find(t);
      return hint === null ? [] : [{ ...hint, words: [named(t), ...hint.words] }];
    }),
  );
  const stood = own.length > 0 ? null : stoodSoFromStart(scene, pair);
  return {
    plots: plotsOf(pairPlot(scene, outer.tire, inner.tire), differencePlot(scene, pair), speedPlot(scene)),
    saw: [
      ...sawPair(scene, pair),
      ...tires.flatMap((t) => sawOnset(t).map((words) => [named(t), ...words])),
      ...falling.flatMap((t) =>
        sawFall(t)
          .slice(0, 1)
          .map((words) => [named(t), ...words]),
      ),
    ],
    hints: orUnclear(stood === null ? own : [...own, stood], 'duals-unequal', tires, FELL_KPA),
  };
};
