import type { ReceivedEvent, ReceivedReading } from '../../adapters/mqtt/messages.js';
import type { ReceivedTrip } from '../../adapters/mqtt/trip-messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { TruckKey, TruckState } from '../core/model.js';
import type { EventQuery } from './contract.js';
import type { PostgresLink, Statement } from './postgres-link.js';
import { atMost, TRUCK_PAGE } from './rows.js';

const TRUCKS: Statement = {
  name: 'trucks',
  text: `SELECT fleet, truck, state FROM trucks WHERE (fleet, truck) > ($1, $2) AND state IS NOT NULL
    ORDER BY fleet, truck LIMIT ${TRUCK_PAGE}`,
};
const TRUCK: Statement = {
  name: 'truck',
  text: 'SELECT state FROM trucks WHERE fleet = $1 AND truck = $2 AND state IS NOT NULL',
};
const TRUCKS_OF: Statement = {
  name: 'trucks-of',
  text: `SELECT fleet, truck, state FROM trucks
    WHERE (fleet, truck) IN (SELECT * FROM unnest($1::text[], $2::text[])) AND state IS NOT NULL`,
};
const READINGS: Statement = {
  name: 'readings',
  text: `SELECT received_ms::float8 AS ms, body AS reading FROM readings
    WHERE fleet = $1 AND truck = $2 AND received_ms >= $3 AND received_ms < $4 ORDER BY received_ms, at LIMIT $5`,
};
const TRIPS: Statement = {
  name: 'trips',
  text: `SELECT body FROM trips WHERE fleet = $1 AND truck = $2 AND kind = 'summary'
    ORDER BY received_ms DESC, boot DESC, trip DESC LIMIT $3`,
};
const CONDITIONS: readonly (readonly [keyof EventQuery, string])[] = [
  ['fleet', 'fleet ='],
  ['truck', 'truck ='],
  ['alert', 'alert ='],
  ['fromMs', 'received_ms >='],
  ['toMs', 'received_ms <'],
];

type TruckRow = TruckKey & { state: TruckState };

const entry = ({ fleet, truck, state }: TruckRow) => ({ key: { fleet, truck }, state });

/** All reading: bounded. */
export class PostgresReader {
  readonly #link: PostgresLink;

  constructor(link: PostgresLink) {
    this.#link = link;
  }

  /** Those after this one, in the order of their names. */
  async trucks(after: TruckKey): Promise<{ key: TruckKey; state: TruckState }[]> {
    return (await this.#link.run<TruckRow>(TRUCKS, [after.fleet, after.truck])).map(entry);
  }

  /** At most TRUCK_PAGE of them. */
  async trucksOf(keys: readonly TruckKey[]): Promise<{ key: TruckKey; state: TruckState }[]> {
    const some = keys.slice(0, TRUCK_PAGE);
    const names = [some.map(({ fleet }) => fleet), some.map(({ truck }) => truck)];
    return (await this.#link.run<TruckRow>(TRUCKS_OF, names)).map(entry);
  }

  async truck({ fleet, truck }: TruckKey): Promise<TruckState | null> {
    return (await this.#link.run<{ state: TruckState }>(TRUCK, [fleet, truck]))[0]?.state ?? null;
  }

  async events(query: EventQuery): Promise<ReceivedEvent[]> {
    const given = CONDITIONS.filter(([name]) => query[name] !== undefined);
    const where = given.map(([, sql], n) => `${n === 0 ? 'WHERE' : 'AND'} ${sql} $${n + 1}`).join(' ');
    const statement = {
      name: `events-${given.map(([name]) => name).join('-')}`,
      text: `SELECT body FROM events ${where}
        ORDER BY received_ms DESC, seq DESC, fleet, truck, store LIMIT $${given.length + 1}`,
    };
    const values = [...given.map(([name]) => query[name]), atMost(query.limit)];
    return (await this.#link.run<{ body: ReceivedEvent }>(statement, values)).map(({ body }) => body);
  }

  readings(
    { fleet, truck }: TruckKey,
    fromMs: WallMs,
    toMs: WallMs,
    limit: number,
  ): Promise<{ ms: WallMs; reading: ReceivedReading }[]> {
    return this.#link.run(READINGS, [fleet, truck, fromMs, toMs, atMost(limit)]);
  }

  async trips({ fleet, truck }: TruckKey, limit: number): Promise<ReceivedTrip[]> {
    const rows = await this.#link.run<{ body: ReceivedTrip }>(TRIPS, [fleet, truck, atMost(limit)]);
    return rows.map(({ body }) => body);
  }
}
