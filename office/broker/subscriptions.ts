import type { PublisherClock } from '../../adapters/mqtt/clock.js';
import type { Connection } from '../../adapters/mqtt/connection.js';
import { TRUCK_TOPICS } from '../../adapters/mqtt/message-reader.js';
import { topicFilter } from '../../adapters/mqtt/topics.js';

/** A broker has a limit for a packet, and 100 filters have some 5 KB. */
const FILTERS_AT_ONCE = 100;
/** What each instance must hear of every truck: the state of things. The rest is heard by one of those that share a group. */
const HEARD_BY_ALL: readonly string[] = ['presence', 'open', 'reading'];

export interface SubscriptionsOptions {
  root: string;
  fleets: readonly string[];
  /** Name of the group that shares events, trips and gaps; null: nobody else is there. */
  sharedGroup: string | null;
  /** What was refused is asked for again after this long. */
  refusedMs: number;
  clock: Pick<PublisherClock, 'after'>;
  /** Everything has been asked for, and some of it may have been refused; called again when that changes. */
  changed(): void;
}

/** What the office subscribes to on each connection. */
export class Subscriptions {
  /** Filters that the broker does not grant, without the name of a group. */
  refused: readonly string[] = [];
  /** Events are shared with other instances. */
  isShared = false;
  readonly #options: SubscriptionsOptions;
  #cancelRetry: () => void = () => {};

  constructor(options: SubscriptionsOptions) {
    this.#options = options;
  }

  async up(connection: Connection): Promise<void> {
    const { sharedGroup } = this.#options;
    const group = connection.abilities.sharedSubscriptions ? sharedGroup : null;
    const shared = group === null ? [] : this.#filters((name) => !HEARD_BY_ALL.includes(name));
    const plain = this.#filters((name) => group === null || HEARD_BY_ALL.includes(name));
    const refused = await subscribeAll(connection, plain);
    const prefix = `$share/${group}/`;
    const unshared = await subscribeAll(
      connection,
      shared.map((filter) => prefix + filter),
    );
    // Twice would be worse than not at all: if one is refused, each is asked for plainly, and the store knows what it has.
    const again = unshared.length === 0 ? [] : shared;
    this.isShared = group !== null && unshared.length === 0;
    this.#decided(connection, [...refused, ...(await subscribeAll(connection, again))]);
  }

  down(): void {
    this.#cancelRetry();
  }

  #decided(connection: Connection, refused: readonly string[]): void {
    const { clock, refusedMs, changed } = this.#options;
    this.refused = refused;
    changed();
    if (refused.length === 0) return;
    this.#cancelRetry = clock.after(refusedMs, () => {
      void subscribeAll(connection, refused).then((still) => this.#decided(connection, still));
    });
  }

  #filters(wanted: (name: string) => boolean): string[] {
    const { root, fleets } = this.#options;
    const names = TRUCK_TOPICS.filter(wanted);
    // Of two filters that meet, some brokers send a message twice.
    const each = fleets.includes('+') ? ['+'] : [...new Set(fleets)];
    return names.flatMap((name) => each.map((fleet) => topicFilter(root, fleet, name)));
  }
}

/** Resolves with those that were refused; never, when the connection ends first. */
async function subscribeAll(connection: Connection, filters: readonly string[]): Promise<string[]> {
  const refused: string[] = [];
  for (let at = 0; at < filters.length; at += FILTERS_AT_ONCE) {
    const some = filters.slice(at, at + FILTERS_AT_ONCE);
    const granted = await new Promise<boolean[]>((resolve) => connection.subscribe(some, resolve));
    refused.push(...some.filter((_, index) => granted[index] !== true));
  }
  return refused;
}
