import type { Gap } from './publisher-options.js';

/**
 * Gaps that were sent and wait for the office. Events after a gap are confirmed only when the office knows of it: one that a broker took
 * and lost would hold them back for good. So it leaves the store when the office's number has passed it, and is said again until then.
 */
export class GapTracker {
  readonly #sent = new Map<string, Gap>();
  #received = { store: '', seq: 0 };

  /** Of those that wait in the store the first one that is to be sent. */
  next(gaps: readonly Gap[]): Gap | undefined {
    return gaps.find((gap) => !this.#sent.has(JSON.stringify(gap)));
  }

  /** The broker has it. True when nobody else need know. `store`: that of now. */
  acknowledged(gap: Gap, store: string): boolean {
    if (gap.toSeq === 0) return true;
    if (this.#received.store === store && this.#received.seq >= gap.toSeq) return true;
    this.#sent.set(JSON.stringify(gap), gap);
    return false;
  }

  /** The office has everything up to and with seq; gives the gaps that it has passed. */
  received(store: string, seq: number): Gap[] {
    this.#received = { store, seq };
    const passed = [...this.#sent].filter(([, gap]) => gap.toSeq <= seq);
    for (const [key] of passed) this.#sent.delete(key);
    return passed.map(([, gap]) => gap);
  }

  /** All are to be said again. */
  restart(): void {
    this.#sent.clear();
  }
}
