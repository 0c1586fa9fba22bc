import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';
import { BASE_PGNS, interestTable } from '../../daemon/j1939/interest.js';
import { parseScenario } from '../../simulator/scenario.js';
import { simulateFrames } from '../../simulator/shift.js';

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

export const SHIFT_CONFIG = join(packageRoot(), 'config/examples/T-1042.yaml');

/**
 * A part of the demonstration shift, only what is of interest (the kernel's filters let nothing else through), each frame `times`
 * over so that a bus can be filled with messages of the same shape.
 */
export function shiftTraffic(fromMs: number, toMs: number, times = 1): Traffic {
  const path = 'simulator/shifts/morning-run.yaml';
  const scenario = parseScenario(readFileSync(join(packageRoot(), path), 'utf8'), path);
  const interest = interestTable(BASE_PGNS);
  const frames: { t: number; id: number; data: Uint8Array }[] = [];
  for (const { t, id, data } of simulateFrames(scenario)) {
    if (t >= toMs) break;
    if (t >= fromMs && interest[(id >>> 8) & 0x3ffff]! > 0) frames.push({ t: t - fromMs, id, data });
  }
  const count = frames.length * times;
  const traffic: Traffic = {
    count,
    t: new Float64Array(count),
    id: new Uint32Array(count),
    data: new Uint8Array(8 * count).fill(0xff),
    length: new Uint8Array(count),
    spanMs: toMs - fromMs,
  };
  for (let i = 0; i < count; i++) {
    const { t, id, data } = frames[Math.floor(i / times)]!;
    traffic.t[i] = t;
    traffic.id[i] = id;
    traffic.data.set(data, 8 * i);
    traffic.length[i] = data.length;
  }
  return traffic;
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
