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
  state: string;
  zero_wall_ms: number;
  synced: number;
}
