import type { AxisUnit, Line, Plot } from '../../data.js';
import type { Clock } from '../words/time.js';
import { inUnits, type Show } from '../words/units.js';
import { pointAt } from './align.js';
import { spansAt } from './spans.js';

/** A plot for who cannot see it: what it shows, from when to when, between what values, against which limits. */
export function plotWords(plot: Plot, clock: Clock, show: Show): string {
  const lines = plot.lines.map((line) => {
    const unit = plot.axes[line.axis]!.unit;
    if (line.v.length === 0) return `${line.label}: nothing`;
    const low = reduced(line.low ?? line.v, Math.min);
    const high = reduced(line.high ?? line.v, Math.max);
    const span =
      low === high ? inUnits(low, unit, show) : `${inUnits(low, unit, show)} to ${inUnits(high, unit, show)}`;
    return `${line.label}: ${span}`;
  });
  const limits = plot.limits.map(({ label }) => label);
  return [
    `${plot.title}, ${clock.moment(plot.fromS)} to ${clock.moment(plot.toS)}`,
    lines.join('; '),
    ...(limits.length > 0 ? [`limits: ${limits.join('; ')}`] : []),
    'arrow keys read values, plus and minus zoom',
  ].join('. ');
}

const reduced = (list: readonly number[], pick: (a: number, b: number) => number): number =>
  list.reduce((a, b) => pick(a, b));

export interface ReadOut {
  moment: string;
  /** By line; null: nothing was heard then. */
  values: (string | null)[];
  /** What went on then: delays, braking, tests. */
  spans: string[];
  /** All of it, as it is spoken. */
  words: string;
}

/** A value of a line, with the span that it stands for. */
function valueWords(line: Line, i: number, unit: AxisUnit, show: Show): string {
  const [low, high] = [line.low?.[i], line.high?.[i]];
  const value = inUnits(line.v[i]!, unit, show);
  return low === undefined || high === undefined || low === high
    ? value
    : `${value} (${inUnits(low, unit, show)} to ${inUnits(high, unit, show)})`;
}

/** Room that the values of each line need at most, in characters: what is read must not push the plots below about. */
export function valueWidths({ lines, axes }: Plot, show: Show): number[] {
  return lines.map((line) => {
    const unit = axes[line.axis]!.unit;
    let most = 'nothing'.length;
    for (let i = 0; i < line.v.length; i++) most = Math.max(most, valueWords(line, i, unit, show).length);
    return most + 1;
  });
}

/** What a plot says of an instant. */
export function readOut(plot: Plot, s: number, clock: Clock, show: Show): ReadOut {
  const values = plot.lines.map((line) => {
    const i = pointAt(line, s);
    if (i === null) return null;
    return valueWords(line, i, plot.axes[line.axis]!.unit, show);
  });
  const spans = spansAt(plot, s);
  const moment = clock.moment(s);
  const spoken = plot.lines.map(({ label }, i) => `${label} ${values[i] ?? 'nothing'}`);
  return { moment, values, spans, words: [moment, ...spoken, ...spans].join(', ') };
}
