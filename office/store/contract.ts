import type { ReceivedEvent, ReceivedReading } from '../../adapters/mqtt/messages.js';
import type { ReceivedTrip } from '../../adapters/mqtt/trip-messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { Folded, Incoming, Notice, TruckKey, TruckState } from '../core/model.js';

/** Messages of one truck, in the order in which they came. */
export interface Batch {
  key: TruckKey;
  messages: readonly Incoming[];
}

/**
 * Pure. state: the row as it is now, locked; fresh: the messages without those events, trips, start checks and gaps that were stored
 * before, also by another instance.
 */
export type Fold = (key: TruckKey, state: TruckState, fresh: readonly Incoming[]) => Folded;

/** Pure; null: nothing is changed. */
export type Decide = (key: TruckKey, state: TruckState) => Folded | null;

export interface QueuedNotice {
  id: number;
  notice: Notice;
  /** How often it was taken before. */
  attempts: number;
}

export interface Account {
  name: string;
  /** As hash.ts writes it. */
  hash: string;
}

export interface SignedIn {
  name: string;
  /** Token that each write must carry. */
  token: string;
  untilMs: WallMs;
}

export interface EventQuery {
  fleet?: string;
  truck?: string;
  alert?: string;
  /** When it was received: from this instant on, to before that one. */
  fromMs?: WallMs;
  toMs?: WallMs;
  /** At most; newest first. A store never gives more than 5,000 rows at once. */
  limit: number;
}

/**
 * What the office remembers. SQLite in one file, or PostgreSQL, which several instances share. Every method may reject with a StoreError
 * (the world's: full, away); what was given to it is then not stored, and may be given again.
 */
export interface OfficeStore {
  /** Other instances may write it too. */
  readonly isShared: boolean;
  /** One line for people, without a password. */
  readonly place: string;

  /** All trucks, for the start. */
  trucks(): AsyncIterable<{ key: TruckKey; state: TruckState }>;
  truck(key: TruckKey): Promise<TruckState | null>;
  /** Of some trucks, in whatever order, those that are there; at most TRUCK_PAGE at a time. */
  trucksOf(keys: readonly TruckKey[]): Promise<{ key: TruckKey; state: TruckState }[]>;

  /**
   * An event is stored first, and the truck's row follows from it, in one transaction per truck at most: all of a batch or nothing of
   * it. Gives the new states, in the order of the batches. Trucks that were unknown begin with newTruckState. When it rejects, other
   * batches than the one that failed may have been stored (not in SQLite); given again, their events are not fresh. What fold throws comes
   * through as it is. A row is written when fold gives another object than it was given, or notices.
   */
  receive(batches: readonly Batch[], fold: Fold): Promise<TruckState[]>;
  /** One transaction on one row; null when decide gave null or the truck is unknown. */
  change(key: TruckKey, decide: Decide): Promise<TruckState | null>;
  /** Called after another instance has changed a truck, with the revision that its row has from then on. */
  onChanged(listener: (key: TruckKey, revision: number) => void): void;

  /** Newest first. */
  events(query: EventQuery): Promise<ReceivedEvent[]>;
  /** Ascending in time of receipt, from fromMs on, before toMs. One that came several times is there once, as first received. */
  readings(
    key: TruckKey,
    fromMs: WallMs,
    toMs: WallMs,
    limit: number,
  ): Promise<{ ms: WallMs; reading: ReceivedReading }[]>;
  /** Summaries, newest first. */
  trips(key: TruckKey, limit: number): Promise<ReceivedTrip[]>;

  /**
   * Takes due notices for leaseMs: no other instance gets them meanwhile, and after it they are due again. Of one alert and channel only
   * the first that is neither sent nor given up, due or not: no end is told before its beginning. `except`: channels that can take no more.
   */
  dueNotices(nowMs: WallMs, leaseMs: number, limit: number, except?: readonly string[]): Promise<QueuedNotice[]>;
  noticeSent(id: number): Promise<void>;
  /** It is due again at againMs; null: it is given up, and stays in the store as such. */
  noticeFailed(id: number, againMs: WallMs | null, why: string): Promise<void>;

  account(name: string): Promise<Account | null>;
  accounts(): Promise<string[]>;
  /** Adds or replaces. Sessions of that name end. */
  putAccount(account: Account): Promise<void>;
  /** Its sessions end. */
  /** Sessions of that name end. */
  removeAccount(name: string): Promise<void>;
  /** By the SHA-256 of the cookie, in hex: the cookie itself is not stored. */
  session(idHash: string, nowMs: WallMs): Promise<SignedIn | null>;
  putSession(idHash: string, session: SignedIn): Promise<void>;
  removeSession(idHash: string): Promise<void>;

  /**
   * Deletes what is older: events, readings, trips, gaps, notices that were sent or given up, and ended sessions; at most `limit` rows at
   * a time, but for a whole month that PostgreSQL drops at once (of which at most 100,000 are counted). Gives their number; less than
   * `limit`: nothing is left to do now.
   */
  prune(olderThanMs: WallMs, nowMs: WallMs, limit: number): Promise<number>;
  close(): Promise<void>;
}

/** The store cannot be used now; one line without a password. */
export class StoreError extends Error {}
