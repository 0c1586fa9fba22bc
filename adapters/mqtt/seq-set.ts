/** A set of sequence numbers as ranges: events come in order, so it is nearly always one range. */
export class SeqSet {
  /** Ascending, not touching. */
  #ranges: { first: number; last: number }[] = [];
  readonly #maxRanges: number;

  /** Beyond maxRanges the oldest holes count as filled: what is sent again into them is taken for a repetition. */
  constructor(maxRanges = 64) {
    this.#maxRanges = maxRanges;
  }

  /** False if it was there. */
  add(seq: number): boolean {
    const index = this.#ranges.findIndex((range) => seq <= range.last + 1);
    const range = this.#ranges[index];
    if (range === undefined) {
      this.#ranges.push({ first: seq, last: seq });
    } else if (seq >= range.first && seq <= range.last) {
      return false;
    } else if (seq === range.last + 1) {
      range.last = seq;
      this.#join(index);
    } else if (seq === range.first - 1) {
      range.first = seq;
    } else {
      this.#ranges.splice(index, 0, { first: seq, last: seq });
    }
    const [oldest, second] = this.#ranges;
    if (this.#ranges.length > this.#maxRanges && oldest && second) {
      this.#ranges.splice(0, 2, { first: oldest.first, last: second.last });
    }
    return true;
  }

  /** The end of the first range: everything from its start up to here is there; 0 when empty. */
  get withoutHole(): number {
    return this.#ranges[0]?.last ?? 0;
  }

  #join(index: number): void {
    const range = this.#ranges[index]!;
    const next = this.#ranges[index + 1];
    if (next === undefined || next.first !== range.last + 1) return;
    range.last = next.last;
    this.#ranges.splice(index + 1, 1);
  }
}
