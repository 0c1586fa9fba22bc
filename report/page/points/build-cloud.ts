import uPlot from 'uplot';
import { numberAxis, timeAxis, valueAxis } from '../plot/axes.js';
import { spread } from '../plot/labels.js';
import { fontOf, inside, type Pencil, pencilFor, write } from '../plot/pencil.js';
import type { Layout } from '../plot/sheet.js';
import type { Clock } from '../words/time.js';
import { readingOf, type Show } from '../words/units.js';
import { type Cloud, type CloudPoint, nearestPoint, type Shape } from './cloud.js';

export const CLOUD_HEIGHT = 210;
const REACH = 28;
const SIZE = 3.6;

/** What of a cloud is seen (in the reader's units) and which point is read. */
export interface CloudView {
  x: [number, number] | null;
  y: [number, number] | null;
  point: number | null;
}

export interface CloudOptions {
  cloud: Cloud;
  clock: Clock;
  show: Show;
  view: CloudView;
  onPoint: (point: number | null) => void;
  onView: () => void;
}

/** Points as uPlot lays them out; it draws none of them itself. */
export function buildCloud(element: HTMLElement, layout: Layout, options: CloudOptions): uPlot {
  const { cloud, clock, show, view, onPoint, onView } = options;
  const { magnified, palette } = layout;
  const ofX = cloud.x.unit === 's' ? (v: number) => v : readingOf('kPa', show).of;
  const yReading = readingOf(cloud.y.unit, show);
  const order = cloud.points.map((_, i) => i).sort((a, b) => cloud.points[a]!.x - cloud.points[b]!.x);
  const xWhole = cloud.x.range.map(ofX) as [number, number];
  const yWhole = cloud.y.range.map(yReading.of) as [number, number];
  return new uPlot(
    {
      width: layout.width,
      height: layout.height,
      padding: [8 * magnified, 20 * magnified, 0, 0],
      legend: { show: false },
      scales: {
        x: { time: false, range: () => view.x ?? xWhole },
        y: { range: () => view.y ?? yWhole },
      },
      axes: [
        cloud.x.unit === 's' ? timeAxis(layout, clock, 0) : numberAxis(layout),
        valueAxis(layout, { scale: 'y', side: 3, isState: false }),
      ],
      cursor: {
        y: false,
        x: false,
        points: { show: false },
        drag: { x: true, y: true, uni: 24, setScale: false, dist: 4 },
        bind: {
          dblclick: () => () => {
            view.x = view.y = null;
            onView();
            return null;
          },
        },
      },
      series: [{}, { paths: () => null, points: { show: false } }],
      hooks: {
        draw: [(u) => drawCloud(pencilFor(u, palette, magnified), cloud, ofX, yReading.of)],
        setSelect: [
          (u) => {
            const { left, top, width, height } = u.select;
            if (width < 4 || height < 4) return;
            view.x = [u.posToVal(left, 'x'), u.posToVal(left + width, 'x')];
            view.y = [u.posToVal(top + height, 'y'), u.posToVal(top, 'y')];
            u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
            onView();
          },
        ],
        setCursor: [
          (u) => {
            const { left = -1, top = -1 } = u.cursor;
            const at = ({ x, y }: CloudPoint): [number, number] => [
              u.valToPos(ofX(x), 'x'),
              u.valToPos(yReading.of(y), 'y'),
            ];
            if (u.cursor.event !== undefined)
              onPoint(left < 0 ? null : nearestPoint(cloud.points, at, [left, top], REACH));
          },
        ],
      },
    },
    [order.map((i) => ofX(cloud.points[i]!.x)), order.map((i) => yReading.of(cloud.points[i]!.y))],
    element,
  );
}

/** Puts a ring around the point that is read. */
export function ring(u: uPlot, { cloud, view, show }: CloudOptions): void {
  let mark = u.over.querySelector<HTMLElement>('.ring');
  if (mark === null) {
    mark = document.createElement('i');
    mark.className = 'ring';
    u.over.append(mark);
  }
  const point = view.point === null ? undefined : cloud.points[view.point];
  mark.hidden = point === undefined;
  if (point === undefined) return;
  const x = cloud.x.unit === 's' ? point.x : readingOf('kPa', show).of(point.x);
  mark.style.left = `${u.valToPos(x, 'x')}px`;
  mark.style.top = `${u.valToPos(readingOf(cloud.y.unit, show).of(point.y), 'y')}px`;
}

type Of = (v: number) => number;

function drawCloud(pencil: Pencil, cloud: Cloud, ofX: Of, ofY: Of): void {
  const { ctx, plot, palette, unit, top, right, bottom } = pencil;
  inside(pencil, () => {
    if (cloud.band !== null) {
      const [from, to] = [cloud.band.from, cloud.band.to].map((x) => plot.valToPos(ofX(x), 'x', true)) as [
        number,
        number,
      ];
      ctx.globalCompositeOperation = 'destination-over';
      ctx.fillStyle = palette.shade;
      ctx.fillRect(from, top, to - from, bottom - top);
      ctx.globalCompositeOperation = 'source-over';
      ctx.font = fontOf(10.5 * unit);
      ctx.textAlign = 'center';
      ctx.textBaseline = 'bottom';
      write(pencil, cloud.band.label, (from + to) / 2, bottom - 3 * unit, palette.quiet);
    }
    for (const point of cloud.points) {
      const colour = point.urgency === null ? palette.lines['--line-1']! : palette.urgency[point.urgency];
      drawPoint(pencil, point, plot.valToPos(ofX(point.x), 'x', true), plot.valToPos(ofY(point.y), 'y', true), colour);
    }
    ctx.font = fontOf(10.5 * unit);
    // At the left, where pressure is low and few points are near the limit.
    ctx.textAlign = 'left';
    ctx.textBaseline = 'alphabetic';
    const lines = cloud.limits.map((limit) => ({ limit, y: plot.valToPos(ofY(limit.value), 'y', true) }));
    const height = 12.5 * unit;
    const words = spread(
      lines.map(({ y }) => y - 3 * unit),
      height,
      top + height,
      bottom,
    );
    lines.forEach(({ limit, y }, i) => {
      const colour = limit.urgency === null ? palette.ink : palette.urgency[limit.urgency];
      ctx.strokeStyle = colour;
      ctx.lineWidth = 1.4 * unit;
      ctx.setLineDash(limit.kind === 'raise' ? [] : [10 * unit, 3 * unit, 2 * unit, 3 * unit]);
      ctx.beginPath();
      ctx.moveTo(pencil.left, y);
      ctx.lineTo(right, y);
      ctx.stroke();
      if (limit.label !== '') write(pencil, limit.label, pencil.left + 5 * unit, words[i]!, colour);
    });
  });
}

function drawPoint({ ctx, unit }: Pencil, { shape, isFull }: CloudPoint, x: number, y: number, colour: string): void {
  ctx.strokeStyle = ctx.fillStyle = colour;
  ctx.lineWidth = (shape === 'cross' ? 1.8 : 1.2) * unit;
  ctx.setLineDash([]);
  ctx.beginPath();
  SHAPES[shape](ctx, x, y, (isFull ? SIZE : SIZE - 0.6) * unit);
  if (isFull) ctx.fill();
  ctx.stroke();
}

const SHAPES: Record<Shape, (ctx: CanvasRenderingContext2D, x: number, y: number, r: number) => void> = {
  dot: (ctx, x, y, r) => ctx.arc(x, y, r * 0.85, 0, 2 * Math.PI),
  triangle: (ctx, x, y, r) => {
    ctx.moveTo(x, y - r * 1.4);
    ctx.lineTo(x + r * 1.3, y + r);
    ctx.lineTo(x - r * 1.3, y + r);
    ctx.closePath();
  },
  cross: (ctx, x, y, r) => {
    ctx.moveTo(x - r, y - r);
    ctx.lineTo(x + r, y + r);
    ctx.moveTo(x - r, y + r);
    ctx.lineTo(x + r, y - r);
  },
  square: (ctx, x, y, r) => ctx.rect(x - r, y - r, 2 * r, 2 * r),
};
