import type BetterSqlite from 'better-sqlite3';
import type { ReceivedEvent, ReceivedReading } from '../../adapters/mqtt/messages.js';
import type { ReceivedTrip } from '../../adapters/mqtt/trip-messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { TruckKey, TruckState } from '../core/model.js';
import {
  type Account,
  type Batch,
  type Decide,
  type EventQuery,
  type Fold,
  type OfficeStore,
  type QueuedNotice,
  type SignedIn,
  StoreError,
} from './contract.js';
import { TRUCK_PAGE } from './rows.js';
import { asStoreError } from './sqlite-errors.js';
import { openFile } from './sqlite-file.js';
import { SqliteNotices } from './sqlite-notices.js';
import { SqlitePeople } from './sqlite-people.js';
import { pruner } from './sqlite-prune.js';
import { SqliteReader } from './sqlite-reader.js';
import { SqliteWriter } from './sqlite-writer.js';

export interface SqliteStoreOptions {
  /** The file; its folder exists. */
  path: string;
}

/**
 * Opens or makes the office's file. Rejects with a StoreError when it is damaged, of another program or of a newer version, or when
 * it cannot be written: an office is watched by people, so nothing begins anew by itself.
 */
export async function openSqliteStore({ path }: SqliteStoreOptions): Promise<OfficeStore> {
  try {
    return new SqliteStore(openFile(path));
  } catch (error) {
    throw asStoreError(error, path);
  }
}

/**
 * On the thread of its caller, as fold and decide are functions: a transaction holds it for as long as the disk takes, and one
 * `receive` of all that has come meanwhile costs one wait.
 */
export class SqliteStore implements OfficeStore {
  readonly isShared = false;
  readonly place: string;
  readonly #db: BetterSqlite.Database;
  readonly #writer: SqliteWriter;
  readonly #reader: SqliteReader;
  readonly #notices: SqliteNotices;
  readonly #people: SqlitePeople;
  readonly #prune: ReturnType<typeof pruner>;

  constructor(db: BetterSqlite.Database) {
    this.place = db.name;
    this.#db = db;
    this.#writer = new SqliteWriter(db);
    this.#reader = new SqliteReader(db);
    this.#notices = new SqliteNotices(db);
    this.#people = new SqlitePeople(db);
    this.#prune = pruner(db);
  }

  async *trucks(): AsyncGenerator<{ key: TruckKey; state: TruckState }> {
    let after: TruckKey = { fleet: '', truck: '' };
    for (;;) {
      const page = await this.#guard(() => this.#reader.trucks(after));
      yield* page;
      if (page.length < TRUCK_PAGE) return;
      after = page.at(-1)!.key;
    }
  }

  truck(key: TruckKey): Promise<TruckState | null> {
    return this.#guard(() => this.#reader.truck(key));
  }

  trucksOf(keys: readonly TruckKey[]): Promise<{ key: TruckKey; state: TruckState }[]> {
    return this.#guard(() => this.#reader.trucksOf(keys));
  }

  receive(batches: readonly Batch[], fold: Fold): Promise<TruckState[]> {
    return this.#guard(() => this.#writer.receive(batches, fold));
  }

  change(key: TruckKey, decide: Decide): Promise<TruckState | null> {
    return this.#guard(() => this.#writer.change(key, decide));
  }

  /** There is no other instance. */
  onChanged(): void {}

  events(query: EventQuery): Promise<ReceivedEvent[]> {
    return this.#guard(() => this.#reader.events(query));
  }

  readings(
    key: TruckKey,
    fromMs: WallMs,
    toMs: WallMs,
    limit: number,
  ): Promise<{ ms: WallMs; reading: ReceivedReading }[]> {
    return this.#guard(() => this.#reader.readings(key, fromMs, toMs, limit));
  }

  trips(key: TruckKey, limit: number): Promise<ReceivedTrip[]> {
    return this.#guard(() => this.#reader.trips(key, limit));
  }

  dueNotices(nowMs: WallMs, leaseMs: number, limit: number, except?: readonly string[]): Promise<QueuedNotice[]> {
    return this.#guard(() => this.#notices.due(nowMs, leaseMs, limit, except));
  }

  noticeSent(id: number): Promise<void> {
    return this.#guard(() => this.#notices.sent(id));
  }

  noticeFailed(id: number, againMs: WallMs | null, why: string): Promise<void> {
    return this.#guard(() => this.#notices.failed(id, againMs, why));
  }

  account(name: string): Promise<Account | null> {
    return this.#guard(() => this.#people.account(name));
  }

  accounts(): Promise<string[]> {
    return this.#guard(() => this.#people.accounts());
  }

  putAccount(account: Account): Promise<void> {
    return this.#guard(() => this.#people.putAccount(account));
  }

  removeAccount(name: string): Promise<void> {
    return this.#guard(() => this.#people.removeAccount(name));
  }

  session(idHash: string, nowMs: WallMs): Promise<SignedIn | null> {
    return this.#guard(() => this.#people.session(idHash, nowMs));
  }

  putSession(idHash: string, session: SignedIn): Promise<void> {
    return this.#guard(() => this.#people.putSession(idHash, session));
  }

  removeSession(idHash: string): Promise<void> {
    return this.#guard(() => this.#people.removeSession(idHash));
  }

  prune(olderThanMs: WallMs, nowMs: WallMs, limit: number): Promise<number> {
    return this.#guard(() => this.#prune(olderThanMs, nowMs, limit));
  }

  async close(): Promise<void> {
    this.#db.close();
  }

  async #guard<T>(work: () => T): Promise<T> {
    if (!this.#db.open) throw new StoreError(`${this.place}: closed`);
    try {
      return work();
    } catch (error) {
      throw asStoreError(error, this.place);
    }
  }
}
