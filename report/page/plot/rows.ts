import type { Plot } from '../../data.js';

const MOST_ROWS = 400;

export interface ValueRow {
  s: number;
  /** By line; null: it has no value in that second. */
  v: (number | null)[];
}

/**
 * The values of a plot by second. Of more than 400 rows one in every so many is kept, and always those with the least and the
 * greatest value of a line.
 */
export function valueRows(plot: Plot): { rows: ValueRow[]; every: number } {
  const bySecond = new Map<number, (number | null)[]>();
  const kept = new Set<number>();
  plot.lines.forEach((line, column) => {
    let [least, greatest] = [0, 0];
    line.s.forEach((s, i) => {
      const second = Math.round(s);
      let row = bySecond.get(second);
      if (row === undefined) {
        row = new Array(plot.lines.length).fill(null);
        bySecond.set(second, row);
      }
      row[column] = line.v[i]!;
      if (line.v[i]! < line.v[least]!) least = i;
      if (line.v[i]! > line.v[greatest]!) greatest = i;
    });
    if (line.s.length > 0) for (const i of [least, greatest]) kept.add(Math.round(line.s[i]!));
  });
  const all = [...bySecond].sort(([a], [b]) => a - b).map(([s, v]) => ({ s, v }));
  const every = Math.ceil(all.length / MOST_ROWS);
  return { rows: all.filter(({ s }, i) => every <= 1 || i % every === 0 || kept.has(s)), every: Math.max(1, every) };
}
