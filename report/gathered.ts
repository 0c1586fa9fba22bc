import type { Mark, RuleName, TruckConfig, Urgency } from '../config/resolved.js';
import type { EventDraft } from '../daemon/alerts/event.js';
import type { LifeState, TripRecord } from '../daemon/effects.js';
import type { WallMs } from '../daemon/time.js';
import type { TruckRecord } from '../daemon/truck/records.js';

/**
 * What a report is made of: everything that one truck did in some span of time, out of a replay or out of a database. Plain
 * data. All instants are wall clock in milliseconds, as the recording's stamps or the database's runs have it.
 */
export interface Gathered {
  fleet: string;
  truck: string;
  trailer: string | null;
  source: GatheredSource;
  /** The truck file that was in force last; null: a database that was opened without one. Its limits, layout and units are drawn. */
  config: TruckConfig | null;
  /** What listened, in the order of time: one for each run of the program that the data come from, and configuration in it. */
  runs: GatheredRun[];
  /** In the order in which they were decided. */
  events: GatheredEvent[];
  trips: GatheredTrip[];
  records: GatheredRecord[];
  /** Good readings by the minute, by seriesKey; always there. */
  minutes: Map<string, MinuteSeries>;
  /** Readings one by one, by seriesKey; empty where only minutes were kept. */
  samples: Map<string, SampleSeries>;
  /** Each change of what the program took the truck to do; before the first: awake. */
  life: { atMs: WallMs; state: LifeState }[];
  /** No frame of interest on any bus in between, though the truck was not known to be parked. */
  gaps: { fromMs: WallMs; toMs: WallMs }[];
  /** Findings that held and were not told. */
  muted: GatheredMuted[];
  /** Sensors that somebody had called bad. */
  notJudged: Mark[];
  /** Counted on the way and worth a line: seams, bad lines, dropped records, points thinned. Whole sentences. */
  notes: string[];
}

export type GatheredSource =
  | { kind: 'replay'; logs: string[]; frames: number; interesting: number }
  | { kind: 'database'; path: string; store: string };

export interface GatheredRun {
  fromMs: WallMs;
  toMs: WallMs;
  /** Is its wall clock known to be right? */
  synced: boolean;
  /** Hash of the configuration and version of the program that decided. */
  config: string | null;
  version: string | null;
}

export interface GatheredEvent {
  atMs: WallMs;
  /** Id of its alert and of the alert that explains it, unlike for each alert of the report. */
  alert: string;
  cause: string | null;
  /** Times in it are relative to atMs. */
  draft: EventDraft;
}

export interface GatheredTrip {
  startMs: WallMs;
  endMs: WallMs;
  record: TripRecord;
}

export interface GatheredRecord {
  startMs: WallMs;
  endMs: WallMs;
  record: TruckRecord;
}

export interface GatheredMuted {
  fromMs: WallMs;
  toMs: WallMs;
  rule: RuleName;
  subject: string;
  urgency: Urgency;
  by: RuleName;
}

export const SERIES_QUANTITIES = [
  'pressure', // kPa gauge, as sent: tires, air/primary, air/secondary, air/supply, air/parking
  'cold pressure', // kPa gauge, cold-equivalent: tires
  'temperature', // °C: tires; tractor (ambient)
  'stroke state', // code of BSA: wheel ends
  'stroke', // mm: wheel ends with measured stroke
  'speed', // km/h: tractor
  'engine speed', // rpm: tractor
  'application pressure', // kPa: brakes
] as const;
export type SeriesQuantity = (typeof SERIES_QUANTITIES)[number];

export const seriesKey = (subject: string, quantity: SeriesQuantity): string => `${subject} ${quantity}`;

/** One row per minute in which there was a good reading; columns of one length, in the order of time. */
export interface MinuteSeries {
  atMs: number[];
  min: number[];
  max: number[];
  last: number[];
}

/** Good readings, the last one of each second; in the order of time. */
export interface SampleSeries {
  atMs: number[];
  value: number[];
  /** Some were left out, and points no further apart than this had readings in between; absent: none were. */
  joinMs?: number;
}
