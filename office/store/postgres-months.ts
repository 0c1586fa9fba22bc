import type { WallMs } from '../../daemon/time.js';
import { causeOf } from './postgres-errors.js';
import type { PostgresLink, Run } from './postgres-link.js';
import { LOCK } from './postgres-schema.js';

/** Tables that are cut by month, with what is there once in each part. */
const CUT = { events: 'fleet, truck, store, seq', readings: 'fleet, truck, at' } as const;
export type CutTable = keyof typeof CUT;
export const CUT_TABLES = Object.keys(CUT) as CutTable[];

/** Whoever reads a month for longer than this keeps it from going until the next time. */
const LOCK_WAIT_MS = 2_000;
/** Of a month that goes; to count all of a large one takes too long. */
const MOST_COUNTED = 100_000;
/** Not had in time; or somebody waited for us as well. */
const LOCKED = ['55P03', '40P01'];
const NO_PART_FOR_ROW = '23514';

/** By the UTC calendar, e.g. `2026_03`. */
export interface Month {
  name: string;
  fromMs: WallMs;
  toMs: WallMs;
}

export function monthOf(ms: WallMs, later = 0): Month {
  const date = new Date(ms);
  const first = (n: number): number => Date.UTC(date.getUTCFullYear(), date.getUTCMonth() + n, 1);
  const fromMs = first(later);
  return { name: new Date(fromMs).toISOString().slice(0, 7).replace('-', '_'), fromMs, toMs: first(later + 1) };
}

/** Parts of the tables, one per month: made before the first row of a month comes, dropped whole when all of it is too old. */
export class Months {
  readonly #link: PostgresLink;
  readonly #known = new Set<string>();

  constructor(link: PostgresLink) {
    this.#link = link;
  }

  /** Those of these times are there, and the month after each: when it begins, nobody has to wait. */
  async ensure(times: Iterable<WallMs>): Promise<void> {
    const wanted = new Map<string, Month>();
    for (const ms of times) {
      for (const month of [monthOf(ms), monthOf(ms, 1)])
        if (!this.#known.has(month.name)) wanted.set(month.name, month);
    }
    if (wanted.size === 0) return;
    await this.#link.transact(async (run) => {
      await run('SELECT pg_advisory_xact_lock($1, $2)', [LOCK.family, LOCK.months]);
      for (const month of wanted.values()) for (const table of CUT_TABLES) await makePart(run, table, month);
    });
    for (const name of wanted.keys()) this.#known.add(name);
  }

  /** A part that was thought to be there is not: another instance has dropped it. */
  isMissing(error: unknown): boolean {
    if (causeOf(error) !== NO_PART_FOR_ROW) return false;
    this.#known.clear();
    return true;
  }

  /** Drops one part that ends by then. Gives the rows that were in it, as far as they are counted, or null when there is none to drop. */
  async dropOne(table: CutTable, beforeMs: WallMs): Promise<number | null> {
    const oldest = (await this.#parts(table))[0];
    const month = oldest === undefined ? null : monthNamed(oldest, table);
    if (oldest === undefined || month === null || month.toMs > beforeMs) return null;
    try {
      return await this.#link.transact(async (run) => {
        await run(`SET LOCAL lock_timeout = ${LOCK_WAIT_MS}`);
        const [count] = await run<{ rows: number }>(
          `SELECT count(*)::int AS rows FROM (SELECT FROM ${oldest} LIMIT ${MOST_COUNTED}) r`,
        );
        await run(`DROP TABLE ${oldest}`);
        this.#known.delete(month.name);
        return count!.rows;
      });
    } catch (error) {
      if (LOCKED.includes(causeOf(error))) return null;
      throw error;
    }
  }

  /** The part that this instant falls into, or null. */
  async partAt(table: CutTable, ms: WallMs): Promise<string | null> {
    const name = `${table}_${monthOf(ms).name}`;
    return (await this.#parts(table)).includes(name) ? name : null;
  }

  /** Oldest first. */
  async #parts(table: CutTable): Promise<string[]> {
    const rows = await this.#link.run<{ name: string }>(
      {
        name: 'parts',
        text: `SELECT c.relname::text AS name FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid
        WHERE i.inhparent = to_regclass($1) ORDER BY c.relname`,
      },
      [table],
    );
    return rows.map(({ name }) => name).filter((name) => monthNamed(name, table) !== null);
  }
}

function monthNamed(part: string, table: CutTable): Month | null {
  const found = /^(\d{4})_(\d{2})$/.exec(part.slice(table.length + 1));
  return found === null ? null : monthOf(Date.UTC(Number(found[1]), Number(found[2]) - 1, 1));
}

/** Attached when it is ready: that keeps neither readers nor writers of the table waiting, as a part made in place would. */
async function makePart(run: Run, table: CutTable, { name, fromMs, toMs }: Month): Promise<void> {
  const part = `${table}_${name}`;
  const [found] = await run<{ exists: boolean }>('SELECT to_regclass($1) IS NOT NULL AS exists', [part]);
  if (found!.exists) return;
  await run(`
    CREATE TABLE ${part} (LIKE ${table} INCLUDING ALL);
    CREATE UNIQUE INDEX ${part}_once ON ${part} (${CUT[table]});
    ALTER TABLE ${table} ATTACH PARTITION ${part} FOR VALUES FROM (${fromMs}) TO (${toMs})`);
}
