import { join } from 'node:path';
import pg from 'pg';
import { Database } from '../../../adapters/store/sqlite.js';
import type { ListedTruck } from './simulated-fleet.js';

/** What the office has of one database of a truck; docs/office-database.md has the tables. */
interface Stored {
  truck: string;
  store: string;
  events: number;
  different: number;
  last: number;
}

const EVENTS = `SELECT truck, store, CAST(count(*) AS integer) AS events, CAST(count(DISTINCT seq) AS integer) AS different,
  CAST(max(seq) AS integer) AS last FROM events GROUP BY truck, store`;
const ALERTS = 'SELECT alert FROM open_alerts';

export interface Audit {
  /** Events that trucks have committed. */
  committed: number;
  /** Of these not in the office's database; in it more than once; in it and never committed. */
  lost: number;
  twice: number;
  foreign: number;
  /** Alerts that are open at the truck or in the office, and not in both. */
  alertsApart: number;
}

/** Compares the office's database, read without the office, with what the trucks say. database: URL, or null for the file in folder. */
export async function audit(folder: string, database: string | null, trucks: readonly ListedTruck[]): Promise<Audit> {
  const [stored, open] = database === null ? readFile(join(folder, 'office.db')) : await readDatabase(database);
  const left = new Map(stored.map((row) => [`${row.truck}/${row.store}`, row]));
  const result = { committed: 0, lost: 0, twice: 0, foreign: 0, alertsApart: 0 };
  for (const { truck, store, lastSeq } of trucks) {
    const row = left.get(`${truck}/${store}`);
    left.delete(`${truck}/${store}`);
    result.committed += lastSeq;
    // Numbers have no hole and begin with 1: as many different ones as the highest, and none is missing.
    result.lost += Math.max(0, lastSeq - (row?.different ?? 0));
    result.twice += (row?.events ?? 0) - (row?.different ?? 0);
    result.foreign += Math.max(0, (row?.last ?? 0) - lastSeq);
  }
  for (const row of left.values()) result.foreign += row.events;
  const atTrucks = new Set(trucks.flatMap((truck) => truck.open));
  const atOffice = new Set(open);
  result.alertsApart += [...atTrucks].filter((alert) => !atOffice.has(alert)).length;
  result.alertsApart += [...atOffice].filter((alert) => !atTrucks.has(alert)).length;
  return result;
}

function readFile(path: string): [Stored[], string[]] {
  const db = new Database(path, { readonly: true });
  try {
    return [db.prepare<[], Stored>(EVENTS).all(), db.prepare<[], string>(ALERTS).pluck().all() as string[]];
  } finally {
    db.close();
  }
}

async function readDatabase(url: string): Promise<[Stored[], string[]]> {
  const client = new pg.Client({ connectionString: url });
  await client.connect();
  try {
    await client.query('SET search_path = axlepost_office');
    const { rows } = await client.query<Stored>(EVENTS);
    const alerts = await client.query<{ alert: string }>(ALERTS);
    return [rows, alerts.rows.map(({ alert }) => alert)];
  } finally {
    await client.end();
  }
}
