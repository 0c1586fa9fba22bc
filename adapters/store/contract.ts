import type { EventDraft, OpenDraft } from '../../daemon/alerts/event.js';
import type { NumberedEvent, NumberedOpen, RunInfo } from '../../daemon/alerts/numbered.js';
import type { HistoryRow, TripRecord } from '../../daemon/effects.js';
import type { StreamMs } from '../../daemon/time.js';

export type { NumberedEvent, NumberedOpen, RunInfo };

/** All that one tick wants kept; one transaction. */
export interface Commit {
  t: StreamMs;
  events: EventDraft[];
  open: OpenDraft | null;
  /** The pipeline's state after this tick, JSON; null leaves the one before. */
  state: string | null;
  history: HistoryRow[];
  trip: TripRecord | null;
}

export interface StoreOptions {
  path: string;
  truck: string;
  maxBytes: number;
  keepMs: number;
  run: RunInfo;
  /** Fail when the file exists (replay --store NEWFILE). */
  mustBeNew?: boolean;
}

export interface StoreOpened {
  /** Random id of this database. */
  store: string;
  boot: number;
  lastSeq: number;
  /** State of the last commit with the wall time of that commit, or null for a new database. */
  restored: { state: string; t: StreamMs; run: RunInfo } | null;
  /** One line per thing that was mended or moved aside. */
  notes: string[];
}

/**
 * The store seen from the main thread. The one connection that writes lives in a worker; calls are answered in order.
 * Errors: a rejected promise carries an Error with a stable `code` ('store-full', 'store-io', 'store-corrupt', …).
 */
export interface Store {
  readonly opened: StoreOpened;
  /** Resolves when it is on disk (synchronous=FULL). */
  commit(commit: Commit): Promise<NumberedEvent[]>;
  /** Commits handed over and not yet answered. */
  readonly pending: number;
  /** Events of the outbox with seq > after, in order. */
  outbox(after: number, limit: number): Promise<NumberedEvent[]>;
  /** Everything up to and with seq has been received: it leaves the outbox. */
  confirm(seq: number): Promise<void>;
  open(): Promise<NumberedOpen | null>;
  /** The wall clock of this run is now better known. */
  clock(run: RunInfo): Promise<void>;
  stats(): Promise<{ outbox: number; oldestSeq: number | null; bytes: number; commits: number }>;
  close(): Promise<void>;
}
