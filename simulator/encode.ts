import { makeId } from '../daemon/j1939/identifier.js';
import { groupOf, type Signal } from '../daemon/j1939/signals.js';

/** A frame as it goes on the wire. */
export interface WireFrame {
  /** Milliseconds from the start. */
  t: number;
  id: number;
  data: Uint8Array;
}

/** Highest raw value that is a measurement; above it come the indicator, error and not-available bands. */
function topRaw(bits: number): number {
  if (bits < 8) return 2 ** bits - 1;
  return 0xfa * 2 ** (bits - 8) + (2 ** (bits - 8) - 1);
}

/** Raw number of a physical value, cut to what the field can say. States, locations and addresses are raw already. */
export function rawOf(signal: Signal, value: number): number {
  if (signal.kind !== 'number') return value;
  const raw = Math.round((value - signal.offset) / signal.scale);
  return Math.max(0, Math.min(topRaw(signal.bits), raw));
}

/** Writes bits into a payload that starts as all ones. */
export function putBits(data: Uint8Array, startBit: number, bits: number, raw: number): void {
  for (let done = 0; done < bits; ) {
    const byte = (startBit + done) >> 3;
    const shift = (startBit + done) & 7;
    const count = Math.min(8 - shift, bits - done);
    const mask = ((1 << count) - 1) << shift;
    const part = (Math.floor(raw / 2 ** done) << shift) & mask;
    data[byte] = (data[byte]! & ~mask) | part;
    done += count;
  }
}

/** SPN → physical value (or raw code). What is missing is sent as not available: all ones, unused bits as well. */
export function encodeGroup(pgn: number, values: Readonly<Record<number, number>>): Uint8Array {
  const group = groupOf(pgn);
  if (group?.length !== 8) throw new Error(`PGN ${pgn} is no single-frame group of the signal table`);
  const data = new Uint8Array(8).fill(0xff);
  let used = 0;
  for (const signal of group.signals) {
    const value = values[signal.spn];
    if (value === undefined) continue;
    putBits(data, signal.startBit, signal.bits, rawOf(signal, value));
    used += 1;
  }
  if (used !== Object.keys(values).length) throw new Error(`PGN ${pgn} carries not all of SPN ${Object.keys(values)}`);
  return data;
}

/** One signal's place in a payload, and where its value comes from. */
interface Field<T> {
  signal: Signal;
  /** First byte of a number of whole bytes, −1 for anything else. */
  byte: number;
  read(from: T): number;
}

/** Writes one group again and again without allocating. The same bytes as `encodeGroup`. */
export class GroupWriter<T> {
  private readonly fields: Field<T>[];

  constructor(pgn: number, values: readonly (readonly [spn: number, read: (from: T) => number])[]) {
    const signals = groupOf(pgn)?.signals ?? [];
    this.fields = values.map(([spn, read]) => {
      const signal = signals.find((one) => one.spn === spn);
      if (!signal) throw new Error(`PGN ${pgn} carries no SPN ${spn}`);
      const whole = signal.startBit % 8 === 0 && signal.bits % 8 === 0;
      return { signal, byte: whole ? signal.startBit / 8 : -1, read };
    });
  }

  /** Fills data[0, 8). missing: SPNs that are left not available. A value that is NaN is left so as well. */
  write(data: Uint8Array, from: T, missing: ReadonlySet<number>): void {
    data.fill(0xff);
    for (const { signal, byte, read } of this.fields) {
      if (missing.size > 0 && missing.has(signal.spn)) continue;
      const value = read(from);
      if (Number.isNaN(value)) continue;
      const raw = rawOf(signal, value);
      if (byte < 0) putBits(data, signal.startBit, signal.bits, raw);
      else putBytes(data, byte, signal.bits, raw);
    }
  }
}

function putBytes(data: Uint8Array, byte: number, bits: number, raw: number): void {
  data[byte] = raw;
  if (bits > 8) data[byte + 1] = raw >>> 8;
  if (bits > 16) {
    data[byte + 2] = raw >>> 16;
    data[byte + 3] = raw >>> 24;
  }
}

const TP_CM = 60416;
const TP_DT = 60160;
const BAM = 32;
/** Between the packets of a broadcast: 50 to 200 ms by J1939-21. */
const BAM_GAP_MS = 60;

/** A payload longer than eight bytes, announced to everybody (BAM), then sent in packets of seven bytes. */
export function broadcast(t: number, source: number, pgn: number, payload: Uint8Array): WireFrame[] {
  const packets = Math.ceil(payload.length / 7);
  const announce = [BAM, payload.length & 0xff, payload.length >> 8, packets, 0xff];
  announce.push(pgn & 0xff, (pgn >> 8) & 0xff, (pgn >> 16) & 0xff);
  const frames: WireFrame[] = [{ t, id: makeId({ priority: 7, pgn: TP_CM, source }), data: Uint8Array.from(announce) }];
  for (let packet = 0; packet < packets; packet += 1) {
    const data = new Uint8Array(8).fill(0xff);
    data[0] = packet + 1;
    data.set(payload.subarray(packet * 7, packet * 7 + 7), 1);
    frames.push({ t: t + BAM_GAP_MS * (packet + 1), id: makeId({ priority: 7, pgn: TP_DT, source }), data });
  }
  return frames;
}

export interface Dtc {
  spn: number;
  fmi: number;
  count: number;
}

const LAMP_BITS = { none: 0x00, amber: 0x04, red: 0x10 } as const;

/** DM1: lamps, flash (none), then four bytes per code; with no code the "none" form, which fills one frame. */
export function dm1Payload(lamp: keyof typeof LAMP_BITS, codes: readonly Dtc[]): Uint8Array {
  if (codes.length === 0) return Uint8Array.of(LAMP_BITS[lamp], 0xff, 0, 0, 0, 0, 0xff, 0xff);
  const bytes: number[] = [LAMP_BITS[lamp], 0xff];
  for (const { spn, fmi, count } of codes) {
    bytes.push(spn & 0xff, (spn >> 8) & 0xff, (((spn >> 16) & 7) << 5) | fmi, count);
  }
  while (bytes.length < 8) bytes.push(0xff);
  return Uint8Array.from(bytes);
}

/**
 * The 64-bit NAME, little-endian: arbitrary address capable no, industry group 1 (on-highway).
 * The manufacturer code is one that the bus has no meaning for here: the truck is invented.
 */
export function nameBytes(identity: number, functionCode: number): Uint8Array {
  const manufacturer = 2040;
  const low = ((identity & 0x1fffff) | ((manufacturer & 0x7ff) << 21)) >>> 0;
  const bytes = [low & 0xff, (low >>> 8) & 0xff, (low >>> 16) & 0xff, low >>> 24];
  bytes.push(0, functionCode, 0, 0x10);
  return Uint8Array.from(bytes);
}

const HEX = Array.from({ length: 256 }, (_, i) => i.toString(16).toUpperCase().padStart(2, '0'));

/** A line of `candump -L`, without its end: `(seconds.micros) interface ID#DATA`. */
export function candumpLine(startS: number, name: string, frame: WireFrame): string {
  const seconds = startS + Math.floor(frame.t / 1000);
  const millis = String(frame.t % 1000).padStart(3, '0');
  let hex = '';
  for (const byte of frame.data) hex += HEX[byte];
  return `(${seconds}.${millis}000) ${name} ${frame.id.toString(16).toUpperCase().padStart(8, '0')}#${hex}`;
}
