import { reader } from '../j1939/decode.js';
import type { StreamMs } from '../time.js';
import { Intervals } from './intervals.js';
import { Values } from './values.js';

export const PGN_TIRE1 = 65268;
export const PGN_TIRE2 = 64578;
export const PGN_TCSI = 64579;
export const PGN_TPRI = 64953;
/** Groups that speak of one tire by its location byte. */
export const TIRE_PGNS: readonly number[] = [PGN_TIRE1, PGN_TIRE2, PGN_TCSI, PGN_TPRI];

/** A location byte has 255 values; several senders may use them. */
export const MAX_LOCATIONS = 512;

/** Raw 0: a sender's idle pattern. */
const IDLE_C = -273;

/** What one sender said of the tire at one location byte. */
export interface LocationSeen {
  bus: number;
  sa: number;
  location: number;
  /** TIRE1 and TIRE2. */
  frames: number;
  /** 0 kPa with 0 °C or −273 °C: the sender has heard nothing of this sensor. Frames of TIRE1. */
  idle: number;
  tire1: Intervals;
  tire2: Intervals;
  tire1At: StreamMs | null;
  tire2At: StreamMs | null;
  /** kPa of TIRE1, kPa of TIRE2, °C. */
  coarse: Values;
  fine: Values;
  temperature: Values;
  /** SPN 1698, 1697, 6990 and 2587 as raw codes. */
  status: Values;
  fault: Values;
  extended: Values;
  threshold: Values;
  /** The sender's own idea of the pressure: SPN 6989, 6980 and 3191, kPa. */
  required: Values;
  cold: Values;
  reference: Values;
}

const newLocation = (bus: number, sa: number, location: number): LocationSeen => ({
  ...{ bus, sa, location, frames: 0, idle: 0, tire1At: null, tire2At: null },
  tire1: new Intervals(),
  tire2: new Intervals(),
  coarse: new Values(),
  fine: new Values(),
  temperature: new Values(),
  status: new Values(2),
  fault: new Values(2),
  extended: new Values(2),
  threshold: new Values(3),
  required: new Values(),
  cold: new Values(),
  reference: new Values(),
});

/** Tires by sender and location byte. */
export class TiresSeen {
  /** Frames that name no location, and frames of locations for which there was no room. */
  nowhere = 0;
  leftOut = 0;
  readonly #seen = new Map<number, LocationSeen>();
  readonly #readers = {
    location1: reader(929),
    kpa1: reader(241),
    celsius: reader(242),
    status: reader(1698),
    fault: reader(1697),
    extended: reader(6990),
    threshold: reader(2587),
    location2: reader(6987),
    kpa2: reader(6988),
    required: reader(6989),
    locationCold: reader(6979),
    cold: reader(6980),
    locationReference: reader(3190),
    reference: reader(3191),
  };

  /** By bus, source address and location. */
  list(): LocationSeen[] {
    return [...this.#seen.values()].sort((a, b) => a.bus - b.bus || a.sa - b.sa || a.location - b.location);
  }

  frame(t: StreamMs, bus: number, sa: number, pgn: number, data: Uint8Array, length: number): void {
    const r = this.#readers;
    if (pgn === PGN_TIRE1) this.#tire1(t, this.#at(bus, sa, r.location1.read(data, length)), data, length);
    else if (pgn === PGN_TIRE2) this.#tire2(t, this.#at(bus, sa, r.location2.read(data, length)), data, length);
    else if (pgn === PGN_TCSI) {
      this.#at(bus, sa, r.locationCold.read(data, length))?.cold.take(t, r.cold, data, length);
    } else if (pgn === PGN_TPRI) {
      this.#at(bus, sa, r.locationReference.read(data, length))?.reference.take(t, r.reference, data, length);
    }
  }

  #at(bus: number, sa: number, location: number): LocationSeen | null {
    if (Number.isNaN(location)) {
      this.nowhere++;
      return null;
    }
    const key = (bus << 16) | (sa << 8) | location;
    const known = this.#seen.get(key);
    if (known !== undefined) return known;
    if (this.#seen.size >= MAX_LOCATIONS) {
      this.leftOut++;
      return null;
    }
    const made = newLocation(bus, sa, location);
    this.#seen.set(key, made);
    return made;
  }

  #tire1(t: StreamMs, seen: LocationSeen | null, data: Uint8Array, length: number): void {
    if (seen === null) return;
    const r = this.#readers;
    seen.frames++;
    if (seen.tire1At !== null) seen.tire1.add(t - seen.tire1At);
    seen.tire1At = t;
    const kpa = r.kpa1.read(data, length);
    const celsius = r.celsius.read(data, length);
    // As the monitors have it: what a sender sends while it has heard nothing is no reading.
    if (kpa === 0 && (celsius === 0 || celsius === IDLE_C)) {
      seen.idle++;
      seen.coarse.miss('absent');
      seen.temperature.miss('absent');
      return;
    }
    seen.coarse.take(t, r.kpa1, data, length);
    if (celsius === IDLE_C) seen.temperature.miss('absent');
    else seen.temperature.take(t, r.celsius, data, length);
    seen.status.take(t, r.status, data, length);
    seen.fault.take(t, r.fault, data, length);
    seen.extended.take(t, r.extended, data, length);
    seen.threshold.take(t, r.threshold, data, length);
  }

  #tire2(t: StreamMs, seen: LocationSeen | null, data: Uint8Array, length: number): void {
    if (seen === null) return;
    const r = this.#readers;
    seen.frames++;
    if (seen.tire2At !== null) seen.tire2.add(t - seen.tire2At);
    seen.tire2At = t;
    if (r.kpa2.read(data, length) === 0) seen.fine.miss('absent');
    else seen.fine.take(t, r.kpa2, data, length);
    seen.required.take(t, r.required, data, length);
  }
}

/** The pressure that would be judged: TIRE2's where it comes and SPN 6990 does not deny it. kPa */
export function pressureOf(seen: LocationSeen): Values {
  return seen.fine.good > 0 && seen.extended.last !== 0 ? seen.fine : seen.coarse;
}

/** Is there a sensor behind it that has told a pressure? */
export const hasPressure = (seen: LocationSeen): boolean => pressureOf(seen).good > 0;
