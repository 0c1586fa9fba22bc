import type { SignedIn } from '../../../../office/store/contract.js';
import type { AccountStore } from '../../../../office/web/accounts.js';

/** Accounts and sessions in memory, as the contract of the store has them. */
export class MemoryAccounts implements AccountStore {
  readonly hashes = new Map<string, string>();
  readonly sessions = new Map<string, SignedIn>();
  /** Called before an account is read: for what happens at that moment. */
  beforeAccount: (name: string) => void | Promise<void> = () => {};

  async account(name: string) {
    await this.beforeAccount(name);
    const hash = this.hashes.get(name);
    return hash === undefined ? null : { name, hash };
  }

  async accounts() {
    return [...this.hashes.keys()];
  }

  async putAccount({ name, hash }: { name: string; hash: string }) {
    this.hashes.set(name, hash);
    this.#endSessionsOf(name);
  }

  async removeAccount(name: string) {
    this.hashes.delete(name);
    this.#endSessionsOf(name);
  }

  async session(idHash: string, nowMs: number) {
    const session = this.sessions.get(idHash);
    return session === undefined || session.untilMs <= nowMs ? null : session;
  }

  async putSession(idHash: string, session: SignedIn) {
    this.sessions.set(idHash, session);
  }

  async removeSession(idHash: string) {
    this.sessions.delete(idHash);
  }

  #endSessionsOf(name: string): void {
    for (const [key, session] of this.sessions) if (session.name === name) this.sessions.delete(key);
  }
}
