import pg from 'pg';
import { StoreError } from './contract.js';
import { asStoreError, isWayBroken } from './postgres-errors.js';
import { readAddress } from './postgres-url.js';

export const SCHEMA = 'axlepost_office';

const CONNECT_MS = 10_000;
/** A statement that the server has not finished by then is given up there; the answer that does not come, here. */
const STATEMENT_MS = 30_000;
const ANSWER_MS = 40_000;
/** No transaction of ours waits for anything but the database. */
const IDLE_IN_TRANSACTION_MS = 60_000;

/** `name`: planned once per connection. */
export interface Statement {
  name?: string;
  text: string;
}

type Row = Record<string, unknown>;
export type Run = <R = Row>(statement: Statement | string, values?: readonly unknown[]) => Promise<R[]>;

/** Connections to one database. Whatever goes wrong there comes as a StoreError. */
export class PostgresLink {
  readonly place: string;
  readonly config: pg.ClientConfig;
  readonly #pool: pg.Pool;
  readonly #hide: (text: string) => string;
  #isClosed = false;

  constructor(url: string, connections: number) {
    const { connectionString, options, place, hide } = readAddress(url);
    this.place = place;
    this.#hide = hide;
    this.config = {
      connectionString,
      options: `${options} -c search_path=${SCHEMA},pg_catalog`.trim(),
      application_name: 'axlepost office',
      connectionTimeoutMillis: CONNECT_MS,
      statement_timeout: STATEMENT_MS,
      query_timeout: ANSWER_MS,
      idle_in_transaction_session_timeout: IDLE_IN_TRANSACTION_MS,
      keepAlive: true,
    };
    this.#pool = new pg.Pool({ ...this.config, max: connections });
    // A connection that breaks while nobody waits for it is left out by the pool; the next statement opens another.
    this.#pool.on('error', () => {});
    this.#pool.on('connect', (client) => client.on('error', () => {}));
  }

  readonly run: Run = async (statement, values = []) => {
    const client = await this.#connect();
    try {
      const rows = await this.#query(client, statement, values);
      client.release();
      return rows as never[];
    } catch (error) {
      client.release(true);
      throw error;
    }
  };

  /** All of it or nothing. What `work` throws comes through as it is. */
  async transact<T>(work: (run: Run) => Promise<T>): Promise<T> {
    const client = await this.#connect();
    let isBroken = true;
    try {
      await this.#query(client, 'BEGIN', []);
      const result = await work(
        async (statement, values = []) => (await this.#query(client, statement, values)) as never[],
      );
      await this.#query(client, 'COMMIT', []);
      isBroken = false;
      return result;
    } catch (error) {
      if (!isWayBroken(error)) isBroken = !(await this.#isRolledBack(client));
      throw error;
    } finally {
      client.release(isBroken);
    }
  }

  error(error: unknown): StoreError {
    return asStoreError(error, { place: this.place, hide: this.#hide });
  }

  async close(): Promise<void> {
    if (this.#isClosed) return;
    this.#isClosed = true;
    await this.#pool.end();
  }

  async #connect(): Promise<pg.PoolClient> {
    if (this.#isClosed) throw new StoreError(`${this.place}: closed`);
    try {
      return await this.#pool.connect();
    } catch (error) {
      throw this.error(error);
    }
  }

  async #query(client: pg.PoolClient, statement: Statement | string, values: readonly unknown[]): Promise<Row[]> {
    const query = typeof statement === 'string' ? { text: statement } : statement;
    try {
      return (await client.query<Row>({ ...query, values: [...values] })).rows;
    } catch (error) {
      throw this.error(error);
    }
  }

  async #isRolledBack(client: pg.PoolClient): Promise<boolean> {
    return this.#query(client, 'ROLLBACK', []).then(
      () => true,
      () => false,
    );
  }
}
