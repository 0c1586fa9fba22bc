import type { TruckKey, TruckState } from '../core/model.js';
import { type OfficeStore, StoreError } from '../store/contract.js';
import { TRUCK_PAGE } from '../store/rows.js';
import type { OfficeClock } from './clock.js';

/** Between two readings. In a storm each instance changes all trucks many times over, and a page needs none of them sooner. */
const GATHER_MS = 100;
/** Wait after the store could not be read. */
const AGAIN_MS = 1_000;

export interface ReloadsOptions {
  store: Pick<OfficeStore, 'trucksOf'>;
  clock: OfficeClock;
  /** Revision of the row that is known here; −1: none. */
  known(key: TruckKey): number;
  loaded(key: TruckKey, state: TruckState): void;
  /** The store cannot be read, or null: it can again. */
  onTrouble(line: string | null): void;
}

/**
 * Rows that other instances have changed, read again: many together, one reading after the other, each row in its newest state only.
 * One by one they stood in the way of what is to be written. What was overtaken meanwhile by a row of our own is not read at all.
 */
export class Reloads {
  readonly counts = { told: 0, read: 0, readings: 0 };
  readonly #options: ReloadsOptions;
  /** By truck, the newest revision that was told. Trucks are at most all that there are. */
  readonly #wanted = new Map<string, { key: TruckKey; revision: number }>();
  #cancel: (() => void) | null = null;
  #isReading = false;
  #isTroubled = false;
  #isClosed = false;

  constructor(options: ReloadsOptions) {
    this.#options = options;
  }

  /** Another instance has written this revision. */
  take(key: TruckKey, revision: number): void {
    this.counts.told++;
    this.#want(key, revision);
    this.#arm(GATHER_MS);
  }

  close(): void {
    this.#isClosed = true;
    this.#cancel?.();
  }

  #arm(ms: number): void {
    if (this.#cancel !== null || this.#isReading || this.#isClosed) return;
    this.#cancel = this.#options.clock.after(ms, () => {
      this.#cancel = null;
      void this.#flush();
    });
  }

  async #flush(): Promise<void> {
    this.#isReading = true;
    const isRead = await this.#read(this.#next());
    this.#isReading = false;
    if (this.#wanted.size > 0) this.#arm(isRead ? GATHER_MS : AGAIN_MS);
  }

  #next(): { key: TruckKey; revision: number }[] {
    const next: { key: TruckKey; revision: number }[] = [];
    for (const [name, wanted] of this.#wanted) {
      if (next.length >= TRUCK_PAGE) break;
      this.#wanted.delete(name);
      if (this.#options.known(wanted.key) < wanted.revision) next.push(wanted);
    }
    return next;
  }

  async #read(wanted: readonly { key: TruckKey; revision: number }[]): Promise<boolean> {
    if (wanted.length === 0) return true;
    const { store, loaded, onTrouble } = this.#options;
    try {
      const rows = await store.trucksOf(wanted.map(({ key }) => key));
      this.counts.readings++;
      this.counts.read += rows.length;
      for (const { key, state } of rows) loaded(key, state);
      if (this.#isTroubled) onTrouble(null);
      this.#isTroubled = false;
      return true;
    } catch (error) {
      if (!(error instanceof StoreError)) throw error;
      for (const { key, revision } of wanted) this.#want(key, revision);
      this.#isTroubled = true;
      if (!this.#isClosed) onTrouble(error.message);
      return false;
    }
  }

  /** The newest wins, also over what could not be read. */
  #want(key: TruckKey, revision: number): void {
    const name = `${key.fleet}/${key.truck}`;
    if ((this.#wanted.get(name)?.revision ?? -1) < revision) this.#wanted.set(name, { key, revision });
  }
}
