import type { Urgency } from '../../../config/resolved.js';
import { useDesk } from '../board/desk.js';
import { clock } from '../words/time.js';
import { axis, UNITS } from '../words/units.js';
import { HEIGHT, type PostInput, postOf, SCALE_X, WIDTH } from './post-geometry.js';

export interface Limit {
  kpa: number;
  urgency: Urgency;
}

interface PostProps extends Omit<PostInput, 'gapMs'> {
  gapMs: number;
  targetKpa: number | null;
  limits: readonly Limit[];
  /** The worst open alert here, or null. */
  urgency: Urgency | null;
  /** Told so long ago that it says little of now. */
  isOld: boolean;
}

/**
 * One pressure scale: at its left the last hours, on it the mark of now, the target as a long line, limits as ticks whose length grows with
 * their urgency. It repeats what stands in words beside it.
 */
export function PressurePost({ targetKpa, limits, urgency, isOld, ...input }: PostProps) {
  const { units } = useDesk();
  const post = postOf(input);
  const { of } = axis('kPa', units);
  const label = (kpa: number): string => of(kpa).toFixed(UNITS[units].pressure === 'bar' ? 1 : 0);
  return (
    <svg class="post" viewBox={`0 0 ${WIDTH} ${HEIGHT}`} aria-hidden="true">
      <rect class="past" x="0" y="0" width={SCALE_X} height={HEIGHT} />
      {targetKpa !== null && (
        <>
          <line class="target" x1="0" x2={SCALE_X} y1={post.y(targetKpa)} y2={post.y(targetKpa)} />
          <line class="target here" x1={SCALE_X} x2={SCALE_X + 14} y1={post.y(targetKpa)} y2={post.y(targetKpa)} />
        </>
      )}
      {limits.map(({ kpa, urgency: level }) => (
        <line
          key={kpa}
          class={`limit ${level}`}
          x1={SCALE_X - TICK[level]}
          x2={SCALE_X}
          y1={post.y(kpa)}
          y2={post.y(kpa)}
        />
      ))}
      <line class="scale" x1={SCALE_X} x2={SCALE_X} y1="4" y2={HEIGHT - 4} />
      {post.lines.map((points) => (
        <polyline key={points} class="line" points={points} />
      ))}
      {post.mark !== null && <Mark y={post.mark.y} beyond={post.mark.beyond} urgency={urgency} isOld={isOld} />}
      {targetKpa !== null && (
        <text x={WIDTH - 2} y={Math.max(10, post.y(targetKpa) + 4)} class="number">
          {label(targetKpa)}
        </text>
      )}
      <text x="3" y={HEIGHT - 3} class="time">
        {clock(input.fromMs)}
      </text>
    </svg>
  );
}

const TICK: Record<Urgency, number> = { plan: 8, 'next-stop': 16, 'pull-over': 28 };

/** Eight corners, a triangle, a ring as on the board; a diamond where nothing is wrong; hollow where it is old. */
function Mark({
  y,
  beyond,
  urgency,
  isOld,
}: {
  y: number;
  beyond: 'above' | 'below' | null;
  urgency: Urgency | null;
  isOld: boolean;
}) {
  const shape =
    urgency === 'pull-over' ? (
      <path d="M-3-8h6l5 5v6l-5 5h-6l-5-5v-6z" />
    ) : urgency === 'next-stop' ? (
      <path d="M0-9 9 7H-9z" />
    ) : urgency === 'plan' ? (
      <circle r="7" />
    ) : (
      <path d="M0-7 7 0 0 7-7 0z" />
    );
  return (
    <g class={`mark ${urgency ?? 'fine'}${isOld ? ' old' : ''}`} transform={`translate(${SCALE_X} ${y})`}>
      {shape}
      {beyond !== null && <path class="beyond" d={beyond === 'below' ? 'M14-4l4 7 4-7' : 'M14 4l4-7 4 7'} />}
    </g>
  );
}
