import { randomBytes } from 'node:crypto';
import type { FastifyReply, FastifyRequest } from 'fastify';
import type { WallMs } from '../../daemon/time.js';
import type { Account } from '../store/contract.js';
import type { AccountStore } from './accounts.js';
import type { Caller, SignIn } from './caller.js';
import type { Hasher } from './hash.js';
import { accountNameProblem } from './name-rules.js';
import { sha256 } from './secret.js';

const SECRET_BYTES = 32;
const SECRET = /^[\w-]{43}$/;

export interface SessionsOptions {
  store: AccountStore;
  hasher: Hasher;
  nowMs: () => WallMs;
  sessionMs: number;
  /** People reach the board over https: the cookie goes nowhere else. */
  isHttps: boolean;
}

/** Accounts of the office's own. A session is a cookie of 32 random bytes, of which the store has the SHA-256 only. */
export class Sessions implements SignIn {
  readonly kind = 'accounts';
  readonly #options: SessionsOptions;
  readonly #cookie: string;

  constructor(options: SessionsOptions) {
    this.#options = options;
    // With this prefix a browser takes the cookie from this very host over https only (RFC 6265bis, section 4.1.3.2).
    this.#cookie = options.isHttps ? '__Host-axlepost' : 'axlepost';
  }

  async caller({ cookies }: FastifyRequest): Promise<Caller | null> {
    const secret = cookies[this.#cookie];
    if (secret === undefined || !SECRET.test(secret)) return null;
    const key = keyOf(secret);
    const { store, nowMs } = this.#options;
    const session = await store.session(key, nowMs());
    return session === null || session.untilMs <= nowMs() ? null : { ...session, key };
  }

  async isAlive({ key, untilMs }: Caller): Promise<boolean> {
    const { store, nowMs } = this.#options;
    return nowMs() < untilMs && (await store.session(key, nowMs())) !== null;
  }

  /** Sets the cookie; null when name or password are wrong, which takes the same time whichever it is. */
  async signIn(name: string, password: string, reply: FastifyReply): Promise<Caller | null> {
    const { store, hasher, nowMs, sessionMs, isHttps } = this.#options;
    const account = accountNameProblem(name) === null ? await store.account(name) : null;
    if (!(await hasher.check(password, account?.hash ?? null)) || account === null) return null;
    const current = await this.#renewed(account, password);
    const secret = randomBytes(SECRET_BYTES).toString('base64url');
    const caller: Caller = {
      name: account.name,
      token: randomBytes(SECRET_BYTES).toString('base64url'),
      key: keyOf(secret),
      untilMs: nowMs() + sessionMs,
    };
    await store.putSession(caller.key, { name: caller.name, token: caller.token, untilMs: caller.untilMs });
    // A password that was changed in the meantime has ended the sessions that were there, and not this one.
    if ((await store.account(account.name))?.hash !== current.hash) {
      await store.removeSession(caller.key);
      return null;
    }
    const maxAge = Math.floor(sessionMs / 1_000);
    reply.setCookie(this.#cookie, secret, { path: '/', httpOnly: true, sameSite: 'strict', secure: isHttps, maxAge });
    return caller;
  }

  end(key: string): Promise<void> {
    return this.#options.store.removeSession(key);
  }

  /** Takes the cookie from the browser. */
  forget(reply: FastifyReply): void {
    reply.clearCookie(this.#cookie, { path: '/', httpOnly: true, sameSite: 'strict', secure: this.#options.isHttps });
  }

  /** With a hash that costs what new ones do. Sessions of that name that are there end by it, once. */
  async #renewed(account: Account, password: string): Promise<Account> {
    const { store, hasher } = this.#options;
    if (!hasher.isOutdated(account.hash)) return account;
    const renewed = { name: account.name, hash: await hasher.hash(password) };
    // Not over a password that was set while this one was hashed.
    if ((await store.account(account.name))?.hash !== account.hash) return account;
    await store.putAccount(renewed);
    return renewed;
  }
}

const keyOf = (secret: string): string => sha256(secret).toString('hex');
