/**
 * A table that grows row by row, as columns of one length; the first is the time. Rows of the running run of the program are
 * kept in its own time until its wall clock is known for good.
 */
export class Growing {
  readonly columns: number[][];
  /** Rows before this one have wall time. */
  settled = 0;

  constructor(columns: number) {
    this.columns = Array.from({ length: columns }, () => []);
  }

  get rows(): number {
    return this.columns[0]!.length;
  }

  add(...row: number[]): void {
    for (let i = 0; i < row.length; i++) this.columns[i]!.push(row[i]!);
  }

  /** From now on the rows so far have wall time. */
  settle(zeroMs: number): void {
    const at = this.columns[0]!;
    for (let i = this.settled; i < at.length; i++) at[i]! += zeroMs;
    this.settled = at.length;
  }

  /** Rows are left as `keep` says, asked in their order; it may change what it is given to keep. */
  filter(keep: (row: number) => boolean): void {
    let left = 0;
    let settled = 0;
    for (let row = 0; row < this.rows; row++) {
      if (!keep(row)) continue;
      for (const column of this.columns) column[left] = column[row]!;
      left++;
      if (row < this.settled) settled = left;
    }
    for (const column of this.columns) column.length = left;
    this.settled = settled;
  }

  /** In the order of time: runs may lie over each other where clocks were wrong. Rows of one instant stay as they came. */
  sort(): void {
    const [at] = this.columns as [number[]];
    if (isAscending(at)) return;
    const order = at.map((_, row) => row).sort((a, b) => at[a]! - at[b]! || a - b);
    for (const column of this.columns) {
      const before = column.slice();
      for (let i = 0; i < order.length; i++) column[i] = before[order[i]!]!;
    }
  }
}

function isAscending(list: readonly number[]): boolean {
  for (let i = 1; i < list.length; i++) if (list[i]! < list[i - 1]!) return false;
  return true;
}
