import type { SignalReader } from '../j1939/decode.js';
import { reader } from '../j1939/decode.js';
import type { Group } from '../j1939/signal.js';
import { starFields } from '../j1939/text.js';
import type { StreamMs } from '../time.js';
import { Intervals } from './intervals.js';
import { Values } from './values.js';

/** A group of interest as one sender sends it. */
export class GroupSeen {
  /** Messages: single frames and those put together from several. */
  count = 0;
  /** Of them, put together. */
  long = 0;
  readonly intervals = new Intervals();
  readonly pgn: number;
  readonly group: Group | undefined;
  /** Texts of a group that has them, as last told. */
  texts: string[] = [];
  /** In the order of the group's signals. */
  readonly values: Values[];
  readonly #readers: (SignalReader | null)[];
  readonly #location: SignalReader | null;
  /** Last message, by location where the group has one: else the frames of a set would make the interval. */
  readonly #lastAt = new Map<number, StreamMs>();

  constructor(pgn: number, group: Group | undefined) {
    this.pgn = pgn;
    this.group = group;
    const signals = group?.signals ?? [];
    this.values = signals.map(({ kind, bits }) => new Values(kind === 'state' ? bits : 0));
    this.#readers = signals.map(({ kind, spn }) => (kind === 'text' ? null : reader(spn)));
    const location = signals.findIndex(({ kind }) => kind === 'location');
    this.#location = location < 0 ? null : this.#readers[location]!;
  }

  /** Its intervals are those of one location. */
  get isByLocation(): boolean {
    return this.#location !== null;
  }

  take(t: StreamMs, data: Uint8Array, length: number, long: boolean): void {
    this.count++;
    if (long) this.long++;
    const lane = this.#lane(data, length);
    const before = this.#lastAt.get(lane);
    if (before !== undefined) this.intervals.add(t - before);
    this.#lastAt.set(lane, t);
    for (let i = 0; i < this.values.length; i++) {
      const one = this.#readers[i]!;
      if (one !== null) this.values[i]!.take(t, one, data, length);
    }
    if (this.#readers.includes(null)) this.texts = starFields(data, length, this.values.length);
  }

  #lane(data: Uint8Array, length: number): number {
    if (this.#location === null) return 0;
    this.#location.read(data, length);
    return Number.isNaN(this.#location.raw) ? -1 : this.#location.raw;
  }
}

const BYTES = 8;

/** A group that is not of interest, as one sender sends it. */
export class OtherSeen {
  count = 0;
  readonly intervals = new Intervals();
  readonly pgn: number;
  /** Of the last frame. */
  length = 0;
  readonly data = new Uint8Array(BYTES);
  /** Bytes, as bits from the first one on, that were not the same in all frames. */
  changed = 0;
  /** −1: to several. */
  destination: number;
  #lastAt: StreamMs = 0;

  constructor(pgn: number, destination: number) {
    this.pgn = pgn;
    this.destination = destination;
  }

  take(t: StreamMs, destination: number, data: Uint8Array, length: number): void {
    if (this.count > 0) this.intervals.add(t - this.#lastAt);
    this.#lastAt = t;
    if (destination !== this.destination) this.destination = -1;
    for (let i = 0; i < length && i < BYTES; i++) {
      if (this.count > 0 && (i >= this.length || data[i] !== this.data[i])) this.changed |= 1 << i;
      this.data[i] = data[i]!;
    }
    this.length = length;
    this.count++;
  }
}
