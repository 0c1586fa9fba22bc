import type { NumberedEvent } from '../../daemon/alerts/numbered.js';

/**
 * Which events have been handed to this connection and how far they are acknowledged without a hole. Events go out strictly
 * by seq; acknowledgements may come in any order, and only a run of them from the front counts.
 */
export class EventWindow {
  /** Last seq handed to the connection; the next event is the first after it. */
  cursor = 0;
  /** Everything up to here is confirmed. */
  confirmed = 0;
  /** Highest seq that the store is known to have. */
  lastKnown: number;
  /** Highest seq ever sent by this process. */
  highestSent = 0;
  #awaiting: { seq: number; acknowledged: boolean }[] = [];

  constructor(lastKnown: number) {
    this.lastKnown = lastKnown;
  }

  /** Everything that is not confirmed goes out again. */
  restart(): void {
    this.cursor = this.confirmed;
    this.#awaiting = [];
  }

  /** True if this process has sent it before. */
  sent(event: NumberedEvent): boolean {
    this.cursor = event.seq;
    this.lastKnown = Math.max(this.lastKnown, event.seq);
    const again = event.seq <= this.highestSent;
    this.highestSent = Math.max(this.highestSent, event.seq);
    this.#awaiting.push({ seq: event.seq, acknowledged: false });
    return again;
  }

  /** Returns the highest seq with all before it acknowledged, or null while the front is still open. */
  acknowledged(seq: number): number | null {
    const entry = this.#awaiting.find((waiting) => waiting.seq === seq && !waiting.acknowledged);
    if (entry) entry.acknowledged = true;
    let last: number | null = null;
    while (this.#awaiting[0]?.acknowledged === true) last = this.#awaiting.shift()!.seq;
    return last;
  }

  /** The receiver has everything up to seq. False when that says nothing new or more than there is. */
  confirm(seq: number): boolean {
    if (seq <= this.confirmed || seq > this.lastKnown) return false;
    this.confirmed = seq;
    this.cursor = Math.max(this.cursor, seq);
    return true;
  }
}
