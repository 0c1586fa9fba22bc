import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';

export const SHIFT_CONFIG = join(packageRoot(), 'config/examples/T-1042.yaml');

/** Frames in order of time, in few arrays: the benchmark's own memory stays small and still. */
export interface Traffic {
  count: number;
  /** Milliseconds from the beginning. */
  t: Float64Array;
  id: Uint32Array;
  /** Eight bytes a frame. */
  data: Uint8Array;
  length: Uint8Array;
  spanMs: number;
}

/** Bytes of one frame in a file: t as a double, id, length, data. */
const RECORD = 24;

/** Keeps traffic in a file, so that who is measured does not have to make it. */
export function writeTraffic(path: string, { count, t, id, data, length, spanMs }: Traffic): void {
  const bytes = Buffer.alloc(8 + RECORD * count);
  bytes.writeDoubleLE(spanMs, 0);
  for (let i = 0; i < count; i++) {
    const at = 8 + RECORD * i;
    bytes.writeDoubleLE(t[i]!, at);
    bytes.writeUInt32LE(id[i]!, at + 8);
    bytes.writeUInt32LE(length[i]!, at + 12);
    bytes.set(data.subarray(8 * i, 8 * i + 8), at + 16);
  }
  writeFileSync(path, bytes);
}

/** Frames as they stand in the file: nothing is made of them until they are asked for. */
export class TrafficFile {
  readonly count: number;
  readonly spanMs: number;
  readonly #bytes: Buffer;

  constructor(path: string) {
    this.#bytes = readFileSync(path);
    this.spanMs = this.#bytes.readDoubleLE(0);
    this.count = (this.#bytes.length - 8) / RECORD;
  }

  /** What the traffic itself takes of the memory of whoever is measured. */
  get bytes(): number {
    return this.#bytes.length;
  }

  t(i: number): number {
    return this.#bytes.readDoubleLE(8 + RECORD * i);
  }

  id(i: number): number {
    return this.#bytes.readUInt32LE(16 + RECORD * i);
  }

  data(i: number): Uint8Array {
    const at = 8 + RECORD * i;
    return this.#bytes.subarray(at + 16, at + 16 + this.#bytes.readUInt32LE(at + 12));
  }
}
