import { existsSync, readFileSync } from 'node:fs';
import { resolve } from 'node:path';

/** Reference data that are not part of the project; tests that need them are skipped, visibly, when they are absent. */
const SHARED = resolve(process.env.AXLEPOST_SHARED ?? '../shared');

let told = false;

export function shared(path: string): { path: string; absent: boolean; why: string } {
  const full = resolve(SHARED, path);
  const absent = !existsSync(full);
  if (absent && !told) {
    told = true;
    console.warn(`skipped: ${path} is not in ${SHARED}; set AXLEPOST_SHARED to check against it`);
  }
  return { path: full, absent, why: absent ? ` (skipped: ${path} is not there, set AXLEPOST_SHARED)` : '' };
}

export function bytes(hex: string): Uint8Array {
  return Uint8Array.from(Buffer.from(hex.replaceAll(' ', ''), 'hex'));
}

export interface Frame {
  id: number;
  data: Uint8Array;
}

/** `18FECA00#40FF…` */
export function frame(text: string): Frame {
  const [id = '', data = ''] = text.split('#');
  return { id: Number.parseInt(id, 16), data: bytes(data) };
}

export interface StampedFrame extends Frame {
  /** Whole milliseconds since the first stamp cut to a second, never backwards. */
  t: number;
  line: string;
}

/** The 29-bit data frames of a `candump -L` text, read in the plainest way. */
export function readLog(path: string): StampedFrame[] {
  const frames: StampedFrame[] = [];
  let zero: number | undefined;
  let last = 0;
  for (const line of readFileSync(path, 'utf8').split('\n')) {
    const match = /^\((\d+)\.(\d{6})\) \S+ ([0-9A-Fa-f]{8})#([0-9A-Fa-f]*)\s*$/.exec(line);
    if (!match) continue;
    const id = Number.parseInt(match[3]!, 16);
    if (id > 0x1fffffff) continue;
    zero ??= Number(match[1]);
    last = Math.max(last, (Number(match[1]) - zero) * 1000 + Math.floor(Number(match[2]) / 1000));
    frames.push({ t: last, id, data: bytes(match[4]!), line: line.trim() });
  }
  return frames;
}

/** All recordings of traffic nobody on this project wrote. */
export const LOGS = [
  'road-truck/normal',
  'road-truck/tsc1',
  'road-truck/address_claim',
  'road-truck/dos_full',
  'road-truck/fuzz_1ms_ID_and_Data',
  'road-truck/request_overload_engine',
  'road-truck/bench_error_frames',
  'tractor/noStartInGear1',
  'tractor/start1',
  'tractor/transmission1and2and3InGear',
  'brake-bench/normal',
  'engine-bench/sample',
  'adapter-log/out_of_order',
] as const;
