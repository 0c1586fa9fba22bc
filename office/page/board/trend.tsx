import type { BoardAlert } from '../../core/board-model.js';
import { clock } from '../words/time.js';
import { inUnits } from '../words/units.js';
import { useDesk } from './desk.js';
import { HEIGHT, trendOf, WIDTH } from './trend-geometry.js';

/**
 * What was measured until now, and where it is going: a line, the limit if it is of the same quantity, and the span of the forecast as
 * a hatched gate ahead of it. Everything in it stands in words beside it.
 */
export function Trend({ alert }: { alert: BoardAlert }) {
  const { nowMs, units } = useDesk();
  const trend = trendOf(alert, nowMs);
  if (trend === null || alert.evidence === null) return null;
  const { unit, quantity } = alert.evidence;
  return (
    <figure class="trend">
      <svg viewBox={`0 0 ${WIDTH} ${HEIGHT}`} aria-hidden="true">
        <rect class="past" x="0" y="0" width={trend.nowX} height={HEIGHT} />
        {trend.forecast !== null && <Gate {...trend.forecast} last={trend.last} />}
        {trend.limitY !== null && <line class="limit" x1="0" x2={WIDTH} y1={trend.limitY} y2={trend.limitY} />}
        <line class="now" x1={trend.nowX} x2={trend.nowX} y1="0" y2={HEIGHT} />
        <polyline class="line" points={trend.line} />
        <circle class="dot" cx={trend.last.x} cy={trend.last.y} r="3.5" />
      </svg>
      <figcaption>
        {quantity} {inUnits(trend.low, unit, units)} to {inUnits(trend.high, unit, units)}, {clock(trend.firstMs)} to{' '}
        {clock(trend.endMs)}
      </figcaption>
    </figure>
  );
}

interface GateProps {
  fromX: number;
  atX: number;
  toX: number;
  last: { x: number; y: number };
}

/** Hatched by strokes of its own: a pattern would need an id for each picture. */
const Gate = ({ fromX, atX, toX, last }: GateProps) => {
  const strokes = [];
  for (let x = fromX; x <= Math.max(toX, fromX + 1); x += 5) strokes.push(`M${x} 0V${HEIGHT}`);
  return (
    <g class="gate">
      <path d={strokes.join('')} />
      <line class="ahead" x1={last.x} y1={last.y} x2={atX} y2={HEIGHT - 6} />
    </g>
  );
};
