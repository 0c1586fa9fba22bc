/** Words in a plot must not lie on each other. All in pixels. */

export interface Placed {
  row: number;
  /** Words begin at the instant (start) or end there. */
  align: 'left' | 'right';
}

/** Rows for words beside upright lines; null: there is no room for these. */
export function placeInRows(
  items: readonly { x: number; width: number }[],
  rows: number,
  left: number,
  right: number,
): (Placed | null)[] {
  const taken: [number, number][][] = Array.from({ length: rows }, () => []);
  return items.map(({ x, width }) => {
    for (let row = 0; row < rows; row++) {
      for (const align of ['left', 'right'] as const) {
        const [from, to] = align === 'left' ? [x, x + width] : [x - width, x];
        if (from < left || to > right) continue;
        if (taken[row]!.some(([a, b]) => from < b && to > a)) continue;
        taken[row]!.push([from, to]);
        return { row, align };
      }
    }
    return null;
  });
}

export interface Box {
  left: number;
  top: number;
  right: number;
  bottom: number;
}

/** Of places for words the one that the fewest pieces of lines run through; the first of equals. @param lines runs of points: x, y, x, y … */
export function clearest(places: readonly Box[], lines: readonly number[][]): number {
  let best = 0;
  let least = Number.POSITIVE_INFINITY;
  places.forEach((box, i) => {
    const crossed = lines.reduce((sum, line) => sum + crossings(line, box), 0);
    if (crossed >= least) return;
    least = crossed;
    best = i;
  });
  return best;
}

function crossings(line: readonly number[], { left, top, right, bottom }: Box): number {
  let count = 0;
  for (let i = 2; i < line.length; i += 2) {
    const [x0, y0, x1, y1] = [line[i - 2]!, line[i - 1]!, line[i]!, line[i + 1]!];
    if (x1 < left || x0 > right) continue;
    if (Math.max(y0, y1) >= top && Math.min(y0, y1) <= bottom) count++;
  }
  return count;
}

/** Heights for words beside level lines, as near to their lines as their own height allows. */
export function spread(ys: readonly number[], height: number, top: number, bottom: number): number[] {
  const order = ys.map((_, i) => i).sort((a, b) => ys[a]! - ys[b]!);
  const placed = [...ys];
  let least = top;
  for (const i of order) {
    placed[i] = Math.max(least, Math.min(ys[i]!, bottom));
    least = placed[i]! + height;
  }
  let most = bottom;
  for (const i of order.reverse()) {
    placed[i] = Math.min(placed[i]!, most);
    most = placed[i]! - height;
  }
  return placed;
}
