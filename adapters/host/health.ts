import type { LifeState } from '../../daemon/effects.js';
import type { TransportCounters } from '../../daemon/j1939/transport.js';
import type { Counters } from '../../daemon/pipeline-state.js';
import type { PublisherHealth } from '../mqtt/publisher-options.js';
import type { RecorderHealth } from '../recorder/contract.js';
import type { StoreStats } from '../store/contract.js';

/** One bus of the truck file. */
export interface BusHealth {
  name: string;
  interface: string;
  /** How it is listened to, or `down`. */
  state: 'listen-only' | 'acknowledging' | 'virtual' | 'down';
  /** Frames of interest, error frames, and how often the interface was opened, since the start. */
  frames: number;
  errorFrames: number;
  opened: number;
  /** Counters of kernel and controller as the system has them (adapters/can/interface-counters.ts). */
  counters: Record<string, number>;
  /** The state of its controller in the kernel's words; null: it has none, or it is not known. */
  controller: string | null;
  /** Messages of several frames: complete, and why others came to nothing. Earlier runs included. */
  transfers: TransportCounters;
}

export interface ClockHealth {
  /** `waiting for clock`: the host's clock stands before the clock floor; no broker is tried. */
  state: 'set' | 'waiting for clock';
  /** Is the wall time of this run known to be right? */
  synced: boolean;
  /** Who says so, or who was asked. */
  source: string;
  /** Seconds by which the time on the bus is ahead of the wall clock, when it keeps being another; null: it is not, or there is none. */
  contradictedByBusS: number | null;
}

export interface StoreHealth {
  /** It cannot be written: events go out unstored. */
  degraded: boolean;
  /** Commits handed over and not yet on disk. */
  pending: number;
  /** History rows dropped because they could not be written for too long. */
  droppedRows: number;
  /** null: the store does not answer. */
  stats: StoreStats | null;
}

/** Delay of the event loop in the last whole minute (in the first one: so far), milliseconds. */
export interface LoopHealth {
  p50Ms: number;
  p99Ms: number;
  maxMs: number;
}

export interface LogHealth {
  /** Lines left out because the same had been said too often. */
  suppressed: number;
  /** Lines lost because nobody read the log. */
  dropped: number;
}

/** What `/health` shows and `/metrics` counts. Plain data. */
export interface Health {
  v: 1;
  /** Why the page answers 503, one short text each; empty: all is well. */
  degraded: string[];
  version: string;
  /** Hash of the configuration in force. */
  config: string;
  fleet: string;
  truck: string;
  state: LifeState;
  /** ISO 8601, null while the clock of this run is not known to be right. */
  startedAt: string | null;
  uptimeS: number;
  /** Since the last tick was decided. */
  lastTickAgeMs: number;
  clock: ClockHealth;
  buses: BusHealth[];
  store: StoreHealth;
  /** null: the truck file names none. */
  broker: PublisherHealth | null;
  /** null: nothing is recorded. */
  recorder: RecorderHealth | null;
  loop: LoopHealth;
  memory: { rssBytes: number; heapUsedBytes: number };
  pipeline: Counters;
  /** Decisions of the office about alerts that this truck does not know. */
  decisionsUnknown: number;
  log: LogHealth;
}
