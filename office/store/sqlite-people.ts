import type BetterSqlite from 'better-sqlite3';
import type { WallMs } from '../../daemon/time.js';
import type { Account, SignedIn } from './contract.js';

interface SessionRow {
  name: string;
  token: string;
  untilMs: WallMs;
}

/** Who may come in, and who is in. */
export class SqlitePeople {
  readonly #account: BetterSqlite.Statement<[string], Account>;
  readonly #names: BetterSqlite.Statement<[], string>;
  readonly #session: BetterSqlite.Statement<[string, number], SessionRow>;
  readonly #putSession: BetterSqlite.Statement<[string, string, string, number]>;
  readonly #removeSession: BetterSqlite.Statement<[string]>;
  readonly putAccount: (account: Account) => void;
  readonly removeAccount: (name: string) => void;

  constructor(db: BetterSqlite.Database) {
    this.#account = db.prepare('SELECT name, hash FROM accounts WHERE name = ?');
    this.#names = db.prepare<[], string>('SELECT name FROM accounts ORDER BY name').pluck() as BetterSqlite.Statement<
      [],
      string
    >;
    this.#session = db.prepare(
      'SELECT name, token, until_ms AS untilMs FROM sessions WHERE id_hash = ? AND until_ms > ?',
    );
    this.#putSession = db.prepare(
      'INSERT OR REPLACE INTO sessions (id_hash, name, token, until_ms) VALUES (?, ?, ?, ?)',
    );
    this.#removeSession = db.prepare('DELETE FROM sessions WHERE id_hash = ?');
    const put = db.prepare<[string, string]>('INSERT OR REPLACE INTO accounts (name, hash) VALUES (?, ?)');
    const remove = db.prepare<[string]>('DELETE FROM accounts WHERE name = ?');
    const endSessions = db.prepare<[string]>('DELETE FROM sessions WHERE name = ?');
    this.putAccount = db.transaction(({ name, hash }: Account) => {
      put.run(name, hash);
      endSessions.run(name);
    }).immediate;
    this.removeAccount = db.transaction((name: string) => {
      remove.run(name);
      endSessions.run(name);
    }).immediate;
  }

  account(name: string): Account | null {
    return this.#account.get(name) ?? null;
  }

  accounts(): string[] {
    return this.#names.all();
  }

  session(idHash: string, nowMs: WallMs): SignedIn | null {
    return this.#session.get(idHash, nowMs) ?? null;
  }

  putSession(idHash: string, { name, token, untilMs }: SignedIn): void {
    this.#putSession.run(idHash, name, token, untilMs);
  }

  removeSession(idHash: string): void {
    this.#removeSession.run(idHash);
  }
}
