import type { Urgency } from '../../../config/resolved.js';
import type { PlotLimit } from '../../data.js';

/** Shapes by which points are told apart; colour only repeats it. */
export type Shape = 'dot' | 'triangle' | 'cross' | 'square';

export interface CloudPoint {
  x: number;
  y: number;
  shape: Shape;
  isFull: boolean;
  urgency: Urgency | null;
  /** Row of the applications that it stands for. */
  row: number;
}

/** Points over time or over pressure, all in SI. */
export interface Cloud {
  title: string;
  x: { unit: 's' | 'kPa'; label: string; range: [number, number] };
  y: { unit: 'mm' | 'kPa'; label: string; range: [number, number] };
  /** In the order of time. */
  points: CloudPoint[];
  limits: Pick<PlotLimit, 'label' | 'kind' | 'urgency' | 'value'>[];
  /** Shaded across, by x. */
  band: { from: number; to: number; label: string } | null;
}

/** The point nearest to a place, no further than `reach`; null: there is none. @param at place of a point, in the same measure */
export function nearestPoint(
  points: readonly CloudPoint[],
  at: (point: CloudPoint) => [x: number, y: number],
  [x, y]: [number, number],
  reach: number,
): number | null {
  let best: number | null = null;
  let least = reach * reach;
  points.forEach((point, i) => {
    const [px, py] = at(point);
    const apart = (px - x) ** 2 + (py - y) ** 2;
    if (apart > least) return;
    least = apart;
    best = i;
  });
  return best;
}

/** A round end of an axis that begins at zero. */
export function roundTop(most: number, step: number): number {
  return Math.max(step, Math.ceil((most * 1.05) / step) * step);
}
