import { useMemo, useRef, useState } from 'preact/hooks';
import { zoomBy, zoomTo } from '../plot/range.js';
import { useReader } from '../reader.js';
import { tickWords, timeTicks } from '../words/time.js';
import { Bars, LifeRow, SpeedRow, TripsRow } from './bars.js';
import { barOf, percentOf } from './geometry.js';
import { glanceWords } from './glance-words.js';
import { GlanceKey } from './key.js';
import { useDrag } from './use-drag.js';

/** Less than this is a phone. */
const NARROW = 640;
const mostTicks = (): number => (innerWidth < NARROW ? 4 : 7);
const STEPS_ACROSS = 120;

/** All of the shift on one time axis. */
export function Glance() {
  const { data, clock, show } = useReader();
  const whole = useMemo<[number, number]>(() => [0, Math.max(data.lengthS, 1)], [data]);
  const [zoomed, setZoomed] = useState<[number, number] | null>(null);
  const [atS, setAtS] = useState<number | null>(null);
  const track = useRef<HTMLDivElement>(null);
  const seen = zoomed ?? whole;
  const { dragged, handlers } = useDrag({
    axis: () => track.current?.getBoundingClientRect() ?? null,
    seen,
    onPoint: setAtS,
    onZoom: (from, to) => setZoomed(zoomTo(whole, from, to)),
  });
  const ticks = timeTicks(...seen, mostTicks(), clock);
  const words = atS === null ? null : glanceWords(data, atS, clock, show);

  const onKeyDown = (event: KeyboardEvent): void => {
    const step = (seen[1] - seen[0]) / STEPS_ACROSS;
    const now = atS ?? seen[0];
    const acts: Record<string, () => void> = {
      ArrowRight: () => setAtS(Math.min(seen[1], now + step)),
      ArrowLeft: () => setAtS(Math.max(seen[0], now - step)),
      Home: () => setAtS(seen[0]),
      End: () => setAtS(seen[1]),
      '+': () => setZoomed(zoomBy(whole, seen, 0.5, now)),
      '=': () => setZoomed(zoomBy(whole, seen, 0.5, now)),
      '-': () => setZoomed(zoomBy(whole, seen, 2, now)),
      '0': () => setZoomed(null),
      Escape: () => setZoomed(null),
    };
    const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : acts[event.key];
    if (act === undefined) return;
    event.preventDefault();
    act();
  };

  return (
    <section id="glance" aria-labelledby="glance-title">
      <h2 id="glance-title">The shift at a glance</h2>
      <p class="read" data-read={words === null ? 'no' : 'yes'}>
        {words ?? (
          <span class="quiet no-print">
            Point at the axis, or use the arrow keys on it, to read; drag to zoom, double click for the whole; click an
            alert to go to it.
          </span>
        )}
        {zoomed !== null && (
          <button type="button" class="small no-print" onClick={() => setZoomed(null)}>
            Whole time
          </button>
        )}
      </p>
      {/* biome-ignore lint/a11y/noStaticElementInteractions: the slider in it and the links are what the keyboard uses */}
      <div class="glance" {...handlers} onDblClick={() => setZoomed(null)}>
        <div class="row axis">
          <span class="name">{clock.name}</span>
          <div
            class="track"
            ref={track}
            role="slider"
            tabIndex={0}
            aria-label="Time axis of the shift; arrow keys read, plus and minus zoom"
            aria-valuemin={Math.round(seen[0])}
            aria-valuemax={Math.round(seen[1])}
            aria-valuenow={Math.round(atS ?? seen[0])}
            aria-valuetext={words ?? 'no instant chosen'}
            onKeyDown={onKeyDown}
          >
            {ticks.at.map((s) => (
              <span key={s} class={`tick ${edgeOf(percentOf(s, seen))}`} style={{ left: `${percentOf(s, seen)}%` }}>
                {tickWords(s, ticks.stepS, clock)}
              </span>
            ))}
          </div>
        </div>
        <div class="rows">
          <TripsRow seen={seen} />
          <LifeRow seen={seen} />
          <SpeedRow seen={seen} />
          <Bars seen={seen} />
          <Lines at={ticks.at} seen={seen} atS={atS} dragged={dragged} />
        </div>
      </div>
      <GlanceKey />
    </section>
  );
}

const EDGE = 4;

/** Words at an end of the axis stay inside of it. */
const edgeOf = (percent: number): string => (percent < EDGE ? 'first' : percent > 100 - EDGE ? 'last' : '');

interface LinesProps {
  at: number[];
  seen: [number, number];
  atS: number | null;
  dragged: [number, number] | null;
}

/** Across all rows: the ticks, the instant that is read, the part that is being chosen. */
function Lines({ at, seen, atS, dragged }: LinesProps) {
  const chosen = dragged && barOf(...dragged, seen);
  return (
    <div class="row lines" aria-hidden="true">
      <span class="name" />
      <span class="track">
        {at.map((s) => (
          <i key={s} style={{ left: `${percentOf(s, seen)}%` }} />
        ))}
        {atS !== null && <i class="cursor" style={{ left: `${percentOf(atS, seen)}%` }} />}
        {chosen && <b style={{ left: `${chosen.left}%`, width: `${chosen.width}%` }} />}
      </span>
    </div>
  );
}
