import type { FrameSink } from '../input.js';
import type { StreamMs, WallMs } from '../time.js';
import type { Moment } from './moment.js';

/** Lets frames through up to a moment (`--to`). */
export class Limit implements FrameSink {
  /** The moment has come: nothing passes any more. */
  reached = false;
  readonly #sink: FrameSink;
  readonly #to: Moment;
  /** First millisecond that is beyond. */
  #end: StreamMs;

  constructor(sink: FrameSink, to: Moment, zeroWallMs: WallMs) {
    this.#sink = sink;
    this.#to = to;
    this.#end = this.#endFrom(zeroWallMs);
  }

  get last(): StreamMs {
    return Math.max(0, this.#end - 1);
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    if (!this.pass(t)) return;
    this.#sink.frame(t, bus, id, data, length);
  }

  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    if (!this.pass(t)) return;
    this.#sink.errorFrame(t, bus, id, data, length);
  }

  /** Moved zero moves the moment, where it is a wall time. */
  seam(zeroWallMs: WallMs): void {
    this.#end = this.#endFrom(zeroWallMs);
  }

  pass(t: StreamMs): boolean {
    if (t >= this.#end) this.reached = true;
    return !this.reached;
  }

  #endFrom(zeroWallMs: WallMs): StreamMs {
    return 'since' in this.#to ? this.#to.since : this.#to.wall - zeroWallMs;
  }
}
