import { useEffect, useRef } from 'preact/hooks';
import uPlot from 'uplot';
import { useDesk } from '../board/desk.js';
import { clock } from '../words/time.js';
import { axis } from '../words/units.js';
import type { PlotChoice } from './plot-subjects.js';
import { aligned, GAP_MS } from './series.js';

export interface PlotMark {
  ms: number;
  words: string;
}

interface PlotProps {
  choice: PlotChoice;
  /** By line of the choice: [ms, SI value]. */
  points: [number, number][][];
  marks: PlotMark[];
  /** In the unit of the choice, SI; null: none. */
  limit: number | null;
  fromMs: number;
  toMs: number;
}

const HEIGHT = 280;
/** Told apart by their strokes as well as by colour. */
const DASHES = [[], [8, 4], [2, 3], [12, 3, 2, 3]];

const colour = (name: string): string => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** Values over time; where nothing was told the line has a hole. */
export function Plot(props: PlotProps) {
  const { units } = useDesk();
  const box = useRef<HTMLDivElement>(null);
  const key = JSON.stringify([props, units]);
  useEffect(() => {
    const element = box.current;
    if (element === null) return;
    let plot = draw(element, props, units);
    const redraw = (): void => {
      plot.destroy();
      plot = draw(element, props, units);
    };
    const sized = new ResizeObserver(() => plot.setSize({ width: element.clientWidth, height: HEIGHT }));
    sized.observe(element);
    const scheme = matchMedia('(prefers-color-scheme: dark)');
    scheme.addEventListener('change', redraw);
    return () => {
      scheme.removeEventListener('change', redraw);
      sized.disconnect();
      plot.destroy();
    };
  }, [key]);

  return (
    <div class="plot" ref={box} role="img" aria-label={`${props.choice.title}; the values stand in the table below`} />
  );
}

function draw(element: HTMLElement, props: PlotProps, units: Parameters<typeof axis>[1]): uPlot {
  const { unit, of } = axis(props.choice.unit, units);
  const data = aligned(
    props.points.map((points) => points.map(([ms, value]): [number, number] => [ms, of(value)])),
    GAP_MS,
  );
  const axisLook = {
    stroke: colour('--ink'),
    grid: { stroke: colour('--line'), width: 1 },
    ticks: { stroke: colour('--line') },
  };
  return new uPlot(
    {
      width: element.clientWidth,
      height: HEIGHT,
      scales: { x: { time: true, range: [props.fromMs / 1000, props.toMs / 1000] } },
      axes: [
        { ...axisLook, values: (_, splits) => splits.map((s) => clock(s * 1000)) },
        { ...axisLook, label: unit, size: 56 },
      ],
      series: [
        { value: (_, s) => (s === null ? '' : clock(s * 1000)) },
        ...props.choice.lines.map(({ name }, i) => ({
          label: name,
          stroke: colour(`--plot-${i + 1}`),
          width: i === 0 ? 2.5 : 1.5,
          dash: DASHES[i]!,
          points: { show: true, size: 4 },
          value: (_: uPlot, value: number | null) => (value === null ? '' : `${value.toFixed(1)} ${unit}`),
        })),
      ],
      hooks: { draw: [(plot) => overlay(plot, props, of)] },
    },
    data as uPlot.AlignedData,
    element,
  );
}

/** The limit across, and an upright line for each change of the alert. */
function overlay(plot: uPlot, { marks, limit }: PlotProps, of: (value: number) => number): void {
  const { ctx, bbox } = plot;
  const right = bbox.left + bbox.width;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  ctx.font = `${12 * devicePixelRatio}px system-ui, sans-serif`;
  ctx.strokeStyle = ctx.fillStyle = colour('--ink');
  ctx.lineWidth = devicePixelRatio;
  ctx.setLineDash([3 * devicePixelRatio, 3 * devicePixelRatio]);
  if (limit !== null) line(ctx, right, bbox.left, plot.valToPos(of(limit), 'y', true), bbox.width, 0, 'limit');
  marks.forEach(({ ms, words }, i) => {
    const x = plot.valToPos(ms / 1000, 'x', true);
    line(ctx, right, x, bbox.top, 0, bbox.height, words, (14 + (i % 4) * 15) * devicePixelRatio);
  });
  ctx.restore();
}

function line(
  ctx: CanvasRenderingContext2D,
  right: number,
  x: number,
  y: number,
  dx: number,
  dy: number,
  words: string,
  below = 0,
): void {
  ctx.beginPath();
  ctx.moveTo(x, y);
  ctx.lineTo(x + dx, y + dy);
  ctx.stroke();
  // Words stand at the right of an upright line, and at its left where there is no room.
  const gap = 4 * devicePixelRatio;
  const isLate = dy > 0 && x + gap + ctx.measureText(words).width > right;
  ctx.textAlign = isLate ? 'right' : 'left';
  ctx.fillText(words, isLate ? x - gap : x + gap, y + (below || -gap));
}
