import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import type uPlot from 'uplot';
import type { Plot } from '../../data.js';
import { useReader } from '../reader.js';
import { buildTimePlot, follow, heightOf } from './build.js';
import type { PlotGroup } from './group.js';
import { Key } from './key.js';
import { plotWords, readOut } from './plot-words.js';
import { zoomBy } from './range.js';
import { type PaperWidth, Sheet } from './sheet.js';
import { stepFrom } from './step.js';
import { ValuesTable } from './values-table.js';

interface PlotFigureProps {
  plot: Plot;
  group: PlotGroup;
  keepsRight?: boolean;
  paper?: PaperWidth;
}

/** A plot over time with its key, which reads out what the pointer or the arrow keys are at, and its values as a table. */
export function PlotFigure({ plot, group, keepsRight = false, paper = 'full' }: PlotFigureProps) {
  const { clock, show } = useReader();
  const box = useRef<HTMLDivElement>(null);
  const sheet = useRef<Sheet | null>(null);
  const [atS, setAtS] = useState<number | null>(group.cursorS);
  const [isZoomed, setZoomed] = useState(false);

  useLayoutEffect(() => {
    const options = { data: plot, group, clock, show, keepsRight };
    const mine = new Sheet(box.current!, heightOf(plot, paper), paper, (element, layout) =>
      buildTimePlot(element, layout, options),
    );
    sheet.current = mine;
    return () => mine.end();
  }, [plot, group, clock, show, keepsRight, paper]);

  useEffect(
    () =>
      group.subscribe((what) => {
        if (sheet.current?.plot) follow(sheet.current.plot, what, group);
        if (what === 'cursor') setAtS(group.cursorS);
        else setZoomed(group.seenOf(plot.fromS, plot.toS) !== null);
      }),
    [group, plot],
  );

  const words = useMemo(() => plotWords(plot, clock, show), [plot, clock, show]);
  const read = atS === null || atS < plot.fromS || atS > plot.toS ? null : readOut(plot, atS, clock, show);
  const { fromS, toS } = plot;
  return (
    <figure class="plot">
      <figcaption>
        <span class="title">
          <b>{plot.title}</b>
          <span class="read" data-read={read === null ? 'no' : 'yes'}>
            {read !== null && [read.moment, ...read.spans].join(' · ')}
          </span>
        </span>
        <span class="zoom no-print">
          <button type="button" class="small by-touch" onClick={() => zoom(plot, group, ZOOM)}>
            Zoom in
          </button>
          {isZoomed && (
            <button type="button" class="small" onClick={() => group.setRange(null)}>
              Whole time
            </button>
          )}
        </span>
      </figcaption>
      <AxisNames plot={plot} />
      <div
        class="sheet"
        ref={box}
        style={{ height: `${heightOf(plot, paper)}px` }}
        role="slider"
        tabIndex={0}
        aria-label={words}
        aria-valuemin={Math.round(fromS)}
        aria-valuemax={Math.round(toS)}
        aria-valuenow={Math.round(atS === null ? fromS : Math.max(fromS, Math.min(toS, atS)))}
        aria-valuetext={read?.words ?? 'no instant chosen'}
        onKeyDown={(event) => onKey(event, plot, group)}
        onPointerDown={(event) => touched(event, sheet.current?.plot, group)}
        onPointerMove={(event) => touched(event, sheet.current?.plot, group)}
      />
      <Key plot={plot} read={read} />
      <ValuesTable plot={plot} />
    </figure>
  );
}

function AxisNames({ plot: { axes } }: { plot: Plot }) {
  const { unitOf } = useReader();
  return (
    <p class="axis-names" aria-hidden="true">
      {axes.map(({ label, unit }) => (
        <span key={label}>
          {label}
          {unitOf(unit) && `, ${unitOf(unit)}`}
        </span>
      ))}
    </p>
  );
}

const MANY = 10;
const ZOOM = 0.5;

/** Arrows read point by point, with Shift ten at once; + and − zoom, 0 or Escape shows the whole. */
function onKey(event: KeyboardEvent, plot: Plot, group: PlotGroup): void {
  const seen = group.seenOf(plot.fromS, plot.toS) ?? [plot.fromS, plot.toS];
  const step = event.shiftKey ? MANY : 1;
  const acts: Record<string, () => void> = {
    ArrowRight: () => group.setCursor(stepFrom(plot, group.cursorS, step, seen)),
    ArrowLeft: () => group.setCursor(stepFrom(plot, group.cursorS, -step, seen)),
    Home: () => group.setCursor(stepFrom(plot, null, 1, seen)),
    End: () => group.setCursor(stepFrom(plot, null, -1, seen)),
    '+': () => zoom(plot, group, ZOOM),
    '=': () => zoom(plot, group, ZOOM),
    '-': () => zoom(plot, group, 1 / ZOOM),
    '0': () => group.setRange(null),
    Escape: () => group.setRange(null),
  };
  const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : acts[event.key];
  if (act === undefined) return;
  event.preventDefault();
  act();
}

/** Around the instant that is read. */
function zoom({ fromS, toS }: Plot, group: PlotGroup, factor: number): void {
  const seen = group.seenOf(fromS, toS) ?? [fromS, toS];
  group.setRange(zoomBy([fromS, toS], seen, factor, group.cursorS ?? (seen[0] + seen[1]) / 2));
}

/** A finger reads where it is and moves; up and down it still scrolls the page. */
function touched(event: PointerEvent, plot: uPlot | null | undefined, group: PlotGroup): void {
  if (event.pointerType === 'mouse' || !plot) return;
  const { left, width } = plot.over.getBoundingClientRect();
  const x = event.clientX - left;
  if (x >= 0 && x <= width) group.setCursor(plot.posToVal(x, 'x'));
}
