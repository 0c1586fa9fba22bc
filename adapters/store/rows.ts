import type { OpenDraft } from '../../daemon/alerts/event.js';
import type { NumberedEvent, NumberedOpen } from '../../daemon/alerts/numbered.js';
import type { TripRecord } from '../../daemon/effects.js';
import type { RecordOf } from '../../daemon/truck/records.js';
import { parsed } from './parsed.js';

/** Rows as SQLite gives them, one interface per query shape; columns as in docs/database.md. */

export interface MetaRow {
  store: string;
  truck: string;
  boot: number;
  last_seq: number;
}

export interface AlertRow {
  seq: number;
  id: string;
  worst: string;
  state: string;
}

export interface EventRow {
  seq: number;
  boot: number;
  alert_id: string;
  cause: string | null;
  draft: string;
  config: string | null;
  version: string | null;
  zero_wall_ms: number;
  synced: number;
}

export interface TripRow {
  boot: number;
  trip: number;
  start_t: number;
  end_t: number;
  distance_km: number | null;
  alerts: number;
  gap_s: number;
  not_judged: string | null;
  summary: string | null;
  config: string | null;
  version: string | null;
  zero_wall_ms: number;
  synced: number;
}

export interface CheckRow {
  boot: number;
  subject: string;
  start_t: number;
  end_t: number;
  body: string;
  config: string | null;
  version: string | null;
  zero_wall_ms: number;
  synced: number;
}

export interface OpenRow {
  as_of: number;
  alert_ids: string;
  cause_ids: string;
  draft: string;
  zero_wall_ms: number;
  synced: number;
}

export interface StateRow {
  t: number;
  /** Text as schema 1 had it, else packed. */
  state: string | Buffer;
  zero_wall_ms: number;
  synced: number;
}

/** The run of a row, and what decided it where that was kept. */
export function knownOf(row: Pick<EventRow, 'config' | 'version' | 'zero_wall_ms' | 'synced'>) {
  const { config, version } = row;
  return {
    run: { zeroWallMs: row.zero_wall_ms, synced: row.synced === 1 },
    by: config === null || version === null ? null : { config, version },
  } satisfies Pick<NumberedEvent, 'run' | 'by'>;
}

export function tripOf(row: TripRow, path: string): TripRecord {
  return {
    trip: row.trip,
    provisional: false,
    startAt: row.start_t,
    endAt: row.end_t,
    distanceKm: row.distance_km,
    alerts: row.alerts,
    gapS: row.gap_s,
    notJudged: row.not_judged === null ? [] : parsed<TripRecord['notJudged']>(row.not_judged, path),
    summary: row.summary === null ? null : parsed<TripRecord['summary']>(row.summary, path),
  };
}

export function openOf(row: OpenRow, store: string, path: string): NumberedOpen {
  return {
    store,
    asOf: row.as_of,
    alertIds: parsed<string[]>(row.alert_ids, path),
    causeIds: parsed<(string | null)[]>(row.cause_ids, path),
    open: parsed<OpenDraft>(row.draft, path),
    run: { zeroWallMs: row.zero_wall_ms, synced: row.synced === 1 },
  };
}

export function checkOf(row: CheckRow, path: string): RecordOf<'start-check'> {
  return {
    kind: 'start-check',
    subject: row.subject,
    startAt: row.start_t,
    endAt: row.end_t,
    values: parsed<RecordOf<'start-check'>['values']>(row.body, path),
  };
}
