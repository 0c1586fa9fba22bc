import { boardTruck, snapshotOf } from '../core/board.js';
import type { BoardSnapshot, BoardTruck, Reach } from '../core/board-model.js';
import type { FleetRules, TruckKey, TruckState } from '../core/model.js';
import { reachOf } from '../core/reach.js';
import type { OfficeClock } from './clock.js';

/** A page needs no truck more often. */
const TELL_MS = 200;
/** Reach changes with time alone: each truck is looked at once in so many looks, so that none of them takes long. */
const LOOK_MS = 1_000;
const LOOKS = 15;

export interface ViewOptions {
  rulesOf(fleet: string): FleetRules;
  clock: OfficeClock;
}

interface Entry {
  key: TruckKey;
  state: TruckState;
  reach: Reach | null;
}

/** All trucks in memory, as the board shows them: what the store has, without what only a truck's own page needs. */
export class View {
  /** Since when the office has listened without a break; null: it does not. */
  listeningMs: () => number | null = () => null;
  readonly #options: ViewOptions;
  readonly #trucks = new Map<string, Entry>();
  readonly #counts = { awake: 0, parked: 0, asleep: 0, off: 0, offline: 0, late: 0, 'not-heard': 0 };
  readonly #listeners = new Set<(truck: BoardTruck) => void>();
  readonly #changed = new Set<string>();
  #cancelTell: (() => void) | null = null;
  #cancelLook: () => void;
  #look = 0;

  constructor(options: ViewOptions) {
    this.#options = options;
    const look = (): void => {
      this.#lookAround();
      this.#cancelLook = options.clock.after(LOOK_MS, look);
    };
    this.#cancelLook = options.clock.after(LOOK_MS, look);
  }

  get size(): number {
    return this.#trucks.size;
  }

  /** Takes the newer of what is there and what is given. */
  put(key: TruckKey, state: TruckState): void {
    const name = `${key.fleet}/${key.truck}`;
    const before = this.#trucks.get(name);
    if (before !== undefined && before.state.revision >= state.revision) return;
    // Readings and targets are most of a row's bytes, and only a truck's own page shows them.
    const entry: Entry = { key, state: { ...state, reading: null, check: null }, reach: before?.reach ?? null };
    this.#trucks.set(name, entry);
    this.#count(entry);
    this.#tell(name);
  }

  /** How many trucks are to be reached how. */
  counts(): BoardSnapshot['counts'] {
    return { ...this.#counts };
  }

  get(key: TruckKey): TruckState | null {
    return this.#trucks.get(`${key.fleet}/${key.truck}`)?.state ?? null;
  }

  *[Symbol.iterator](): IterableIterator<{ key: TruckKey; state: TruckState }> {
    yield* this.#trucks.values();
  }

  truck(key: TruckKey): BoardTruck | null {
    const state = this.get(key);
    return state === null
      ? null
      : boardTruck(key, state, this.#options.rulesOf(key.fleet), this.#options.clock.nowMs(), this.listeningMs());
  }

  snapshot(notes: readonly string[]): BoardSnapshot {
    const { rulesOf, clock } = this.#options;
    return snapshotOf(this.#trucks.values(), rulesOf, notes, clock.nowMs(), this.listeningMs());
  }

  onTruck(listener: (truck: BoardTruck) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  close(): void {
    this.#cancelTell?.();
    this.#cancelLook();
  }

  #tell(name: string): void {
    this.#changed.add(name);
    this.#cancelTell ??= this.#options.clock.after(TELL_MS, () => {
      this.#cancelTell = null;
      const names = [...this.#changed];
      this.#changed.clear();
      if (this.#listeners.size === 0) return;
      for (const each of names) this.#tellNow(each);
    });
  }

  #tellNow(name: string): void {
    const entry = this.#trucks.get(name);
    const truck = entry === undefined ? null : this.truck(entry.key);
    if (entry === undefined || truck === null) return;
    for (const listener of this.#listeners) listener(truck);
  }

  #lookAround(): void {
    this.#look = (this.#look + 1) % LOOKS;
    let i = 0;
    for (const [name, entry] of this.#trucks) {
      if (i++ % LOOKS === this.#look && this.#count(entry)) this.#tell(name);
    }
  }

  /** Whether it is to be reached in another way than before. */
  #count(entry: Entry): boolean {
    const { key, state, reach: before } = entry;
    const { reach } = reachOf(
      key.truck,
      state,
      this.#options.rulesOf(key.fleet),
      this.#options.clock.nowMs(),
      this.listeningMs(),
    );
    if (reach === before) return false;
    if (before !== null) this.#counts[before]--;
    this.#counts[reach]++;
    entry.reach = reach;
    return true;
  }
}
