import type { Plot, PlotLimit } from '../../data.js';
import { clearest, placeInRows, spread } from './labels.js';
import { drawUrgency, fontOf, inside, type Pencil, write } from './pencil.js';

const LIMIT_DASHES: Record<PlotLimit['kind'], number[]> = {
  raise: [],
  clear: [7, 4],
  target: [1.5, 3],
  other: [10, 3, 2, 3],
};
const FONT = 10.5;
/** Rows above the plot for the words of changes, and their height, CSS pixels. */
export const MARK_ROWS = 2;
export const MARK_ROW = 13;

/** What lies over the lines: limits with their words, changes with theirs. */
export function drawOver(pencil: Pencil, plot: Plot, of: (v: number, axis: 0 | 1) => number): void {
  drawLimits(pencil, plot, of);
  drawMarks(pencil, plot);
}

function drawLimits(pencil: Pencil, { limits, lines: drawn }: Plot, of: (v: number, axis: 0 | 1) => number): void {
  const { ctx, plot, palette, unit, left, right, top, bottom } = pencil;
  const x = (s: number): number => Math.max(left, Math.min(right, plot.valToPos(s, 'x', true)));
  const seen = limits
    .map((limit) => ({
      limit,
      y: plot.valToPos(of(limit.value, limit.axis), `y${limit.axis}`, true),
      from: limit.fromS === undefined ? left : x(limit.fromS),
      to: limit.toS === undefined ? right : x(limit.toS),
    }))
    .filter(({ y, from, to }) => y >= top && y <= bottom && to > from);
  if (seen.length === 0) return;
  const lines = drawn.map(({ s, v, axis }) =>
    s.flatMap((at, i) => [plot.valToPos(at, 'x', true), plot.valToPos(of(v[i]!, axis), `y${axis}`, true)]),
  );
  const colourOf = ({ urgency, kind }: PlotLimit): string =>
    urgency === null ? (kind === 'target' ? palette.quiet : palette.ink) : palette.urgency[urgency];
  inside(pencil, () => {
    for (const { limit, y, from, to } of seen) {
      ctx.strokeStyle = colourOf(limit);
      ctx.lineWidth = (limit.kind === 'raise' ? 1.4 : 1.2) * unit;
      ctx.setLineDash(LIMIT_DASHES[limit.kind].map((length) => length * unit));
      ctx.beginPath();
      ctx.moveTo(from, y);
      ctx.lineTo(to, y);
      ctx.stroke();
    }
    writeLimits(
      pencil,
      lines,
      seen.map((each) => ({ ...each, colour: colourOf(each.limit) })),
    );
  });
}

interface SeenLimit {
  limit: PlotLimit;
  y: number;
  from: number;
  to: number;
  colour: string;
}

/** Each limit's words stand on it, where they hide the least. */
function writeLimits(pencil: Pencil, lines: readonly number[][], seen: readonly SeenLimit[]): void {
  const { ctx, unit, top, bottom } = pencil;
  ctx.font = fontOf(FONT * unit);
  ctx.textAlign = 'left';
  ctx.textBaseline = 'alphabetic';
  const height = (FONT + 2) * unit;
  const ys = spread(
    seen.map(({ y }) => y - 3 * unit),
    height,
    top + height,
    bottom - 2 * unit,
  );
  seen.forEach(({ limit, from, to, colour }, i) => {
    const width = ctx.measureText(limit.label).width;
    const [first, last] = [from + 5 * unit, to - 5 * unit - width];
    const places = [last, first, (first + last) / 2, first + (last - first) / 4, first + ((last - first) * 3) / 4].map(
      (left) => ({ left, right: left + width, top: ys[i]! - height, bottom: ys[i]! + 2 * unit }),
    );
    write(pencil, limit.label, places[last < first ? 0 : clearest(places, lines)]!.left, ys[i]!, colour);
  });
}

function drawMarks(pencil: Pencil, { marks }: Plot): void {
  const { ctx, plot, palette, unit, left, right, top, bottom } = pencil;
  ctx.save();
  ctx.font = fontOf(FONT * unit);
  ctx.textBaseline = 'middle';
  const glyph = 11 * unit;
  const seen = marks
    .map((mark) => ({
      mark,
      x: plot.valToPos(mark.s, 'x', true),
      width: ctx.measureText(mark.label).width + glyph + 6 * unit,
    }))
    .filter(({ x }) => x >= left - 1 && x <= right + 1);
  const places = placeInRows(seen, MARK_ROWS, left - 30 * unit, right + 4 * unit);
  const yOf = (i: number): number => top - (6 + MARK_ROW * (places[i]?.row ?? 0)) * unit;
  ctx.lineWidth = unit;
  seen.forEach(({ mark, x }, i) => {
    ctx.strokeStyle = palette.urgency[mark.urgency];
    ctx.setLineDash([2 * unit, 2 * unit]);
    ctx.beginPath();
    ctx.moveTo(x, places[i] === null ? top : yOf(i) + 4 * unit);
    ctx.lineTo(x, bottom);
    ctx.stroke();
  });
  // Words after all of the lines, as these pass through the rows below their own.
  ctx.lineWidth = 1.5 * unit;
  seen.forEach(({ mark, x }, i) => {
    const place = places[i] ?? null;
    if (place === null) return;
    ctx.textAlign = place.align;
    write(pencil, mark.label, x + (place.align === 'left' ? 1 : -1) * (glyph - 3 * unit), yOf(i));
    ctx.lineWidth = 1.5 * unit;
    ctx.strokeStyle = ctx.fillStyle = palette.urgency[mark.urgency];
    drawUrgency(ctx, mark.urgency, x, yOf(i), 4.5 * unit);
  });
  ctx.restore();
}
