import type { Line, Plot, PlotSpan } from '../../data.js';
import { runsOf } from './align.js';
import { fillOf, fontOf, inside, type Pencil, write } from './pencil.js';
import { lanesOf, SPANS } from './spans.js';
import type { LineStyle } from './style.js';

/** Height of a lane, and of the free strip above the first one, CSS pixels. */
export const LANE = 12;
export const LANES_GAP = 5;

/** What lies behind the lines: gaps and delays as areas, what each point of a line stands for as a band. */
export function drawBehind(
  pencil: Pencil,
  plot: Plot,
  styles: readonly LineStyle[],
  of: (v: number, line: Line) => number,
): void {
  inside(pencil, () => {
    for (const span of plot.spans) if (SPANS[span.kind].place === 'area') drawArea(pencil, span);
    plot.lines.forEach((line, i) => {
      drawBand(pencil, line, styles[i]!, of);
    });
  });
  drawLanes(pencil, plot);
}

function drawArea(pencil: Pencil, { kind, fromS, toS, label }: PlotSpan): void {
  const { ctx, palette, unit, top, bottom } = pencil;
  const [from, to] = across(pencil, fromS, toS);
  if (to < pencil.left || from > pencil.right) return;
  ctx.globalAlpha = kind === 'gap' ? 1 : 0.45;
  ctx.fillStyle = kind === 'gap' ? palette.shade : fillOf(pencil, SPANS[kind].pattern, palette.quiet);
  ctx.fillRect(from, top, to - from, bottom - top);
  ctx.globalAlpha = 1;
  ctx.font = fontOf(10.5 * unit);
  ctx.textAlign = 'center';
  ctx.textBaseline = 'bottom';
  const [seenFrom, seenTo] = [Math.max(from, pencil.left), Math.min(to, pencil.right)];
  const words = [label, SPANS[kind].words].find((each) => ctx.measureText(each).width + 8 * unit < seenTo - seenFrom);
  if (words !== undefined && words !== '')
    write(pencil, words, (seenFrom + seenTo) / 2, bottom - 4 * unit, palette.quiet);
}

function drawBand(pencil: Pencil, line: Line, { colour }: LineStyle, of: (v: number, line: Line) => number): void {
  const { low, high } = line;
  if (low === undefined || high === undefined) return;
  const { ctx, plot, palette, unit } = pencil;
  const scale = `y${line.axis}`;
  ctx.fillStyle = ctx.strokeStyle = palette.lines[colour]!;
  ctx.globalAlpha = 0.2;
  for (const [first, last] of runsOf(line)) {
    ctx.beginPath();
    for (let i = first; i <= last; i++)
      ctx.lineTo(xOf(pencil, line.s[i]!), plot.valToPos(of(high[i]!, line), scale, true));
    for (let i = last; i >= first; i--)
      ctx.lineTo(xOf(pencil, line.s[i]!), plot.valToPos(of(low[i]!, line), scale, true));
    ctx.closePath();
    ctx.fill();
    // A point by itself has no area.
    if (first !== last) continue;
    ctx.lineWidth = 3 * unit;
    ctx.stroke();
  }
  ctx.globalAlpha = 1;
}

function drawLanes(pencil: Pencil, plot: Plot): void {
  const { ctx, palette, unit, left, right, bottom } = pencil;
  ctx.save();
  ctx.font = fontOf(10.5 * unit);
  ctx.textBaseline = 'middle';
  ctx.textAlign = 'right';
  lanesOf(plot).forEach((kind, n) => {
    const top = bottom + (LANES_GAP + n * LANE) * unit;
    const height = (LANE - 4) * unit;
    ctx.fillStyle = palette.quiet;
    ctx.fillText(SPANS[kind].words, left - 5 * unit, top + height / 2);
    ctx.fillStyle = palette.grid;
    ctx.fillRect(left, top + height / 2, right - left, Math.max(1, 0.5 * unit));
    const fill = fillOf(pencil, SPANS[kind].pattern, palette.ink);
    for (const span of plot.spans) {
      if (span.kind !== kind) continue;
      const [from, to] = across(pencil, span.fromS, span.toS).map((x) => Math.max(left, Math.min(right, x))) as [
        number,
        number,
      ];
      if (span.toS < plot.fromS || span.fromS > plot.toS || (to === left && from === left) || from === right) continue;
      const width = Math.max(to - from, 1.5 * unit);
      ctx.fillStyle = palette.paper;
      ctx.fillRect(from, top, width, height);
      ctx.fillStyle = fill;
      if (kind === 'application') ctx.fillStyle = palette.quiet;
      if (SPANS[kind].pattern !== 'empty') ctx.fillRect(from, top, width, height);
      ctx.strokeStyle = palette.ink;
      ctx.lineWidth = unit;
      if (SPANS[kind].pattern !== 'full') ctx.strokeRect(from, top, width, height);
    }
  });
  ctx.restore();
}

const xOf = ({ plot }: Pencil, s: number): number => plot.valToPos(s, 'x', true);

const across = (pencil: Pencil, fromS: number, toS: number): [number, number] => [xOf(pencil, fromS), xOf(pencil, toS)];
