import type { Mark, RuleName, Urgency } from '../../config/resolved.js';
import type { StreamMs } from '../time.js';

export const CHANGES = [
  'raised',
  'worse',
  'better',
  'unsure',
  'sure',
  'chattering',
  'taken',
  'snoozed',
  'resumed',
  'reopened',
  'cleared',
  'closed',
] as const;
export type Change = (typeof CHANGES)[number];

export const CLOSE_REASONS = [
  'unit-gone',
  'position-changed',
  'rule-changed',
  'sensor-replaced',
  'said-repaired',
  'marked-bad',
] as const;
export type CloseReason = (typeof CLOSE_REASONS)[number];

/** What was measured, always SI. */
export type Measured =
  | {
      quantity: string;
      window?: string;
      value: number;
      low?: number;
      high?: number;
      limit?: number;
      unit: string;
      quality: 'good' | 'disputed';
    }
  | { code: number; text: string; of?: string }
  | { silentS: number };

/** At most 12 points: first, last and the extremes are always among them. Ago: milliseconds before the event. */
export interface Evidence {
  quantity: string;
  unit: string;
  points: [agoMs: number, value: number][];
}

export interface Forecast {
  what: string;
  /** Milliseconds after the event. */
  inMs: number;
  fromMs: number;
  toMs: number;
}

/**
 * One change of one alert, as the pipeline decides it: stream time and ordinals only, no wall time, no store id.
 * The store gives it its number; `rendering.ts` makes the public event of it.
 */
export interface EventDraft {
  t: StreamMs;
  /** Alerts are counted from 1 in this pipeline's life (kept over restarts). */
  alert: number;
  cause: number | null;
  rule: RuleName;
  kind: 'equipment' | 'system';
  subject: string;
  place: string;
  change: Change;
  reason: CloseReason | null;
  /** The person at the office whose decision it is, and what they wrote; left out where nobody decided it. */
  who?: string;
  note?: string;
  /** Only with `snoozed`: how long, s. */
  snoozeS?: number;
  urgency: Urgency;
  was: Urgency | null;
  /** Milliseconds before t at which the alert was first raised. */
  sinceAgoMs: number;
  trailer: string | null;
  measured: Measured | null;
  evidence: Evidence | null;
  forecast: Forecast | null;
  advice: string;
  basis: string;
  vehicle: { speed: number | null; lat: number | null; lon: number | null; ageS: number | null };
}

/** An alert as `open` lists it. */
export interface OpenAlert {
  alert: number;
  cause: number | null;
  rule: RuleName;
  kind: 'equipment' | 'system';
  subject: string;
  place: string;
  urgency: Urgency;
  unsure: boolean;
  chattering: boolean;
  sinceAgoMs: number;
  measured: Measured | null;
  /** Who has taken it, and how long ago. */
  taken: { who: string; agoMs: number } | null;
  /** Who has put it off, and for how long still. */
  snoozed: { who: string; leftS: number } | null;
}

export interface OpenDraft {
  t: StreamMs;
  trailer: string | null;
  /** Worst first, then oldest first. */
  alerts: OpenAlert[];
  /** Findings that hold but are muted, and by which rule. */
  muted: { rule: RuleName; subject: string; urgency: Urgency; by: RuleName }[];
  /** Sensors whose rules are not judged now, because somebody called them bad. */
  notJudged: Mark[];
}
