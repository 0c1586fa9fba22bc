import type { BoardAlert } from '../../core/board-model.js';
import { clock, msOf } from '../words/time.js';
import { inUnits } from '../words/units.js';
import { useDesk } from './desk.js';
import { HEIGHT, type Trend as Lines, trendOf, WIDTH } from './trend-geometry.js';

/** Between two figures of one line, so that they can be read. */
const ROOM = 110;

/**
 * What was measured until now, and where it is going: a line, the limit if it is of the same quantity, and the span of the forecast as
 * a hatched gate ahead of it. What it says stands in words beside it.
 */
export function Trend({ alert }: { alert: BoardAlert }) {
  const { nowMs, units } = useDesk();
  const trend = trendOf(alert, nowMs);
  if (trend === null || alert.evidence === null) return null;
  const { unit, quantity, points } = alert.evidence;
  const { first, last, nowX, limitY, forecast } = trend;
  const isLate = nowX > WIDTH - 30;
  return (
    <figure class="trend">
      <svg viewBox={`0 0 ${WIDTH} ${HEIGHT}`} aria-hidden="true">
        <rect class="past" x="0" y="0" width={nowX} height={HEIGHT} />
        {forecast !== null && <Gate forecast={forecast} last={last} />}
        {limitY !== null && <line class="limit" x1="0" x2={WIDTH} y1={limitY} y2={limitY} />}
        <line class="now" x1={nowX} x2={nowX} y1="0" y2={HEIGHT} />
        <polyline class="line" points={trend.line} />
        <circle class="dot" cx={last.x} cy={last.y} r="3.5" />
        {last.x - first.x > ROOM && (
          <text class="figure" x="4" y={first.y > HEIGHT / 2 ? first.y - 6 : first.y + 15}>
            {inUnits(first.value, unit, units)}
          </text>
        )}
        <text
          class={last.x > ROOM / 2 ? 'figure end' : 'figure'}
          x={last.x > ROOM / 2 ? last.x - 7 : last.x + 7}
          y={Math.min(HEIGHT - 3, last.y + 13)}
        >
          {inUnits(last.value, unit, units)}
        </text>
        <text class={isLate ? 'figure end' : 'figure'} x={isLate ? nowX - 3 : nowX + 3} y="11">
          now
        </text>
      </svg>
      <figcaption>
        {quantity} since {clock(msOf(points[0]![0]))}
        {forecast !== null &&
          alert.forecast !== null &&
          `; forecast ${clock(msOf(alert.forecast.from))} to ${clock(msOf(alert.forecast.to))}`}
      </figcaption>
    </figure>
  );
}

/** Hatched by strokes of its own: a pattern would need an id for each picture. */
const Gate = ({ forecast, last }: { forecast: NonNullable<Lines['forecast']>; last: Lines['last'] }) => {
  const strokes = [];
  for (let x = forecast.fromX; x <= Math.max(forecast.toX, forecast.fromX + 1); x += 5)
    strokes.push(`M${x} 0V${HEIGHT}`);
  return (
    <g class="gate">
      <path d={strokes.join('')} />
      <line class="ahead" x1={last.x} y1={last.y} x2={forecast.at.x} y2={forecast.at.y} />
    </g>
  );
};
