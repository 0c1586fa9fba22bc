import { readerFor } from '../j1939/decode.js';
import { GLOBAL_ADDRESS } from '../j1939/identifier.js';

export const PGN_BSA = 64881;
/** Fields of BSA: five axles of the tractor, then of the trailer, left before right (SPN 3785–3804). */
export const STROKE_FIELDS = 20;
const BITS = 3;
const CODES = 8;
const NOT_FITTED = 7;
const MAX_SENDERS = GLOBAL_ADDRESS;

/** What one sender said of all brakes. */
export interface StrokesSeen {
  bus: number;
  sa: number;
  frames: number;
  /** By field, then by code 0…7: frames. */
  codes: number[][];
  /** By field: the last code; −1 before the first. */
  last: number[];
}

/** Stroke states by sender. */
export class Strokes {
  leftOut = 0;
  readonly #seen: StrokesSeen[] = [];
  readonly #readers = Array.from({ length: STROKE_FIELDS }, (_, field) =>
    readerFor({ startBit: field * BITS, bits: BITS, scale: 1, offset: 0, kind: 'state' }),
  );

  list(): readonly StrokesSeen[] {
    return this.#seen;
  }

  frame(bus: number, sa: number, data: Uint8Array, length: number): void {
    let seen = this.#seen.find((one) => one.bus === bus && one.sa === sa);
    if (seen === undefined) {
      if (this.#seen.length >= MAX_SENDERS) {
        this.leftOut++;
        return;
      }
      const codes = Array.from({ length: STROKE_FIELDS }, () => new Array<number>(CODES).fill(0));
      seen = { bus, sa, frames: 0, codes, last: new Array<number>(STROKE_FIELDS).fill(-1) };
      this.#seen.push(seen);
    }
    seen.frames++;
    for (const [field, reader] of this.#readers.entries()) {
      reader.read(data, length);
      if (Number.isNaN(reader.raw)) continue;
      seen.codes[field]![reader.raw]!++;
      seen.last[field] = reader.raw;
    }
  }
}

/** Did the sender ever say anything but "not fitted" of this brake? */
export const isFitted = (seen: StrokesSeen, field: number): boolean =>
  seen.codes[field]!.some((frames, code) => code !== NOT_FITTED && frames > 0);

/** Did it ever tell a state (0…3), or only errors? */
export const hasState = (seen: StrokesSeen, field: number): boolean =>
  seen.codes[field]!.some((frames, code) => code <= 3 && frames > 0);
