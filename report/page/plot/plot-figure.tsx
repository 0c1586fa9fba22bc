import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { Plot } from '../../data.js';
import { useReader } from '../reader.js';
import { nearest, pointAt } from './align.js';
import { buildTimePlot, follow, heightOf } from './build.js';
import type { PlotGroup } from './group.js';
import { Key } from './key.js';
import { plotWords, readOut } from './plot-words.js';
import { zoomBy } from './range.js';
import { type PaperWidth, Sheet } from './sheet.js';
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
        <b>{plot.title}</b>
        <span class="read" data-read={read === null ? 'no' : 'yes'}>
          {read !== null && [read.moment, ...read.spans].join(' · ')}
        </span>
        {isZoomed && (
          <button type="button" class="small no-print" onClick={() => group.setRange(null)}>
            Whole time
          </button>
        )}
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
  const whole: [number, number] = [plot.fromS, plot.toS];
  const seen = group.seenOf(...whole) ?? whole;
  const around = group.cursorS ?? (seen[0] + seen[1]) / 2;
  const step = event.shiftKey ? MANY : 1;
  const acts: Record<string, () => void> = {
    ArrowRight: () => group.setCursor(stepFrom(plot, group.cursorS, step, seen)),
    ArrowLeft: () => group.setCursor(stepFrom(plot, group.cursorS, -step, seen)),
    Home: () => group.setCursor(stepFrom(plot, null, 1, seen)),
    End: () => group.setCursor(stepFrom(plot, null, -1, seen)),
    '+': () => group.setRange(zoomBy(whole, seen, ZOOM, around)),
    '=': () => group.setRange(zoomBy(whole, seen, ZOOM, around)),
    '-': () => group.setRange(zoomBy(whole, seen, 1 / ZOOM, around)),
    '0': () => group.setRange(null),
    Escape: () => group.setRange(null),
  };
  const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : acts[event.key];
  if (act === undefined) return;
  event.preventDefault();
  act();
}

/** The instant of a point of the first line, so many further; from nowhere: its first or last one that is seen. */
export function stepFrom(plot: Plot, atS: number | null, step: number, seen: [number, number]): number | null {
  const line = plot.lines.find(({ role }) => role === 'judged') ?? plot.lines[0];
  if (line === undefined || line.s.length === 0) return null;
  const [first, last] = [nearest(line.s, seen[0]), nearest(line.s, seen[1])];
  if (atS === null) return line.s[step > 0 ? first : last]!;
  const now = nearest(line.s, atS);
  const wanted = pointAt(line, atS) === null && Math.abs(line.s[now]! - atS) > 1 ? now : now + step;
  return line.s[Math.max(first, Math.min(last, wanted))]!;
}
