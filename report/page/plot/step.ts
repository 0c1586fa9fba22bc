import type { Plot } from '../../data.js';
import { nearest, pointAt } from './align.js';

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
