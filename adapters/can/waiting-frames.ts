import type { FrameSink } from '../../daemon/input.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';

/** One frame: time (8), id (4), bus (2), length (1), is it an error frame (1), data (8). */
const RECORD = 24;
const [ID, BUS, LENGTH, ERROR, DATA] = [8, 12, 14, 15, 16];
const FIRST_FRAMES = 4096;

/** Frames of one log in the order of time, that wait for those of the logs beside it. Grows with what one chunk of a log has. */
export class WaitingFrames {
  #bytes = new Uint8Array(FIRST_FRAMES * RECORD);
  #view = new DataView(this.#bytes.buffer);
  #from = 0;
  #to = 0;

  add(at: WallMs, bus: number, id: number, data: Uint8Array, length: number, isError: boolean): void {
    if (this.#to === this.#bytes.length) this.#makeRoom();
    const p = this.#to;
    this.#view.setFloat64(p, at);
    this.#view.setUint32(p + ID, id);
    this.#view.setInt16(p + BUS, bus);
    this.#bytes[p + LENGTH] = length;
    this.#bytes[p + ERROR] = isError ? 1 : 0;
    for (let i = 0; i < length; i++) this.#bytes[p + DATA + i] = data[i]!;
    this.#to += RECORD;
  }

  /** Wall time of the oldest; Infinity: none waits. */
  get at(): WallMs {
    return this.#from < this.#to ? this.#view.getFloat64(this.#from) : Number.POSITIVE_INFINITY;
  }

  /** Hands the oldest on, as of stream time t. */
  give(sink: FrameSink, t: StreamMs): void {
    const p = this.#from;
    const length = this.#bytes[p + LENGTH]!;
    const data = this.#bytes.subarray(p + DATA, p + DATA + length);
    const [bus, id] = [this.#view.getInt16(p + BUS), this.#view.getUint32(p + ID)];
    if (this.#bytes[p + ERROR] === 0) sink.frame(t, bus, id, data, length);
    else sink.errorFrame(t, bus, id, data, length);
    this.#from += RECORD;
    if (this.#from === this.#to) this.#from = this.#to = 0;
  }

  #makeRoom(): void {
    const waiting = this.#bytes.subarray(this.#from, this.#to);
    const into = waiting.length > this.#bytes.length / 2 ? new Uint8Array(2 * this.#bytes.length) : this.#bytes;
    into.set(waiting);
    this.#bytes = into;
    this.#view = new DataView(into.buffer);
    this.#from = 0;
    this.#to = waiting.length;
  }
}
