import type { Line } from '../../data.js';

/** How a line is told from the others: colour, width and dashes. */
export interface LineStyle {
  /** Name of a CSS variable. */
  colour: string;
  width: number;
  dash: number[];
}

export const COLOURS = 8;
const DASHES = [[], [8, 3], [2, 2.5], [10, 3, 2, 3], [5, 2], [14, 3, 2, 2, 2, 3], [1, 4], [16, 4]];

const WIDTHS: Record<Line['role'], number> = { judged: 2.25, raw: 1.25, mate: 1.25, context: 1.25 };

/** What is judged is drawn strongest; no two lines of a plot have the same dashes as long as there are eight. */
export function lineStyles(lines: readonly Line[]): LineStyle[] {
  const judgedFirst = lines.map((_, i) => i).sort((a, b) => rank(lines[a]!) - rank(lines[b]!) || a - b);
  const styles: LineStyle[] = new Array(lines.length);
  const areAllAlike = lines.every(({ role }) => role === lines[0]!.role);
  judgedFirst.forEach((i, n) => {
    styles[i] = {
      colour: `--line-${(n % COLOURS) + 1}`,
      width: areAllAlike && lines.length > 2 ? 1.5 : WIDTHS[lines[i]!.role],
      dash: DASHES[n % DASHES.length]!,
    };
  });
  return styles;
}

const rank = ({ role }: Line): number => (role === 'judged' ? 0 : role === 'raw' ? 1 : role === 'mate' ? 2 : 3);
