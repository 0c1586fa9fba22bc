import type { WallMs } from '../../daemon/time.js';
import type { Account, SignedIn } from './contract.js';
import type { PostgresLink } from './postgres-link.js';

/** Who may come in, and who is in. */
export class PostgresPeople {
  readonly #link: PostgresLink;

  constructor(link: PostgresLink) {
    this.#link = link;
  }

  async account(name: string): Promise<Account | null> {
    return (await this.#link.run<Account>('SELECT name, hash FROM accounts WHERE name = $1', [name]))[0] ?? null;
  }

  async accounts(): Promise<string[]> {
    const rows = await this.#link.run<{ name: string }>('SELECT name FROM accounts ORDER BY name');
    return rows.map(({ name }) => name);
  }

  putAccount({ name, hash }: Account): Promise<void> {
    return this.#link.transact(async (run) => {
      await run('INSERT INTO accounts (name, hash) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET hash = $2', [
        name,
        hash,
      ]);
      await run('DELETE FROM sessions WHERE name = $1', [name]);
    });
  }

  removeAccount(name: string): Promise<void> {
    return this.#link.transact(async (run) => {
      await run('DELETE FROM accounts WHERE name = $1', [name]);
      await run('DELETE FROM sessions WHERE name = $1', [name]);
    });
  }

  async session(idHash: string, nowMs: WallMs): Promise<SignedIn | null> {
    const [found] = await this.#link.run<SignedIn>(
      {
        name: 'session',
        text: 'SELECT name, token, until_ms::float8 AS "untilMs" FROM sessions WHERE id_hash = $1 AND until_ms > $2',
      },
      [idHash, nowMs],
    );
    return found ?? null;
  }

  async putSession(idHash: string, { name, token, untilMs }: SignedIn): Promise<void> {
    await this.#link.run(
      `INSERT INTO sessions (id_hash, name, token, until_ms) VALUES ($1, $2, $3, $4)
       ON CONFLICT (id_hash) DO UPDATE SET name = $2, token = $3, until_ms = $4`,
      [idHash, name, token, untilMs],
    );
  }

  async removeSession(idHash: string): Promise<void> {
    await this.#link.run('DELETE FROM sessions WHERE id_hash = $1', [idHash]);
  }
}
