import type BetterSqlite from 'better-sqlite3';
import type { ReceivedEvent, ReceivedReading } from '../../adapters/mqtt/messages.js';
import type { ReceivedTrip } from '../../adapters/mqtt/trip-messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { TruckKey, TruckState } from '../core/model.js';
import type { EventQuery } from './contract.js';
import { atMost, keyText, parsed, TRUCK_PAGE } from './rows.js';

interface TruckRow {
  fleet: string;
  truck: string;
  state: string;
}

const CONDITIONS: readonly (readonly [keyof EventQuery, string])[] = [
  ['fleet', 'fleet = @fleet'],
  ['truck', 'truck = @truck'],
  ['alert', 'alert = @alert'],
  ['fromMs', 'received_ms >= @fromMs'],
  ['toMs', 'received_ms < @toMs'],
];

/** All reading: bounded, and parsed. */
export class SqliteReader {
  readonly #db: BetterSqlite.Database;
  readonly #trucks: BetterSqlite.Statement<[string, string, number], TruckRow>;
  readonly #truck: BetterSqlite.Statement<[string, string], TruckRow>;
  readonly #readings: BetterSqlite.Statement<[string, string, number, number, number], { ms: number; body: string }>;
  readonly #trips: BetterSqlite.Statement<[string, string, number], { body: string }>;
  readonly #events = new Map<string, BetterSqlite.Statement<[EventQuery], { body: string }>>();

  constructor(db: BetterSqlite.Database) {
    this.#db = db;
    this.#trucks = db.prepare(`
      SELECT fleet, truck, state FROM trucks WHERE (fleet, truck) > (?, ?) ORDER BY fleet, truck LIMIT ?`);
    this.#truck = db.prepare('SELECT fleet, truck, state FROM trucks WHERE fleet = ? AND truck = ?');
    this.#readings = db.prepare(`
      SELECT received_ms AS ms, body FROM readings WHERE fleet = ? AND truck = ? AND received_ms >= ? AND received_ms < ?
      ORDER BY received_ms, at LIMIT ?`);
    this.#trips = db.prepare(`
      SELECT body FROM trips WHERE fleet = ? AND truck = ? AND kind = 'summary'
      ORDER BY received_ms DESC, boot DESC, trip DESC LIMIT ?`);
  }

  /** Those after this one, in the order of their names. */
  trucks(after: TruckKey): { key: TruckKey; state: TruckState }[] {
    return this.#trucks.all(after.fleet, after.truck, TRUCK_PAGE).map((row) => this.#entry(row));
  }

  truck(key: TruckKey): TruckState | null {
    const row = this.#truck.get(key.fleet, key.truck);
    return row === undefined ? null : this.#entry(row).state;
  }

  /** At most TRUCK_PAGE of them. */
  trucksOf(keys: readonly TruckKey[]): { key: TruckKey; state: TruckState }[] {
    return keys.slice(0, TRUCK_PAGE).flatMap(({ fleet, truck }) => {
      const row = this.#truck.get(fleet, truck);
      return row === undefined ? [] : [this.#entry(row)];
    });
  }

  events(query: EventQuery): ReceivedEvent[] {
    const given = CONDITIONS.filter(([name]) => query[name] !== undefined);
    const where = given.length === 0 ? '' : `WHERE ${given.map(([, sql]) => sql).join(' AND ')}`;
    let statement = this.#events.get(where);
    if (statement === undefined) {
      statement = this.#db.prepare(`
        SELECT body FROM events ${where} ORDER BY received_ms DESC, seq DESC, fleet, truck, store LIMIT @limit`);
      this.#events.set(where, statement);
    }
    const rows = statement.all({ ...query, limit: atMost(query.limit) });
    return rows.map(({ body }) => parsed<ReceivedEvent>(body, this.#db.name, 'an event'));
  }

  readings(key: TruckKey, fromMs: WallMs, toMs: WallMs, limit: number): { ms: WallMs; reading: ReceivedReading }[] {
    const rows = this.#readings.all(key.fleet, key.truck, fromMs, toMs, atMost(limit));
    return rows.map(({ ms, body }) => ({
      ms: ms as WallMs,
      reading: parsed<ReceivedReading>(body, this.#db.name, 'a reading'),
    }));
  }

  trips(key: TruckKey, limit: number): ReceivedTrip[] {
    const rows = this.#trips.all(key.fleet, key.truck, atMost(limit));
    return rows.map(({ body }) => parsed<ReceivedTrip>(body, this.#db.name, 'a trip'));
  }

  #entry({ fleet, truck, state }: TruckRow): { key: TruckKey; state: TruckState } {
    const key = { fleet, truck };
    return { key, state: parsed<TruckState>(state, this.#db.name, `the row of ${keyText(key)}`) };
  }
}
