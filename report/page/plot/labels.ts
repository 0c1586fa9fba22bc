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
