import type { TruckConfig } from './resolved.js';

/** A tire as far as its place in the location byte goes. */
interface LocatedTire {
  subject: string;
  /** Default location byte, −1 for none. */
  location: number;
}

/** SPN 929: "not available". */
const NO_LOCATION = 0xff;

/**
 * Location byte → tire index, −1 for a place that the layout does not have.
 *
 * By default the high nibble counts axles from 0 over the whole combination, the low one positions from left to right
 * facing forward (SPN 929). `renumbered` is what the truck file says of one sender. A tire that it names has only the
 * locations named there: its default location falls away, so that no sender has two locations for one tire by accident.
 */
export function locationTable(tires: readonly LocatedTire[], renumbered: Record<number, string> = {}): Int16Array {
  const table = new Int16Array(256).fill(-1);
  const indexOf = new Map(tires.map((tire, index) => [tire.subject, index]));
  const named = new Set(Object.values(renumbered));
  tires.forEach((tire, index) => {
    if (tire.location >= 0 && !named.has(tire.subject)) table[tire.location] = index;
  });
  for (const [location, subject] of Object.entries(renumbered)) {
    table[Number(location)] = indexOf.get(subject) ?? -1;
  }
  table[NO_LOCATION] = -1;
  return table;
}

/** The tables of every sender of a truck, looked up without allocation. */
export class TireLocations {
  readonly #standard: Int16Array;
  /** By bus index × 256 + source address; only senders that number differently. */
  readonly #special: Map<number, Int16Array> = new Map();

  constructor(tires: readonly LocatedTire[], config: Pick<TruckConfig, 'tirePositions' | 'buses'>) {
    this.#standard = locationTable(tires);
    for (const sender of config.tirePositions) {
      const bus = config.buses.findIndex((b) => b.name === sender.bus);
      if (bus >= 0) this.#special.set(bus * 256 + sender.source, locationTable(tires, sender.tires));
    }
  }

  /** Index of the tire, −1 when the layout has none there. */
  at(bus: number, source: number, location: number): number {
    const table = this.#special.size === 0 ? undefined : this.#special.get(bus * 256 + source);
    return (table ?? this.#standard)[location] ?? -1;
  }
}
