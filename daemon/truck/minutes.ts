import type { HistoryRow } from '../effects.js';
import type { StreamMs } from '../time.js';

const MINUTE_MS = 60_000;

/** One quantity of one subject over the running minute. */
export interface MinuteSlot {
  min: number;
  max: number;
  last: number;
  count: number;
}

export interface MinutesState {
  startedAt: StreamMs;
  /** By "subject quantity". */
  slots: Record<string, MinuteSlot>;
}

export const newMinutes = (): MinutesState => ({ startedAt: 0, slots: {} });

/** Good readings by the minute: least, greatest, last and number of them. */
export class Minutes {
  readonly #state: MinutesState;
  readonly #slots: { subject: string; quantity: string; slot: MinuteSlot }[] = [];

  constructor(state: MinutesState) {
    this.#state = state;
  }

  /** Number of a new slot. */
  slot(subject: string, quantity: string): number {
    const key = `${subject} ${quantity}`;
    this.#state.slots[key] ??= { min: 0, max: 0, last: 0, count: 0 };
    return this.#slots.push({ subject, quantity, slot: this.#state.slots[key] }) - 1;
  }

  add(slot: number, value: number): void {
    const s = this.#slots[slot]!.slot;
    if (s.count === 0) {
      s.min = value;
      s.max = value;
    } else {
      if (value < s.min) s.min = value;
      if (value > s.max) s.max = value;
    }
    s.last = value;
    s.count++;
  }

  /** A minute begins at t. */
  begin(t: StreamMs): void {
    this.#state.startedAt = t;
  }

  /** After a start: what was gathered before may have been taken already, and is dropped. */
  restart(): void {
    for (const { slot } of this.#slots) slot.count = 0;
    this.begin(0);
  }

  isDue(t: StreamMs): boolean {
    return t - this.#state.startedAt >= MINUTE_MS;
  }

  /** The rows of the minute that ends at t; starts the next one. */
  take(t: StreamMs): HistoryRow[] {
    const rows: HistoryRow[] = [];
    for (const { subject, quantity, slot } of this.#slots) {
      if (slot.count === 0) continue;
      rows.push({ subject, quantity, t: this.#state.startedAt, ...slot });
      slot.count = 0;
    }
    this.#state.startedAt = t;
    return rows;
  }
}
