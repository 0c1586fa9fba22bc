import type { Line, Plot, PlotLimit, PlotSpan } from '../data.js';
import { lineOf } from './lines.js';
import type { Scene } from './picture.js';
import { changeMarks, delaySpans, otherSpans } from './spans.js';
import { atS } from './window.js';

/** A plot over the scene's window, with delays, gaps and changes of the alert. null: nothing was heard that it could show. */
export function plotOf(
  scene: Scene,
  plot: {
    title: string;
    axes: Plot['axes'];
    lines: (Line | null)[];
    limits?: PlotLimit[];
    spans?: PlotSpan[];
    /** Without the alert's delays and changes: what only goes along. */
    isContext?: boolean;
  },
): Plot | null {
  const lines = plot.lines.filter((line) => line !== null);
  if (lines.length === 0) return null;
  return {
    title: plot.title,
    fromS: atS(scene.gathered, scene.fromMs),
    toS: atS(scene.gathered, scene.toMs),
    axes: plot.axes,
    lines,
    limits: plot.limits ?? [],
    spans: [...(plot.isContext ? [] : delaySpans(scene)), ...otherSpans(scene), ...(plot.spans ?? [])],
    marks: plot.isContext ? [] : changeMarks(scene),
  };
}

/** How fast the truck drove meanwhile; null where nobody said. */
export function speedPlot(scene: Scene): Plot | null {
  return plotOf(scene, {
    title: 'Speed',
    axes: [{ unit: 'km/h', label: 'speed' }],
    lines: [lineOf(scene.gathered, 'tractor', 'speed', scene, { label: 'speed', role: 'context' })],
    isContext: true,
  });
}

/** Those that there are. */
export const plotsOf = (...plots: (Plot | null)[]): Plot[] => plots.filter((plot) => plot !== null);
