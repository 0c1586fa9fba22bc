import uPlot from 'uplot';
import type { AxisUnit, Line, Plot } from '../../data.js';
import type { Clock } from '../words/time.js';
import { readingOf, type Show } from '../words/units.js';
import { aligned, runsOf } from './align.js';
import { RIGHT, timeAxis, valueAxis } from './axes.js';
import { drawBehind, LANE, LANES_GAP } from './draw-behind.js';
import { drawOver, MARK_ROW, MARK_ROWS } from './draw-over.js';
import type { PlotGroup } from './group.js';
import { pencilFor } from './pencil.js';
import { valueRange, zoomTo } from './range.js';
import type { Layout, PaperWidth } from './sheet.js';
import { lanesOf } from './spans.js';
import { lineStyles } from './style.js';

/** These hold until another value is told; nothing lies in between. */
const HOLDING = new Set<AxisUnit>(['state', 'share']);
const stepped = uPlot.paths.stepped!({ align: 1 });

const AREA: Record<PaperWidth, number> = { full: 190, half: 150 };
const TOP = 8;
const BOTTOM = 22;

/** CSS pixels; it does not depend on the width, so that nothing moves when a plot is drawn. */
export const heightOf = (plot: Plot, paper: PaperWidth): number =>
  AREA[paper] +
  topOf(plot) +
  BOTTOM +
  (plot.axes[0]?.unit === 'state' ? -60 : 0) +
  lanesOf(plot).length * LANE +
  LANES_GAP;

const topOf = ({ marks }: Plot): number => (marks.length > 0 ? MARK_ROWS * MARK_ROW + 4 : TOP);

export interface TimePlotOptions {
  data: Plot;
  group: PlotGroup;
  clock: Clock;
  show: Show;
  /** Room for a second axis is kept, as a plot beside it has one. */
  keepsRight: boolean;
}

/** A plot over time as uPlot draws it, with what it does not know: spans, bands, limits, changes. */
export function buildTimePlot(element: HTMLElement, layout: Layout, options: TimePlotOptions): uPlot {
  const { data, group, clock, keepsRight } = options;
  const { magnified, palette } = layout;
  const readings = data.axes.map(({ unit }) => readingOf(unit, options.show));
  const of = (v: number, axis: 0 | 1): number => readings[axis]?.of(v) ?? v;
  const ofLine = (v: number, line: Line): number => of(v, line.axis);
  const styles = lineStyles(data.lines);
  const right = data.axes.length > 1 ? 0 : (keepsRight ? RIGHT : 20) * magnified;
  const seen = (): [number, number] =>
    group.seenOf(data.fromS, data.toS) ?? [data.fromS, Math.max(data.toS, data.fromS + 1)];
  return new uPlot(
    {
      width: layout.width,
      height: layout.height,
      padding: [topOf(data) * magnified, right, 0, 0],
      legend: { show: false },
      cursor: cursorOf(options),
      scales: {
        x: { time: false, range: () => seen() },
        ...Object.fromEntries(data.axes.map((_, i) => [`y${i}`, { range: () => yRange(options, i as 0 | 1, of) }])),
      },
      axes: [
        timeAxis(layout, clock, lanesOf(data).length),
        ...data.axes.map(({ unit }, i) =>
          valueAxis(layout, {
            scale: `y${i}`,
            side: i === 0 ? 3 : 1,
            isState: unit === 'state',
          }),
        ),
      ],
      series: [
        {},
        ...data.lines.map((line, i) => {
          const { colour, width, dash } = styles[i]!;
          const stroke = palette.lines[colour]!;
          return {
            label: line.label,
            scale: `y${line.axis}`,
            stroke,
            width: width * magnified,
            ...(HOLDING.has(data.axes[line.axis]!.unit) && { paths: stepped }),
            dash: dash.map((length) => length * magnified),
            points: {
              size: 4.5 * magnified,
              space: 14 * magnified,
              fill: stroke,
              stroke,
              width: 0,
              filter: alone(line),
            },
          };
        }),
      ],
      hooks: {
        drawAxes: [(u) => drawBehind(pencilFor(u, palette, magnified), data, styles, ofLine)],
        draw: [(u) => drawOver(pencilFor(u, palette, magnified), data, of)],
        setSelect: [(u) => selected(u, options)],
        setCursor: [(u) => pointed(u, group)],
      },
    },
    aligned(data.lines, ofLine) as uPlot.AlignedData,
    element,
  );
}

/** Points that no line reaches: they would not be seen. */
function alone(line: Line): uPlot.Series.Points.Filter {
  const instants = new Set(runsOf(line).flatMap(([first, last]) => (first === last ? [line.s[first]!] : [])));
  return (u, _series, show) =>
    show ? null : instants.size === 0 ? null : [...u.data[0]].flatMap((s, i) => (instants.has(s) ? [i] : []));
}

function yRange(
  { data, group }: TimePlotOptions,
  axis: 0 | 1,
  of: (v: number, axis: 0 | 1) => number,
): [number, number] {
  const [low, high] = valueRange(data, axis, group.seenOf(data.fromS, data.toS));
  return [of(low, axis), of(high, axis)];
}

function cursorOf({ group }: TimePlotOptions): uPlot.Cursor {
  return {
    y: false,
    points: { show: false },
    drag: { x: true, y: false, setScale: false, dist: 4 },
    bind: {
      dblclick: () => () => {
        group.setRange(null);
        return null;
      },
      mouseleave: (u, _target, handler) => (event) => {
        handler(event);
        // While a part is being chosen the pointer may leave the plot.
        if (u.cursor.left !== undefined && u.cursor.left < 0) group.setCursor(null);
        return null;
      },
    },
  };
}

function selected(u: uPlot, { group, data }: TimePlotOptions): void {
  const { left, width } = u.select;
  if (width < 4) return;
  const range = zoomTo([data.fromS, data.toS], u.posToVal(left, 'x'), u.posToVal(left + width, 'x'));
  u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
  if (range !== null) group.setRange(range);
}

function pointed(u: uPlot, group: PlotGroup): void {
  const { left = -1 } = u.cursor;
  if (left >= 0 && u.cursor.event !== undefined) group.setCursor(u.posToVal(left, 'x'));
}

/** Shows in a drawn plot what its group has. */
export function follow(u: uPlot, what: 'cursor' | 'range', group: PlotGroup): void {
  if (what === 'range') {
    // The scale asks the group for its range; the limits that are given here are not used.
    u.setScale('x', { min: u.scales.x!.min!, max: u.scales.x!.max! });
    return;
  }
  const { cursorS } = group;
  const left = cursorS === null ? -10 : u.valToPos(cursorS, 'x');
  const isInside = left >= 0 && left <= u.over.clientWidth;
  u.setCursor(isInside ? { left, top: 10 } : { left: -10, top: -10 }, false);
}
