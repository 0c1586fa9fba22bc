import pg from 'pg';
import type { TruckKey } from '../core/model.js';
import type { PostgresLink, Statement } from './postgres-link.js';
import { CHANNEL } from './postgres-writer.js';
import { keyText } from './rows.js';

const FIRST_WAIT_MS = 250;
const LONGEST_WAIT_MS = 30_000;
/** A way that is dead without a word is found by a question that nobody answers. */
const ASK_MS = 30_000;
/** As it stands in the server's list of sessions. */
export const LISTENER = 'axlepost office, listening';
/** Revisions that are compared at a time. */
const PAGE = 5_000;

const REVISIONS: Statement = {
  name: 'revisions',
  text: `SELECT fleet, truck, revision::float8 AS revision FROM trucks
    WHERE (fleet, truck) > ($1, $2) AND state IS NOT NULL ORDER BY fleet, truck LIMIT ${PAGE}`,
};

export interface EarOptions {
  link: PostgresLink;
  /** Own notifications begin with it and are passed over. */
  instance: string;
  /** A line when the way is lost, and when it is there again. */
  onNote(line: string): void;
}

/**
 * Hears of trucks that other instances have changed. While the way is broken nothing is heard: when it is there again, all rows whose
 * revision is another than the last one known are told.
 */
export class PostgresEar {
  readonly #options: EarOptions;
  readonly #revisions = new Map<string, number>();
  readonly #listeners: ((key: TruckKey, revision: number) => void)[] = [];
  /** Heard before anybody listened. */
  readonly #untold = new Map<string, { key: TruckKey; revision: number }>();
  #client: pg.Client | null = null;
  #timer: NodeJS.Timeout | null = null;
  #failures = 0;
  #isClosed = false;

  constructor(options: EarOptions) {
    this.#options = options;
  }

  /** Listens from its end on. Rejects with a StoreError. */
  async open(): Promise<void> {
    const { link } = this.#options;
    const client = new pg.Client({ ...link.config, application_name: LISTENER });
    client.on('error', () => {});
    client.on('notification', ({ payload }) => this.#hear(payload ?? ''));
    try {
      await client.connect();
      await client.query(`LISTEN ${CHANNEL}`);
    } catch (error) {
      void client.end().catch(() => {});
      throw link.error(error);
    }
    if (this.#isClosed) return client.end();
    this.#client = client;
    client.once('end', () => this.#lost(client));
    this.#timer = setTimeout(() => void this.#ask(client), ASK_MS);
  }

  /** Of a row that was read or written here. */
  know(key: TruckKey, revision: number): void {
    const name = keyText(key);
    if (revision < (this.#revisions.get(name) ?? -1)) return;
    this.#revisions.set(name, revision);
    this.#untold.delete(name);
  }

  onChanged(listener: (key: TruckKey, revision: number) => void): void {
    this.#listeners.push(listener);
    const untold = [...this.#untold.values()];
    this.#untold.clear();
    queueMicrotask(() => {
      for (const { key, revision } of untold) listener(key, revision);
    });
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    if (this.#timer !== null) clearTimeout(this.#timer);
    const client = this.#client;
    this.#client = null;
    await client?.end().catch(() => {});
  }

  #hear(payload: string): void {
    let told: { by: string; trucks: [string, string, number][] };
    try {
      told = JSON.parse(payload) as typeof told;
      if (told.by === this.#options.instance) return;
      for (const [fleet, truck, revision] of told.trucks) this.#changed({ fleet, truck }, revision);
    } catch {
      // Anybody with the right to connect may notify: what is none of ours says nothing.
    }
  }

  #changed(key: TruckKey, revision: number): void {
    const name = keyText(key);
    if (revision <= (this.#revisions.get(name) ?? -1)) return;
    this.#revisions.set(name, revision);
    if (this.#listeners.length === 0) this.#untold.set(name, { key, revision });
    for (const listener of this.#listeners) listener(key, revision);
  }

  async #ask(client: pg.Client): Promise<void> {
    try {
      await client.query('SELECT 1');
      if (client === this.#client) this.#timer = setTimeout(() => void this.#ask(client), ASK_MS);
    } catch {
      this.#lost(client);
    }
  }

  #lost(client: pg.Client): void {
    if (this.#isClosed || client !== this.#client) return;
    this.#client = null;
    void client.end().catch(() => {});
    if (this.#timer !== null) clearTimeout(this.#timer);
    this.#options.onNote(`${this.#options.link.place}: changes of other instances are not heard; it is tried again`);
    this.#again();
  }

  #again(): void {
    const wait = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** this.#failures++);
    this.#timer = setTimeout(() => void this.#reopen(), wait * (0.5 + Math.random() / 2));
  }

  async #reopen(): Promise<void> {
    try {
      await this.open();
      await this.#catchUp();
      this.#failures = 0;
      this.#options.onNote(`${this.#options.link.place}: changes of other instances are heard again`);
    } catch {
      if (this.#isClosed) return;
      const client = this.#client;
      this.#client = null;
      void client?.end().catch(() => {});
      if (this.#timer !== null) clearTimeout(this.#timer);
      this.#again();
    }
  }

  /** After LISTEN, so that nothing falls between the two. */
  async #catchUp(): Promise<void> {
    let after: TruckKey = { fleet: '', truck: '' };
    for (;;) {
      const rows = await this.#options.link.run<TruckKey & { revision: number }>(REVISIONS, [after.fleet, after.truck]);
      for (const { fleet, truck, revision } of rows) this.#changed({ fleet, truck }, revision);
      if (rows.length < PAGE) return;
      after = rows.at(-1)!;
    }
  }
}
