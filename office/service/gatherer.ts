import type { Incoming, TruckKey, TruckState } from '../core/model.js';
import { type Batch, type Fold, type OfficeStore, StoreError } from '../store/contract.js';
import type { OfficeClock } from './clock.js';

/** Messages that wait for the store. Past it nothing more is read from the broker, which keeps what it has, as trucks do. */
const MOST_WAITING = 5_000;
/** A commit costs the same for one truck as for many; so long the first message waits for others. */
const GATHER_MS = 50;
/** Messages and trucks of one transaction, so that none takes long. */
const MOST_PER_COMMIT = 500;
/** Of them, what is shown now may be so many: events go on also where trucks come and go without end. */
const MOST_FIRST = 400;
/**
 * What a board shows at once. A truck says it before its kept events: when thousands come back together, their lists must not wait
 * for the events of those that came a moment before.
 */
const SHOWN_NOW: ReadonlySet<Incoming['kind']> = new Set(['presence', 'open', 'reading']);
/** Wait after the store could not be written. */
const AGAIN_MS = 1_000;

export interface GathererOptions {
  store: Pick<OfficeStore, 'receive'>;
  fold: Fold;
  clock: OfficeClock;
  /** Stored, with the rows that follow. */
  stored(batches: readonly Batch[], states: readonly TruckState[]): void;
  /** The store cannot be written, or null: it can again. */
  onTrouble(line: string | null): void;
  /** A mistake of ours: messages of this truck were left out. */
  onMistake(key: TruckKey, error: unknown): void;
}

/** Gathers messages of trucks and stores them together, each truck's in order. What the store refuses is given to it again. */
export class Gatherer {
  readonly counts = { stored: 0, commits: 0, leftOut: 0 };
  readonly #options: GathererOptions;
  /** Trucks in the order in which they wait. */
  readonly #waiting = new Map<string, { key: TruckKey; messages: Incoming[] }>();
  #count = 0;
  #released: (() => void)[] = [];
  #isStoring = false;
  #isTroubled = false;
  #cancel: (() => void) | null = null;
  #idle: (() => void)[] = [];

  constructor(options: GathererOptions) {
    this.#options = options;
  }

  /** Messages that are not stored yet. */
  get waiting(): number {
    return this.#count;
  }

  /** A promise when there are too many: read nothing more until it resolves. */
  take(key: TruckKey, message: Incoming): void | Promise<void> {
    const name = `${key.fleet}/${key.truck}`;
    const of = this.#waiting.get(name);
    if (of === undefined) this.#waiting.set(name, { key, messages: [message] });
    else of.messages.push(message);
    this.#count++;
    this.#arm(GATHER_MS);
    if (this.#count < MOST_WAITING) return;
    return new Promise((resolve) => this.#released.push(resolve));
  }

  /** The truck's row is looked at once more though nothing came: time has passed. */
  nudge(key: TruckKey): void {
    const name = `${key.fleet}/${key.truck}`;
    if (!this.#waiting.has(name)) this.#waiting.set(name, { key, messages: [] });
    this.#arm(GATHER_MS);
  }

  /** Resolves when everything is stored, or the store has refused it. */
  async drained(): Promise<void> {
    if (this.#waiting.size === 0 && !this.#isStoring) return;
    await new Promise<void>((resolve) => this.#idle.push(resolve));
  }

  #arm(ms: number): void {
    if (this.#cancel !== null || this.#isStoring) return;
    this.#cancel = this.#options.clock.after(ms, () => {
      this.#cancel = null;
      void this.#flush();
    });
  }

  async #flush(): Promise<void> {
    this.#isStoring = true;
    const refused = await this.#store(this.#next());
    this.#isStoring = false;
    this.#putBack(refused);
    if (this.#count < MOST_WAITING / 2) for (const release of this.#released.splice(0)) release();
    if (this.#waiting.size > 0) this.#arm(refused.length === 0 ? 0 : AGAIN_MS);
    if (this.#waiting.size === 0 || refused.length > 0) for (const idle of this.#idle.splice(0)) idle();
  }

  /** What boards show now comes first, of all trucks; then all else in the order in which trucks wait. */
  #next(): Batch[] {
    const batches = new Map<string, { key: TruckKey; messages: Incoming[] }>();
    const first = this.#move(batches, MOST_FIRST, (messages) => leadingOf(messages, SHOWN_NOW));
    const rest = this.#move(batches, MOST_PER_COMMIT - first, (messages) => messages.length);
    this.#count -= first + rest;
    return [...batches.values()];
  }

  /** Moves the beginning of what waits of each truck into batches; gives how many messages. @param wanted how many of a truck's */
  #move(
    batches: Map<string, { key: TruckKey; messages: Incoming[] }>,
    room: number,
    wanted: (messages: readonly Incoming[]) => number,
  ): number {
    let taken = 0;
    for (const [name, { key, messages }] of this.#waiting) {
      if (taken >= room || batches.size >= MOST_PER_COMMIT) break;
      const count = Math.min(wanted(messages), room - taken);
      // A truck of which nothing came is to be looked at all the same.
      if (count === 0 && messages.length > 0) continue;
      const some = messages.splice(0, count);
      if (messages.length === 0) this.#waiting.delete(name);
      const batch = batches.get(name);
      if (batch === undefined) batches.set(name, { key, messages: some });
      else batch.messages.push(...some);
      taken += count;
    }
    return taken;
  }

  /** Gives what is not stored and has to be tried again. */
  async #store(batches: readonly Batch[]): Promise<readonly Batch[]> {
    const { store, fold, stored, onTrouble } = this.#options;
    try {
      const states = await store.receive(batches, fold);
      this.counts.commits++;
      for (const { messages } of batches) this.counts.stored += messages.length;
      if (this.#isTroubled) onTrouble(null);
      this.#isTroubled = false;
      stored(batches, states);
      return [];
    } catch (error) {
      if (!(error instanceof StoreError)) return this.#oneByOne(batches, error);
      this.#isTroubled = true;
      onTrouble(error.message);
      return batches;
    }
  }

  /** One truck's messages that cannot be folded must not keep all others from the board. */
  async #oneByOne(batches: readonly Batch[], error: unknown): Promise<readonly Batch[]> {
    const refused: Batch[] = [];
    if (batches.length > 1) {
      for (const batch of batches) refused.push(...(await this.#store([batch])));
      return refused;
    }
    for (const { key, messages } of batches) {
      this.counts.leftOut += messages.length;
      this.#options.onMistake(key, error);
    }
    return [];
  }

  /** To the front, in the order in which they were. */
  #putBack(batches: readonly Batch[]): void {
    if (batches.length === 0) return;
    const later = [...this.#waiting];
    this.#waiting.clear();
    for (const { key, messages } of batches)
      this.#waiting.set(`${key.fleet}/${key.truck}`, { key, messages: [...messages] });
    for (const [name, { key, messages }] of later) {
      const of = this.#waiting.get(name);
      if (of === undefined) this.#waiting.set(name, { key, messages });
      else of.messages.push(...messages);
    }
    for (const { messages } of batches) this.#count += messages.length;
  }
}

/** How many of these kinds stand at the beginning. */
function leadingOf(messages: readonly Incoming[], kinds: ReadonlySet<Incoming['kind']>): number {
  const other = messages.findIndex(({ kind }) => !kinds.has(kind));
  return other < 0 ? messages.length : other;
}
