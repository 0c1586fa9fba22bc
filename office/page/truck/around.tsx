import { useEffect, useMemo, useState } from 'preact/hooks';
import type { Series } from '../../core/board-model.js';
import { useDesk } from '../board/desk.js';
import { series as askSeries } from '../live/http.js';
import type { PastAlert } from '../words/past.js';
import { changeWords, ruleWords } from '../words/rules.js';
import { clock, moment, msOf } from '../words/time.js';
import { inUnits } from '../words/units.js';
import { Plot } from './plot.js';
import { type PlotChoice, plotOf } from './plot-subjects.js';
import { pointsOf } from './series.js';

const HOUR_MS = 3_600_000;
const BEFORE_MS = 2 * HOUR_MS;
const AFTER_MS = HOUR_MS;
/** The office gives a day at most. */
const MOST_MS = 24 * HOUR_MS;

/** The hours around one alert. */
export function Around({ fleet, truck, past }: { fleet: string; truck: string; past: PastAlert }) {
  const { nowMs } = useDesk();
  const [series, setSeries] = useState<Series | null | 'failed'>(null);
  const fromMs = past.sinceMs - BEFORE_MS;
  // To the minute: it is not asked for anew each second.
  const lastMs = Math.floor(Math.min(nowMs, (past.ended?.ms ?? nowMs) + AFTER_MS) / 60_000) * 60_000;
  const toMs = Math.min(lastMs, fromMs + MOST_MS);

  useEffect(() => {
    askSeries(fleet, truck, fromMs, toMs).then(setSeries, () => setSeries('failed'));
  }, [fleet, truck, fromMs, toMs]);

  const what = `${past.place}: ${ruleWords(past.rule)}`;
  if (series === 'failed') return <p class="problem">The hours around it cannot be had from the office now.</p>;
  if (series === null) return <p class="waiting">Asking for the hours around it …</p>;
  const choice = plotOf(past, Object.keys(series.r));
  return (
    <div class="around">
      <h3>
        {what}, {moment(fromMs, nowMs)} to {clock(toMs)}
      </h3>
      {choice === null ? (
        <p class="nothing">No readings of it in these hours.</p>
      ) : (
        <Plotted choice={choice} series={series} past={past} fromMs={fromMs} toMs={toMs} />
      )}
      <Changes past={past} />
    </div>
  );
}

interface PlottedProps {
  choice: PlotChoice;
  series: Series;
  past: PastAlert;
  fromMs: number;
  toMs: number;
}

function Plotted({ choice, series, past, fromMs, toMs }: PlottedProps) {
  const points = useMemo(
    () => choice.lines.map(({ subject, column }) => pointsOf(series.r[subject], column)),
    [choice, series],
  );
  const marks = past.events
    .filter(({ change }) => !['taken', 'snoozed', 'resumed'].includes(change))
    .map(({ change, at }) => ({ ms: msOf(at), words: changeWords({ change }) }));
  const limits = past.events.flatMap(({ measured }) =>
    measured !== null && 'value' in measured && measured.unit === choice.unit && measured.limit !== undefined
      ? [measured.limit]
      : [],
  );
  return (
    <figure>
      <Plot choice={choice} points={points} marks={marks} limit={limits.at(-1) ?? null} fromMs={fromMs} toMs={toMs} />
      <figcaption>
        {choice.title}. Where nothing was told the line is open.
        <ValueTable choice={choice} points={points} />
      </figcaption>
    </figure>
  );
}

const MOST_ROWS = 300;

function ValueTable({ choice, points }: { choice: PlotChoice; points: [number, number][][] }) {
  const { units } = useDesk();
  const rows = points
    .flatMap((line, i) => line.map(([ms, value]) => ({ ms, name: choice.lines[i]!.name, value })))
    .sort((a, b) => a.ms - b.ms)
    .slice(-MOST_ROWS);
  return (
    <details>
      <summary>The values as a table</summary>
      <table>
        <thead>
          <tr>
            <th scope="col">Time</th>
            <th scope="col">Where</th>
            <th scope="col">Value</th>
          </tr>
        </thead>
        <tbody>
          {rows.map(({ ms, name, value }) => (
            <tr key={`${ms} ${name}`}>
              <td>{clock(ms)}</td>
              <td>{name}</td>
              <td>{inUnits(value, choice.unit, units)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </details>
  );
}

/** What became of it, step by step. */
function Changes({ past }: { past: PastAlert }) {
  const { nowMs } = useDesk();
  return (
    <ol class="changes">
      {past.events.map((event) => (
        <li key={`${event.store} ${event.seq}`}>
          <time>{moment(msOf(event.at), nowMs)}</time> {changeWords(event)} ({event.urgency.replace('-', ' ')})
          {event.who !== undefined && ` by ${event.who}`}
          {event.note !== undefined && `: ${event.note}`}
          {event.heldS !== null && event.heldS >= 60 && ` · arrived ${Math.round(event.heldS / 60)} min late`}
        </li>
      ))}
    </ol>
  );
}
