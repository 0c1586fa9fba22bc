import type { Plot, PlotSpan } from '../../data.js';

type Kind = PlotSpan['kind'];

/** How each kind of span looks. Areas lie behind the lines; lanes have a strip of their own below the plot. */
interface SpanLook {
  place: 'area' | 'lane';
  /** Beside its lane, and in the key. */
  words: string;
  key: string;
  pattern: Pattern;
}

export type Pattern = 'rising' | 'falling' | 'cross' | 'dots' | 'full' | 'light' | 'ticks' | 'empty';

/** In the order of the lanes. */
export const SPANS: Record<Kind, SpanLook> = {
  raising: { place: 'area', words: 'to raise', key: 'delay before it is raised', pattern: 'rising' },
  clearing: { place: 'area', words: 'to clear', key: 'delay before it is cleared', pattern: 'falling' },
  gap: { place: 'area', words: 'no data', key: 'nothing was heard', pattern: 'light' },
  open: { place: 'lane', words: 'open', key: 'alert open', pattern: 'full' },
  unsure: { place: 'lane', words: 'unsure', key: 'unsure: no fresh data', pattern: 'dots' },
  muted: { place: 'lane', words: 'muted', key: 'held, and muted by another alert', pattern: 'cross' },
  application: { place: 'lane', words: 'braking', key: 'brakes applied', pattern: 'full' },
  pumping: { place: 'lane', words: 'pumping', key: 'compressor pumping', pattern: 'rising' },
  'leak-test': { place: 'lane', words: 'leak test', key: 'leak test', pattern: 'empty' },
};

const KINDS = Object.keys(SPANS) as Kind[];

export const kindsOf = (plot: Plot): Kind[] => KINDS.filter((kind) => plot.spans.some((span) => span.kind === kind));

export const lanesOf = (plot: Plot): Kind[] => kindsOf(plot).filter((kind) => SPANS[kind].place === 'lane');

/** What goes on at an instant, in words. */
export const spansAt = (plot: Plot, s: number): string[] => [
  ...new Set(
    plot.spans.filter(({ fromS, toS }) => s >= fromS && s <= toS).map(({ kind, label }) => label || SPANS[kind].words),
  ),
];
