import { readerFor } from '../j1939/decode.js';
import type { StreamMs } from '../time.js';
import type { Layout } from '../truck/layout.js';
import { STROKE } from './brake-state.js';
import type { Brakes } from './brakes.js';

/** Bits of one wheel end in BSA. */
const BSA_BITS = 3;

/** Takes BSA apart: a state of each wheel end that the truck has. */
export class StrokeFrames {
  readonly #layout: Layout;
  readonly #brakes: Brakes;
  readonly #readers;

  constructor(layout: Layout, brakes: Brakes) {
    this.#layout = layout;
    this.#brakes = brakes;
    this.#readers = Array.from({ length: layout.wheelEndOfBsa.length }, (_, field) =>
      readerFor({ startBit: field * BSA_BITS, bits: BSA_BITS, scale: 1, offset: 0, kind: 'state' }),
    );
  }

  /** source: bus << 8 | source address */
  stroke(t: StreamMs, source: number, data: Uint8Array, length: number): void {
    for (let field = 0; field < this.#readers.length; field++) {
      const wheelEnd = this.#layout.wheelEndOfBsa[field]!;
      if (wheelEnd < 0) continue;
      const reader = this.#readers[field]!;
      const code = reader.read(data, length);
      if (code <= STROKE.dragging) this.#brakes.status.take(wheelEnd, t, source, code);
      else if (reader.raw === STROKE.error) this.#brakes.status.fault(wheelEnd, t, source);
    }
  }
}
