import type uPlot from 'uplot';
import type { Palette } from './palette.js';
import type { Pattern } from './spans.js';

/** What draws beside uPlot's own lines: a canvas with sizes in CSS pixels. */
export interface Pencil {
  plot: uPlot;
  ctx: CanvasRenderingContext2D;
  palette: Palette;
  /** Canvas pixels per CSS pixel as it is seen. */
  unit: number;
  left: number;
  top: number;
  right: number;
  bottom: number;
}

/** @param magnified times that the plot is laid out larger than it is seen, as for paper */
export function pencilFor(plot: uPlot, palette: Palette, magnified: number): Pencil {
  const { left, top, width, height } = plot.bbox;
  const unit = devicePixelRatio * magnified;
  return { plot, ctx: plot.ctx, palette, unit, left, top, right: left + width, bottom: top + height };
}

export const fontOf = (pixels: number, weight = ''): string => `${weight} ${pixels}px system-ui, sans-serif`.trim();

/** A colour in a pattern that is told apart without it. */
export function fillOf({ ctx, unit }: Pencil, pattern: Pattern, colour: string): CanvasPattern | string {
  if (pattern === 'full') return colour;
  const size = Math.round(6 * unit);
  const tile = document.createElement('canvas');
  tile.width = tile.height = size;
  const on = tile.getContext('2d')!;
  on.strokeStyle = on.fillStyle = colour;
  on.lineWidth = Math.max(1, 0.9 * unit);
  on.beginPath();
  if (pattern === 'rising' || pattern === 'cross') slant(on, size, 1);
  if (pattern === 'falling' || pattern === 'cross') slant(on, size, -1);
  on.stroke();
  if (pattern === 'dots') {
    on.arc(size / 2, size / 2, size / 5, 0, 2 * Math.PI);
    on.fill();
  }
  if (pattern === 'light') {
    on.globalAlpha = 0.25;
    on.fillRect(0, 0, size, size);
  }
  return ctx.createPattern(tile, 'repeat') ?? colour;
}

/** Three strokes, so that the tiles meet without a seam. */
function slant(on: CanvasRenderingContext2D, size: number, way: 1 | -1): void {
  for (const shift of [-size, 0, size]) {
    on.moveTo(shift, way === 1 ? size : 0);
    on.lineTo(shift + size, way === 1 ? 0 : size);
  }
}

/** Words that stay readable over lines. */
export function write(pencil: Pencil, words: string, x: number, y: number, colour = pencil.palette.ink): void {
  const { ctx, palette, unit } = pencil;
  ctx.lineWidth = 3.5 * unit;
  ctx.lineJoin = 'round';
  ctx.setLineDash([]);
  ctx.strokeStyle = palette.paper;
  ctx.strokeText(words, x, y);
  ctx.fillStyle = colour;
  ctx.fillText(words, x, y);
}

/** Draws inside of the plotting area only. */
export function inside({ ctx, left, top, right, bottom }: Pencil, draw: () => void): void {
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, right - left, bottom - top);
  ctx.clip();
  draw();
  ctx.restore();
}

/** The three urgencies by their shape: a ring, a triangle, a full octagon. */
export function drawUrgency(
  ctx: CanvasRenderingContext2D,
  urgency: 'plan' | 'next-stop' | 'pull-over',
  x: number,
  y: number,
  radius: number,
): void {
  const corners = urgency === 'next-stop' ? 3 : urgency === 'pull-over' ? 8 : 24;
  const turn = urgency === 'next-stop' ? -Math.PI / 2 : Math.PI / corners;
  ctx.setLineDash([]);
  ctx.beginPath();
  for (let i = 0; i < corners; i++) {
    const angle = turn + (i * 2 * Math.PI) / corners;
    ctx.lineTo(x + radius * Math.cos(angle), y + radius * Math.sin(angle));
  }
  ctx.closePath();
  if (urgency === 'plan') ctx.stroke();
  else ctx.fill();
}
