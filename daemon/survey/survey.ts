import type { ExtraSignal } from '../../config/resolved.js';
import type { FrameSink } from '../input.js';
import { noteClaim } from '../j1939/claims.js';
import { readerFor, type SignalReader, type SignalShape } from '../j1939/decode.js';
import { destinationOf, isJ1939, pgnOf, sourceOf } from '../j1939/identifier.js';
import { BASE_PGNS, interestTable, PGN_ADDRESS_CLAIM, PGN_DM1, PGN_TP_CM, PGN_TP_DT } from '../j1939/interest.js';
import { Transport } from '../j1939/transport.js';
import type { StreamMs } from '../time.js';
import { BusSeen } from './bus-seen.js';
import { Codes } from './codes-seen.js';
import { PGN_BSA, Strokes } from './strokes-seen.js';
import { TIRE_PGNS, TiresSeen } from './tires-seen.js';
import { Values } from './values.js';

/** As many as a truck file may have. */
export const MAX_BUSES = 8;

const PGN_REQUEST = 59904;
/** A request is the wanted PGN, least significant byte first. */
const REQUEST_BYTES = 3;
/** Transfers that stall are given up so often. ms */
const EXPIRE_MS = 1_000;

/** What was heard of one extra signal of the truck file. */
export interface ExtraSeen {
  signal: ExtraSignal;
  values: Values;
}

interface Extra extends ExtraSeen {
  reader: SignalReader<SignalShape>;
}

/** All that a survey learns from the frames of one or more buses. Feed it in the order of time. */
export class Survey implements FrameSink {
  readonly buses: BusSeen[] = [];
  readonly tires = new TiresSeen();
  readonly strokes = new Strokes();
  readonly codes = new Codes();
  /** Requests by others, by wanted PGN; groups of interest only. */
  readonly requests = new Map<number, number>();
  /** Of the first and the last frame of any kind; null before it. */
  firstAt: StreamMs | null = null;
  lastAt: StreamMs | null = null;
  readonly #extras: Extra[];
  readonly #pgns: ReadonlySet<number>;
  /** 1 at `(id >>> 8) & 0x3ffff` for frames of interest. */
  readonly #interest: Uint8Array;
  readonly #transports: Transport[] = [];
  #expireAt: StreamMs = 0;

  /** @param signals the truck file's extra signals */
  constructor(signals: readonly ExtraSignal[] = []) {
    this.#pgns = new Set([...BASE_PGNS, ...signals.map(({ pgn }) => pgn)]);
    this.#interest = interestTable(this.#pgns);
    this.#extras = signals.map((signal) => {
      const { byte, bit, length, scale, offset } = signal;
      const startBit = (byte - 1) * 8 + (bit - 1);
      return { signal, values: new Values(), reader: readerFor({ startBit, bits: length, scale, offset }) };
    });
  }

  get extras(): readonly ExtraSeen[] {
    return this.#extras;
  }

  /** Index of the new bus; −1 where there is no room. */
  addBus(name: string, link: string): number {
    if (this.buses.length >= MAX_BUSES) return -1;
    const bus = this.buses.length;
    const seen = new BusSeen(name, link);
    this.buses.push(seen);
    this.#transports.push(
      new Transport(
        (pgn) => this.#pgns.has(pgn),
        (t, pgn, sa, _da, data, length) => this.#message(t, bus, pgn, sa, data, length, true),
        seen.transport,
      ),
    );
    return bus;
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    this.#pass(t);
    const seen = this.buses[bus]!;
    seen.frame(length);
    if (!isJ1939(id)) {
      seen.foreign++;
      return;
    }
    const sa = sourceOf(id);
    const sender = seen.sender(sa);
    sender.frames++;
    const pgn = pgnOf(id);
    if (this.#interest[(id >>> 8) & 0x3ffff] === 0) {
      if (pgn === PGN_REQUEST) this.#request(data, length);
      seen.other(t, sender, pgn, destinationOf(id), data, length);
      return;
    }
    seen.interesting++;
    if (pgn === PGN_TP_CM || pgn === PGN_TP_DT) this.#transports[bus]!.frame(t, id, data, length);
    this.#message(t, bus, pgn, sa, data, length, false);
  }

  errorFrame(t: StreamMs, bus: number, id: number): void {
    this.#pass(t);
    this.buses[bus]!.errorFrame(id);
  }

  #pass(t: StreamMs): void {
    this.firstAt ??= t;
    this.lastAt = t;
    if (t < this.#expireAt) return;
    this.#expireAt = t + EXPIRE_MS;
    for (const transport of this.#transports) if (transport.state.sessions.length > 0) transport.expire(t);
  }

  #message(t: StreamMs, bus: number, pgn: number, sa: number, data: Uint8Array, length: number, isLong: boolean): void {
    const seen = this.buses[bus]!;
    seen.group(t, seen.sender(sa), pgn, data, length, isLong);
    if (TIRE_PGNS.includes(pgn)) this.tires.frame(t, bus, sa, pgn, data, length);
    else if (pgn === PGN_BSA) this.strokes.frame(bus, sa, data, length);
    else if (pgn === PGN_DM1) this.codes.dm1(t, bus, sa, data, length);
    else if (pgn === PGN_ADDRESS_CLAIM) noteClaim(seen.claims, t, sa, data, length);
    // The program reads extra signals out of single frames only.
    if (isLong) return;
    for (const extra of this.#extras) {
      const { signal, values } = extra;
      if (signal.pgn !== pgn || (signal.source !== null && signal.source !== sa)) continue;
      if (signal.bus !== null && signal.bus !== seen.name) continue;
      values.take(t, extra.reader, data, length);
    }
  }

  #request(data: Uint8Array, length: number): void {
    if (length < REQUEST_BYTES) return;
    const wanted = data[0]! | (data[1]! << 8) | (data[2]! << 16);
    if (this.#pgns.has(wanted)) this.requests.set(wanted, (this.requests.get(wanted) ?? 0) + 1);
  }
}
