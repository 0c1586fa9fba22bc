/** Whole milliseconds below this are told apart one by one. */
const EXACT_MS = 2048;
/** Above it, so many steps to each doubling: within 0.2 %. */
const STEPS = 256;

/** Times between frames, in whole milliseconds; at most some 7,000 numbers are kept however many are added. */
export class Intervals {
  count = 0;
  leastMs = Number.POSITIVE_INFINITY;
  mostMs = 0;
  readonly #bins = new Map<number, number>();

  add(ms: number): void {
    const bin = binOf(ms);
    this.#bins.set(bin, (this.#bins.get(bin) ?? 0) + 1);
    this.count++;
    if (ms < this.leastMs) this.leastMs = ms;
    if (ms > this.mostMs) this.mostMs = ms;
  }

  /**
   * The interval that `share` of all are not longer than: exact below 2 s, within 0.2 % above; null when there is none.
   * @param share 0…1; 0.5: the lower median
   */
  quantile(share: number): number | null {
    if (this.count === 0) return null;
    const rank = Math.max(1, Math.ceil(share * this.count));
    let seen = 0;
    for (const [bin, n] of [...this.#bins].sort(([a], [b]) => a - b)) {
      seen += n;
      if (seen >= rank) return Math.min(this.mostMs, Math.max(this.leastMs, middleOf(bin)));
    }
    return this.mostMs;
  }
}

function binOf(ms: number): number {
  if (ms < EXACT_MS) return ms;
  const doubling = Math.floor(Math.log2(ms / EXACT_MS));
  const step = Math.floor((ms / (EXACT_MS * 2 ** doubling) - 1) * STEPS);
  return EXACT_MS + doubling * STEPS + step;
}

function middleOf(bin: number): number {
  if (bin < EXACT_MS) return bin;
  const above = bin - EXACT_MS;
  const doubling = Math.floor(above / STEPS);
  const width = (EXACT_MS / STEPS) * 2 ** doubling;
  return Math.floor(EXACT_MS * 2 ** doubling + ((above % STEPS) + 0.5) * width);
}
