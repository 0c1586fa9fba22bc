import type { RuleName, Urgency } from '../../config/resolved.js';
import type { StartCheck } from '../truck/start-check.js';
import type { TripSummary } from '../truck/trip-summary.js';
import type { Change, CloseReason, Measured } from './event.js';

/**
 * The public messages as plain data. Keys stand in the order in which they are written. `adapters/mqtt/messages.ts` has the
 * schemas, docs/topics.md the explanation. Times are ISO 8601 UTC strings with milliseconds, numbers are SI.
 */
export type MeasuredMessage = Measured;

export interface EvidenceMessage {
  quantity: string;
  unit: string;
  points: [at: string, value: number][];
}

export interface ForecastMessage {
  what: string;
  at: string;
  from: string;
  to: string;
}

export interface EventMessage {
  v: 1;
  /** Only in replays. */
  replay?: true;
  fleet: string;
  truck: string;
  trailer: string | null;
  store: string;
  boot: number;
  seq: number;
  /** Only while the store cannot be written. */
  stored?: false;
  config: string;
  /** Of the program that decided it; left out where that is not known. */
  version?: string;
  alert: string;
  cause: string | null;
  rule: RuleName;
  kind: 'equipment' | 'system';
  subject: string;
  place: string;
  change: Change;
  /** Only with `closed`. */
  reason?: CloseReason;
  /** Only where a person at the office decided it: who, what they wrote, and of a snooze how long. */
  who?: string;
  note?: string;
  snoozeS?: number;
  urgency: Urgency;
  was: Urgency | null;
  since: string;
  at: string;
  synced: boolean;
  heldS: number | null;
  measured: MeasuredMessage | null;
  evidence: EvidenceMessage | null;
  forecast: ForecastMessage | null;
  advice: string;
  basis: string;
  vehicle: { speed: number | null; lat: number | null; lon: number | null; age: number | null };
}

export interface OpenAlertMessage {
  alert: string;
  cause: string | null;
  rule: RuleName;
  kind: 'equipment' | 'system';
  subject: string;
  place: string;
  urgency: Urgency;
  unsure: boolean;
  chattering: boolean;
  since: string;
  measured: MeasuredMessage | null;
  /** Only while somebody has taken it. */
  taken?: { who: string; at: string };
  /** Only while it is put off. */
  snoozed?: { who: string; until: string };
}

export interface MutedMessage {
  rule: RuleName;
  subject: string;
  urgency: Urgency;
  by: RuleName;
}

/** A sensor that somebody has called bad: its rules are not judged. */
export interface NotJudgedMessage {
  subject: string;
  what: string;
  who: string;
  until: string;
}

export interface OpenMessage {
  v: 1;
  replay?: true;
  store: string;
  asOf: number;
  at: string;
  synced: boolean;
  trailer: string | null;
  alerts: OpenAlertMessage[];
  muted: MutedMessage[];
  /** Only when there are any. */
  notJudged?: NotJudgedMessage[];
  /** How many entries of both lists were left out. */
  more: number;
}

export interface ReadingMessage {
  v: 1;
  replay?: true;
  at: string;
  r: Record<string, (number | null)[]>;
  /** How many subjects were left out; only when there are any. */
  more?: number;
}

/** A trip that has ended. The keys of TripSummary are left out of one that an earlier version has stored. */
export interface TripMessage extends Partial<TripSummary> {
  v: 1;
  replay?: true;
  kind: 'summary';
  store: string;
  boot: number;
  trip: number;
  config: string;
  version?: string;
  synced: boolean;
  start: string;
  end: string;
  distanceKm: number | null;
  /** Alerts raised in it. */
  alerts: number;
  /** Seconds without any message of interest inside it. */
  gapS: number;
  /** Sensors that somebody had called bad at any time during it: their rules were not judged then. */
  notJudged: NotJudgedMessage[];
  /** How many of these were left out; only when there are any. */
  more?: number;
}

/** The start check of a trip. Tires and brakes as arrays, in the order of the keys of TireCheck and BrakeCheck. */
export interface StartCheckMessage {
  v: 1;
  replay?: true;
  kind: 'start-check';
  store: string;
  boot: number;
  trip: number;
  config: string;
  version?: string;
  synced: boolean;
  start: string;
  at: string;
  why: StartCheck['why'];
  stoodS: number | null;
  tires: Record<string, TireCheckMessage>;
  brakes: { applications: number; wheels: Record<string, BrakeCheckMessage> };
  air: StartCheck['air'];
  /** How many tires and brakes were left out; only when there are any. */
  more?: number;
}
export type TireCheckMessage = [
  kpa: number | null,
  coldKpa: number | null,
  targetKpa: number | null,
  share: number | null,
  ageS: number | null,
  sure: boolean,
];
export type BrakeCheckMessage = [
  applied: number | null,
  released: number | null,
  strokeMm: number | null,
  restMm: number | null,
];
