import type { Quality, RangeExceptions, SignalKind } from './ranges.js';
import { classify } from './ranges.js';
import type { Signal } from './signals.js';
import { groupOf, signalOf } from './signals.js';
import { starFields } from './text.js';

/** What a reader must know of a signal; extra signals of the truck file give no more than this. */
export interface SignalShape {
  readonly startBit: number;
  readonly bits: number;
  readonly scale: number;
  readonly offset: number;
  readonly kind?: SignalKind;
  readonly exceptions?: RangeExceptions;
}

/** Reads one signal out of payloads without allocating. Not shared: each holder makes its own. */
export interface SignalReader<S extends SignalShape = SignalShape> {
  readonly signal: S;
  /** Of the last read. */
  quality: Quality;
  /** Of the last read; NaN if the data were too short. */
  raw: number;
  /** The physical value if it is good, else NaN. */
  read(data: Uint8Array, length: number): number;
}

/** Largest power of ten tried to write a scale and an offset as whole numbers; 0.00390625 needs 10^8. */
const MOST_DECIMALS = 12;

/**
 * raw × scale + offset, computed in whole numbers so that the result is the double nearest to the decimal that the step
 * gives: 3 × 0.1 is 0.3.
 */
function scaler(scale: number, offset: number): { times: number; plus: number; per: number } {
  for (let decimals = 0, per = 1; decimals <= MOST_DECIMALS; decimals++, per *= 10) {
    const times = Math.round(scale * per);
    const plus = Math.round(offset * per);
    if (times / per === scale && plus / per === offset) return { times, plus, per };
  }
  return { times: scale, plus: offset, per: 1 };
}

class FieldReader<S extends SignalShape> implements SignalReader<S> {
  readonly signal: S;
  quality: Quality = 'absent';
  raw = Number.NaN;
  readonly #first: number;
  readonly #last: number;
  readonly #shift: number;
  /** Whole bytes of an aligned field, else 0. */
  readonly #bytes: number;
  readonly #mask: number;
  /** How far to the right the part of the raw value lies that tells the quality. */
  readonly #topShift: number;
  readonly #times: number;
  readonly #plus: number;
  readonly #per: number;
  /** By raw value below eight bits, else by the most significant byte. */
  readonly #qualities: readonly Quality[];

  constructor(signal: S) {
    const { startBit, bits, kind = 'number', exceptions } = signal;
    if (kind === 'text') throw new RangeError('a text signal has no number to read');
    if (!(Number.isInteger(startBit) && startBit >= 0 && Number.isInteger(bits) && bits >= 1 && bits <= 32)) {
      throw new RangeError(`a signal starts at bit 0 or later and has 1 to 32 bits, not ${bits} from ${startBit}`);
    }
    if (bits > 8 && exceptions) throw new RangeError('exceptions are for signals of at most 8 bits');
    this.signal = signal;
    this.#first = startBit >>> 3;
    this.#last = (startBit + bits - 1) >>> 3;
    this.#shift = startBit & 7;
    this.#bytes = this.#shift === 0 && bits % 8 === 0 ? bits / 8 : 0;
    this.#mask = 2 ** bits - 1;
    this.#topShift = Math.max(0, bits - 8);
    const { times, plus, per } = scaler(signal.scale, signal.offset);
    this.#times = times;
    this.#plus = plus;
    this.#per = per;
    this.#qualities = Array.from({ length: 2 ** Math.min(bits, 8) }, (_, top) =>
      classify(top * 2 ** this.#topShift, bits, kind, exceptions),
    );
  }

  read(data: Uint8Array, length: number): number {
    if (this.#last >= length || this.#last >= data.length) {
      this.quality = 'absent';
      this.raw = Number.NaN;
      return Number.NaN;
    }
    const raw = this.#readRaw(data);
    this.raw = raw;
    const quality = this.#qualities[raw >>> this.#topShift]!;
    this.quality = quality;
    return quality === 'good' ? (raw * this.#times + this.#plus) / this.#per : Number.NaN;
  }

  #readRaw(data: Uint8Array): number {
    const at = this.#first;
    switch (this.#bytes) {
      case 1:
        return data[at]!;
      case 2:
        return data[at]! | (data[at + 1]! << 8);
      case 3:
        return data[at]! | (data[at + 1]! << 8) | (data[at + 2]! << 16);
      case 4:
        return (data[at]! | (data[at + 1]! << 8) | (data[at + 2]! << 16) | (data[at + 3]! << 24)) >>> 0;
      default:
        return this.#last - at < 2 ? this.#readShort(data) : this.#readBits(data);
    }
  }

  /** A field within two bytes. */
  #readShort(data: Uint8Array): number {
    const high = this.#last === this.#first ? 0 : data[this.#last]! << 8;
    return ((data[this.#first]! | high) >>> this.#shift) & this.#mask;
  }

  /** Whole numbers and not bit operators: 32 bits from an odd bit span five bytes. */
  #readBits(data: Uint8Array): number {
    let all = 0;
    for (let at = this.#last; at >= this.#first; at--) all = all * 256 + data[at]!;
    return Math.floor(all / 2 ** this.#shift) % (this.#mask + 1);
  }
}

/** A reader of a signal of the table. Throws RangeError on an SPN that is not in it: that is our own mistake. */
export function reader(spn: number): SignalReader<Signal> {
  const signal = signalOf(spn);
  if (!signal) throw new RangeError(`SPN ${spn} is not in the signal table`);
  return new FieldReader(signal);
}

/** A reader of an extra signal, from 1 to 32 bits. Throws RangeError on a shape that no payload has. */
export function readerFor<S extends SignalShape>(signal: S): SignalReader<S> {
  return new FieldReader(signal);
}

export interface DecodedSignal {
  readonly spn: number;
  readonly name: string;
  readonly quality: Quality;
  /** NaN for texts and for data that are too short. */
  readonly raw: number;
  /** NaN unless the quality is good. */
  readonly value: number;
  readonly unit: string;
  /** The meaning of a state, the characters of a text; null if there is none. */
  readonly text: string | null;
}

/** Readers of `decodeGroup`, made once per signal; nothing of a read outlives the call. */
const groupReaders = new Map<number, SignalReader>();

function readerOf(signal: Signal): SignalReader {
  const known = groupReaders.get(signal.spn);
  if (known) return known;
  const made = readerFor(signal);
  groupReaders.set(signal.spn, made);
  return made;
}

/** All signals of one message, for tools and tests; an unknown group gives none. */
export function decodeGroup(pgn: number, data: Uint8Array, length: number): DecodedSignal[] {
  const signals = groupOf(pgn)?.signals ?? [];
  const fields = signals.some((signal) => signal.kind === 'text') ? starFields(data, length, signals.length) : [];
  return signals.map((signal) => {
    const { spn, name, unit } = signal;
    if (signal.kind === 'text') {
      const text = fields[signal.startBit] ?? '';
      const quality = text === '' ? 'absent' : 'good';
      return { spn, name, unit, quality, raw: Number.NaN, value: Number.NaN, text: text === '' ? null : text };
    }
    const field = readerOf(signal);
    const value = field.read(data, length);
    return { spn, name, unit, quality: field.quality, raw: field.raw, value, text: signal.states?.[field.raw] ?? null };
  });
}
