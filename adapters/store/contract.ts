import type { EventDraft, OpenDraft } from '../../daemon/alerts/event.js';
import type {
  DecidedBy,
  NumberedCheck,
  NumberedEvent,
  NumberedOpen,
  NumberedTrip,
  RunInfo,
} from '../../daemon/alerts/numbered.js';
import type { HistoryRow, TripRecord } from '../../daemon/effects.js';
import type { StreamMs } from '../../daemon/time.js';
import type { TruckRecord } from '../../daemon/truck/records.js';

export type { DecidedBy, NumberedCheck, NumberedEvent, NumberedOpen, NumberedTrip, RunInfo };

/** All that one tick wants kept; one transaction. */
export interface Commit {
  t: StreamMs;
  /** What decided the events and the trip. */
  by: DecidedBy;
  events: EventDraft[];
  open: OpenDraft | null;
  /** The pipeline's state after this tick, JSON; null leaves the one before. */
  state: string | null;
  history: HistoryRow[];
  records: TruckRecord[];
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
  /** A disk that is full, read-only or fails does not fail the opening: commits are refused until the file can be opened (run). */
  mayWait?: boolean;
}

export interface StoreOpened {
  /** Random id of this database; a volatile one (`~` and random) while it cannot be opened. */
  store: string;
  boot: number;
  lastSeq: number;
  /** State of the last commit with the wall time of that commit, or null for a new database. */
  restored: { state: string; t: StreamMs; run: RunInfo } | null;
  /** One line per thing that was mended or moved aside. */
  notes: string[];
}

/**
 * Events that the office will never get, because their room was needed: `count` of those with fromSeq ≤ seq ≤ toSeq are gone.
 * Of trips and start checks only the count is known, and both numbers are 0, which no event has.
 */
export interface GapRecord {
  fromSeq: number;
  toSeq: number;
  what: string;
  count: number;
  why: string;
}

export interface StoreStats {
  /** Events that wait for confirmation, and the first of them. */
  outbox: number;
  oldestSeq: number | null;
  /** Ended trips and start checks that wait to be told. */
  trips: number;
  /** Size of the database file, without its write-ahead log. */
  bytes: number;
  /** Commits since this start. */
  commits: number;
  /** History rows left out since this start: a number that is none, or one series too many. */
  droppedRows: number;
  /** Steps of retention that failed since this start (they are tried again). */
  retentionFailures: number;
}

/**
 * The store seen from the main thread. The one connection that writes lives in a worker; calls are answered in order.
 * Errors: a rejected promise carries an Error with a stable `code` ('store-full', 'store-io', 'store-corrupt', …).
 */
export interface Store {
  /** Another object, with another `store`, after a database that broke while in use was moved aside. */
  readonly opened: StoreOpened;
  /**
   * Resolves when it is on disk (synchronous=FULL). Gives the events as numbered: those of the commit, in order, and before
   * them a `raised` for each alert of `commit.open` that the database has never seen.
   */
  commit(commit: Commit): Promise<NumberedEvent[]>;
  /** Commits handed over and not yet answered. */
  readonly pending: number;
  /** Events of the outbox with seq > after, in order. */
  outbox(after: number, limit: number): Promise<NumberedEvent[]>;
  /**
   * Everything up to and with seq has been received: it leaves the outbox. A number that was not given yet says that this
   * database is older than one before it: it is moved aside as a broken one is, and numbers begin anew under another store id.
   */
  confirm(seq: number): Promise<void>;
  /** Gaps to be told, at most one of a kind. */
  gaps(): Promise<GapRecord[]>;
  /** This gap has been received as it is; one that has grown since stays. */
  confirmGap(gap: GapRecord): Promise<void>;
  /** Ended trips to be told, oldest first, at most `limit`. */
  trips(limit: number): Promise<NumberedTrip[]>;
  /** This trip has been received. */
  confirmTrip(trip: { boot: number; trip: number }): Promise<void>;
  /** Start checks to be told, oldest first, at most `limit`. */
  checks(limit: number): Promise<NumberedCheck[]>;
  /** The start check of this trip has been received. */
  confirmCheck(trip: { boot: number; trip: number }): Promise<void>;
  /** The ordinal by which the rules know each alert, index for index; null for one that they do not know (any more). */
  ordinals(ids: string[]): Promise<(number | null)[]>;
  open(): Promise<NumberedOpen | null>;
  /** The wall clock of this run is now better known. */
  clock(run: RunInfo): Promise<void>;
  stats(): Promise<StoreStats>;
  close(): Promise<void>;
}
