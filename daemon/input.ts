import type { TruckConfig } from '../config/resolved.js';
import type { StreamMs, WallMs } from './time.js';

/**
 * Where frames go. Called per frame of interest, so nothing is allocated: the data stand in `data[0..length)`,
 * valid only during the call.
 */
export interface FrameSink {
  /** bus: index into the configuration's buses. id: 29 bits. */
  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void;
  /** A CAN error frame; `id` holds the error class bits as SocketCAN has them. */
  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void;
}

/** What somebody at the office decided about one alert. */
export interface Decision {
  /** Decisions are applied once, in the order of their numbers; one that is not higher than the last applied is old. */
  rev: number;
  /** Ordinal in the life of the pipeline: ids are the edge's business. */
  alert: number;
  do: 'take' | 'snooze' | 'resume' | 'close';
  who: string;
  note: string | null;
  /** Of a snooze. */
  minutes: number | null;
}

/** The whole of what the office wants; the next one replaces it. Its size is held to the schema at the edge. */
export interface Answer {
  /** The trailer that is coupled, as the office knows it; null: it does not say. */
  trailer: string | null;
  decisions: Decision[];
}

/**
 * Inputs that are rare. All are recorded. At equal t the order is: answer, reload, clock, tick, frames. Live, each comes at a
 * t of its own, after every tick and frame before it.
 */
export type RareInput =
  | { t: StreamMs; kind: 'answer'; answer: Answer }
  | { t: StreamMs; kind: 'reload'; config: TruckConfig }
  /** The wall clock of the run is known from now on: wall time of stream time 0. */
  | { t: StreamMs; kind: 'clock'; zeroCalendarMs: WallMs };
