import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { LogParser } from '../../adapters/can/log-parser.js';
import type { FrameSink } from '../../daemon/input.js';
import { Pipeline } from '../../daemon/pipeline.js';
import { truckOf } from './truck-file.js';

/** The demonstration shift as candump text. */
export const morningRunText = (): Buffer =>
  gunzipSync(readFileSync(new URL('../../replay-logs/morning-run.log.gz', import.meta.url)));

/** Frames of interest of a log, packed, so that they can be fed many times without parsing again. */
export class Recording {
  readonly t: Float64Array;
  readonly id: Uint32Array;
  readonly length: Uint8Array;
  readonly bytes: Uint8Array;

  constructor(text: Uint8Array, zeroMs: number | null = null) {
    const [t, id, length, bytes]: [number[], number[], number[], number[]] = [[], [], [], []];
    const parser = new LogParser({
      interest: new Pipeline(truckOf()).interest,
      busOf: () => 0,
      zeroMs,
      sink: {
        frame: (at, _bus, frameId, data, n) => {
          t.push(at);
          id.push(frameId);
          length.push(n);
          for (let i = 0; i < 8; i++) bytes.push(i < n ? data[i]! : 0);
        },
        errorFrame: () => {},
      },
    });
    parser.push(text);
    parser.end();
    this.t = Float64Array.from(t);
    this.id = Uint32Array.from(id);
    this.length = Uint8Array.from(length);
    this.bytes = Uint8Array.from(bytes);
  }

  get frames(): number {
    return this.t.length;
  }

  /** Index of the first frame at or after t. */
  from(t: number): number {
    const i = this.t.findIndex((at) => at >= t);
    return i < 0 ? this.frames : i;
  }

  /** Frames [from, to) with their time moved by shiftMs. */
  feed(sink: FrameSink, from = 0, to = this.frames, shiftMs = 0): void {
    const data = new Uint8Array(8);
    for (let i = from; i < to; i++) {
      for (let k = 0; k < 8; k++) data[k] = this.bytes[8 * i + k]!;
      sink.frame(this.t[i]! + shiftMs, 0, this.id[i]!, data, this.length[i]!);
    }
  }
}
