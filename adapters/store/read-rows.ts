/**
 * Rows of the reading side, one interface per question. Their keys are the columns of the public views of docs/database.md, in
 * the same order, where there is such a view; of `alerts` and `trips`, which have none, those of the table with wall times.
 */

/** A value in a column: text, number or nothing; JSON is text here. */
export type ColumnValue = string | number | null;

export interface RunRow {
  boot: number;
  zero_wall_ms: number;
  synced: number;
  started_ms: number;
}

export interface SeriesRow {
  id: number;
  subject: string;
  quantity: string;
}

export interface ReadingRow {
  /** ISO 8601, UTC: start of the minute. */
  at: string;
  synced: number;
  subject: string;
  quantity: string;
  min: number;
  max: number;
  last: number;
  count: number;
  boot: number;
  t: number;
}

export interface ReadEventRow {
  seq: number;
  at: string;
  synced: number;
  alert: string | null;
  cause: string | null;
  rule: string;
  subject: string;
  place: string | null;
  change: string;
  urgency: string;
  reason: string | null;
  measured: string | null;
  advice: string | null;
  boot: number;
  t: number;
  config: string | null;
  version: string | null;
}

export interface ReadAlertRow {
  id: string;
  rule: string;
  kind: string;
  subject: string;
  place: string;
  state: 'open' | 'ended' | 'lost';
  how: string | null;
  urgency: string;
  worst: string;
  /** When its first event was decided, and its last; null where that event cannot be read. */
  raised: string | null;
  latest: string | null;
  synced: number | null;
  cause: string | null;
  events: number;
  seq: number;
  last_seq: number;
}

export interface ReadTripRow {
  at: string;
  ended: string;
  synced: number;
  trip: number;
  provisional: number;
  distance_km: number | null;
  alerts: number;
  gap_s: number;
  not_judged: string | null;
  summary: string | null;
  boot: number;
  start_t: number;
  end_t: number;
  config: string | null;
  version: string | null;
}

/** A row of one of the views of records; the keys differ. */
export interface ReadRecordRow {
  id: number;
  at: string;
  synced: number;
  boot: number;
  start_t: number;
  end_t: number;
  [column: string]: ColumnValue;
}

export const RECORD_VIEWS = ['truck_records', 'brake_applications', 'air_tests', 'air_cycles', 'start_checks'] as const;
export type RecordView = (typeof RECORD_VIEWS)[number];
