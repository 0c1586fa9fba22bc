import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Line, Plot, PlotLimit } from '../data.js';
import type { SeriesQuantity } from '../gathered.js';
import { drawn, lineOf } from './lines.js';
import { matesOf } from './peers.js';
import type { Scene } from './picture.js';
import { plotOf } from './plots.js';
import { limitLines, showOf } from './spans.js';
import { medianLine, nameBeside, seriesIn, type TireScene } from './tire-scene.js';

/** Lines of the tires that run like this one. */
function mateLines(scene: Scene, tire: string, quantity: SeriesQuantity): (Line | null)[] {
  return matesOf(scene.gathered, tire).map((mate) =>
    lineOf(scene.gathered, mate, quantity, scene, { label: nameBeside(mate, tire), role: 'mate' }),
  );
}

export interface PressureLook {
  /** Limits of the alert's rule in kPa, or shares of the target; left out: none. */
  limits?: 'kPa' | 'share';
  /** Further lines and limits on the same axis. */
  lines?: (Line | null)[];
  more?: PlotLimit[];
}

/**
 * Pressure of a tire as it was sent and as it would be cold, with its mates as they would be cold, its target and the limits.
 * null: nothing was heard of any of them.
 */
export function pressurePlot(t: TireScene, look: PressureLook = {}): Plot | null {
  const { scene, gathered, tire, targetKpa } = t;
  const hasCold = t.cold !== null;
  const toAxis = (value: number): number | null =>
    look.limits === 'kPa' ? value : targetKpa === null ? null : value * targetKpa;
  const limits = look.limits === undefined ? [] : limitLines(scene, { axis: 0, unit: 'kPa', toAxis });
  return plotOf(scene, {
    title: `Pressure: ${placeOf(tire)}`,
    axes: [{ unit: 'kPa', label: 'pressure' }],
    lines: [
      hasCold ? lineOf(gathered, tire, 'cold pressure', scene, { label: 'cold-equivalent', role: 'judged' }) : null,
      lineOf(gathered, tire, 'pressure', scene, { label: 'as sent', role: hasCold ? 'raw' : 'judged' }),
      ...(look.lines ?? []),
      ...mateLines(scene, tire, hasCold ? 'cold pressure' : 'pressure'),
    ],
    limits: [...targetLine(t), ...limits, ...(look.more ?? [])],
  });
}

function targetLine({ gathered, targetKpa }: TireScene): PlotLimit[] {
  if (targetKpa === null) return [];
  const label = `target ${shown(targetKpa, 'kPa', showOf(gathered))}`;
  return [{ label, kind: 'target', urgency: null, axis: 0, value: Math.round(targetKpa * 10) / 10 }];
}

/** Temperature of a tire with its mates and the weather. */
export function temperaturePlot(
  t: TireScene,
  look: { lines?: (Line | null)[]; limits?: PlotLimit[]; isJudged?: boolean } = {},
): Plot | null {
  const { scene, gathered, tire } = t;
  const own = lineOf(gathered, tire, 'temperature', scene, { label: 'this tire', role: 'judged' });
  const mates = mateLines(scene, tire, 'temperature');
  // The weather by itself says nothing of a tire.
  if (own === null && mates.every((line) => line === null)) return null;
  return plotOf(scene, {
    title: `Temperature: ${placeOf(tire)}`,
    axes: [{ unit: '°C', label: 'temperature' }],
    lines: [
      own,
      ...(look.lines ?? []),
      ...mates,
      lineOf(gathered, 'tractor', 'temperature', scene, { label: 'outside air', role: 'context' }),
    ],
    limits: look.limits ?? [],
    isContext: look.isJudged !== true,
  });
}

/** Median temperature of the peers, and so much above it. */
export function peerTemperatures(t: TireScene, aboveC: number | null): (Line | null)[] {
  const median = medianLine(seriesIn(t.scene, t.peers, 'temperature'));
  if (median === null) return [];
  const line = drawn(t.gathered, median, '°C', { label: 'median of its peers', role: 'context' });
  if (aboveC === null) return [line];
  const above = { ...median, value: median.value.map((v) => v + aboveC) };
  return [line, drawn(t.gathered, above, '°C', { label: 'limit above its peers', role: 'context' })];
}

/** What the brake of the same wheel end said, where it says anything. */
export function brakePlot({ scene, gathered, tire }: TireScene): Plot | null {
  const end = tire.split('/').slice(0, 3).join('/');
  return plotOf(scene, {
    title: `Stroke status: ${placeOf(end)}`,
    axes: [{ unit: 'state', label: 'stroke status' }],
    lines: [lineOf(gathered, end, 'stroke state', scene, { label: 'stroke status', role: 'context' })],
    isContext: true,
  });
}
