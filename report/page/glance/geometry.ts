import type { Urgency } from '../../../config/resolved.js';
import type { Glance, Line } from '../../data.js';
import { runsOf } from '../plot/align.js';

/** Drawn in a box of this width and height, which the browser stretches. */
export const BOX_X = 1000;
export const BOX_Y = 100;

/** Where an instant is, in % of what is seen. */
export const percentOf = (s: number, [from, to]: [number, number]): number => ((s - from) / (to - from)) * 100;

/** A span as left and width in % of what is seen; null: it is not in it. */
export function barOf(fromS: number, toS: number, seen: [number, number]): { left: number; width: number } | null {
  const from = Math.max(fromS, seen[0]);
  const to = Math.min(toS, seen[1]);
  if (to < from || toS < seen[0] || fromS > seen[1]) return null;
  return { left: percentOf(from, seen), width: percentOf(to, seen) - percentOf(from, seen) };
}

type AlertBar = Glance['alerts'][number];

/** The parts of an alert's bar, one for each urgency that it had. */
export function stepsOf(
  { fromS, toS, steps }: AlertBar,
  endS: number,
): { fromS: number; toS: number; urgency: Urgency }[] {
  const last = toS ?? endS;
  return steps.map(({ s, urgency }, i) => ({
    fromS: i === 0 ? Math.min(s, fromS) : s,
    toS: steps[i + 1]?.s ?? last,
    urgency,
  }));
}

/** Its urgency at an instant; null: it is not open then. */
export function urgencyAt(alert: AlertBar, s: number, endS: number): Urgency | null {
  return stepsOf(alert, endS).find(({ fromS, toS }) => s >= fromS && s <= toS)?.urgency ?? null;
}

/** A line as SVG paths in the box: what each point stands for as an area, the points as a line. Open where nothing was heard. */
export function pathsOf(line: Line, seen: [number, number], top: number): { line: string; band: string } {
  const x = (i: number): string => ((percentOf(line.s[i]!, seen) / 100) * BOX_X).toFixed(1);
  const y = (v: number): string => (BOX_Y - (v / top) * BOX_Y).toFixed(1);
  const drawn: string[] = [];
  const bands: string[] = [];
  for (const [first, last] of runsOf(line)) {
    const indices = Array.from({ length: last - first + 1 }, (_, n) => first + n);
    drawn.push(`M${indices.map((i) => `${x(i)} ${y(line.v[i]!)}`).join('L')}${first === last ? 'h1' : ''}`);
    if (line.low === undefined || line.high === undefined) continue;
    const over = indices.map((i) => `${x(i)} ${y(line.high![i]!)}`);
    const under = indices.reverse().map((i) => `${x(i)} ${y(line.low![i]!)}`);
    bands.push(`M${[...over, ...under].join('L')}Z`);
  }
  return { line: drawn.join(''), band: bands.join('') };
}
