import type { Mark } from '../config/resolved.js';
import type { EventDraft, OpenDraft } from './alerts/event.js';
import type { StreamMs } from './time.js';
import type { TruckRecord } from './truck/records.js';
import type { TripSummary } from './truck/trip-summary.js';

export type LifeState = 'awake' | 'blind' | 'parked' | 'asleep';

/** One minute of one quantity of one subject. */
export interface HistoryRow {
  subject: string;
  quantity: string;
  /** Start of the minute, stream time. */
  t: StreamMs;
  min: number;
  max: number;
  last: number;
  /** Number of good readings in it. */
  count: number;
}

/** A trip as it ended, or as far as it got (provisional). */
export interface TripRecord {
  trip: number;
  provisional: boolean;
  startAt: StreamMs;
  endAt: StreamMs;
  distanceKm: number | null;
  /** Alerts raised in it. */
  alerts: number;
  /** Seconds without any frame of interest inside it. */
  gapS: number;
  /** Sensors that somebody had called bad at any time during it: their rules were not judged then. */
  notJudged: Mark[];
  /** null: of a trip that an earlier version has told of. */
  summary: TripSummary | null;
}

/** The values of all subjects at one moment, for the `reading` topic. Values are rounded to what the sender can say. */
export interface ReadingReport {
  t: StreamMs;
  /** Subject → values in the order of READING_VALUES of its kind, then age in seconds. null: unknown. */
  r: Record<string, (number | null)[]>;
}

/** What one tick asks of the world. The pipeline does nothing itself. */
export interface TickEffects {
  t: StreamMs;
  events: EventDraft[];
  history: HistoryRow[];
  /** What happened on the truck since the last tick. */
  records: TruckRecord[];
  /** New list of open alerts, when it differs from the last one in more than durations. */
  open: OpenDraft | null;
  reading: ReadingReport | null;
  trip: TripRecord | null;
  life: LifeState | null;
  /** Power may go: everything to disk now. */
  flush: boolean;
}
