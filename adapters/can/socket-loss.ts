import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { KernelFilter } from '../../daemon/j1939/interest.js';

/** Looks in a row, so that a frame which is on its way is not taken for a lost one. */
const LOOKS = 8;
const BETWEEN_MS = 10;

/**
 * Frames that the kernel matched to the filters of our socket on an interface, from `/proc/net/can/rcvlist_fil`: one line
 * for each filter of each socket, with its owner and how often it matched. Our socket is the owner of exactly our filters.
 * Null where it cannot be told: no such file, our filters are not there, or two sockets have the same ones.
 */
export function matchesIn(list: string, name: string, filters: readonly KernelFilter[]): number | null {
  const owners = new Map<string, { filters: string[]; matches: number }>();
  for (const line of list.split('\n')) {
    const [device, id, mask, , owner, matches] = line.trim().split(/\s+/);
    if (device !== name || matches === undefined || owner === undefined) continue;
    const entry = owners.get(owner) ?? { filters: [], matches: 0 };
    entry.filters.push(`${Number.parseInt(id!, 16)}/${Number.parseInt(mask!, 16)}`);
    entry.matches += Number(matches);
    owners.set(owner, entry);
  }
  const ours = keyOf(filters.map(({ id, mask }) => `${(id & mask) >>> 0}/${mask}`));
  const found = [...owners.values()].filter((entry) => keyOf(entry.filters) === ours);
  return found.length === 1 ? found[0]!.matches : null;
}

const keyOf = (filters: string[]): string => filters.sort().join();

/**
 * `matchesIn` on this machine. Synchronous, as it is compared with what was received at the same moment.
 * @param proc `self`, as a unit with ProcSubset=pid sees nothing else of it
 */
export function socketMatches(name: string, filters: readonly KernelFilter[], proc = '/proc/self'): number | null {
  try {
    return matchesIn(readFileSync(join(proc, 'net/can/rcvlist_fil'), 'utf8'), name, filters);
  } catch {
    return null;
  }
}

/**
 * Frames that were lost between the kernel and one open socket, because its buffer was full: matched less received. The
 * kernel's own count of them (SO_RXQ_OVFL) is out of the package's reach.
 * Some frames may be in the buffer unread: only a difference that stays counts. What came between the opening of a
 * socket and its filters was received unmatched: the lowest difference seen is zero.
 */
export class SocketLoss {
  /** Never falls. Null until it could be told once. */
  lost: number | null = null;
  readonly #matches: () => number | null;
  readonly #received: () => number;
  #lowest = 0;

  constructor(matches: () => number | null, received: () => number) {
    this.#matches = matches;
    this.#received = received;
  }

  /** Brings `lost` up to date, within 80 ms. Never rejects. */
  async look(): Promise<void> {
    let least = Number.POSITIVE_INFINITY;
    for (let looks = 0; looks < LOOKS; looks++) {
      const matched = this.#matches();
      if (matched === null) return;
      const difference = matched - this.#received();
      this.#lowest = Math.min(this.#lowest, difference);
      least = Math.min(least, difference - this.#lowest);
      if (least <= (this.lost ?? 0)) break;
      await new Promise((resolve) => setTimeout(resolve, BETWEEN_MS));
    }
    this.lost = Math.max(this.lost ?? 0, least);
  }
}
