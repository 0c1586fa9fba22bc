import { randomBytes, scrypt, timingSafeEqual } from 'node:crypto';
import { WebError } from './errors.js';
import { WEB_LIMITS } from './limits.js';

/** Of scrypt (RFC 7914): it takes 128 × N × r bytes. */
export interface HashCost {
  N: number;
  r: number;
  p: number;
}

/** As OWASP's Password Storage Cheat Sheet recommends for scrypt: 128 MB, some tenths of a second. */
export const HASH_COST: HashCost = { N: 2 ** 17, r: 8, p: 1 };
/** A stored hash that asks for more is not ours, and must not exhaust the machine. */
const MOST_BYTES = 1 << 30;
const MOST_P = 16;
const SALT_BYTES = 16;
const KEY_BYTES = 32;
/** `scrypt:N=131072,r=8,p=1:<salt>:<key>`, both in base64url. */
const FORM = /^scrypt:N=(\d{1,10}),r=(\d{1,3}),p=(\d{1,3}):([\w-]{16,88}):([\w-]{43,88})$/;

interface Parsed {
  cost: HashCost;
  salt: Buffer;
  key: Buffer;
}

export interface HasherOptions {
  /** Of new hashes. Other than the default in tests. */
  cost?: HashCost;
  atOnce?: number;
  waiting?: number;
}

/** Hashes passwords, a few at a time, so that signing in cannot exhaust memory. Throws a WebError 503 when too many wait already. */
export class Hasher {
  /** Hashes under way and the most that there were; those that are done; who was refused, as too many waited. */
  readonly counts = { running: 0, mostRunning: 0, done: 0, refused: 0 };
  readonly #cost: HashCost;
  readonly #atOnce: number;
  readonly #waiting: number;
  readonly #queue: (() => void)[] = [];

  constructor(options: HasherOptions = {}) {
    this.#cost = options.cost ?? HASH_COST;
    this.#atOnce = options.atOnce ?? WEB_LIMITS.hashesAtOnce;
    this.#waiting = options.waiting ?? WEB_LIMITS.hashesWaiting;
  }

  async hash(password: string): Promise<string> {
    const salt = randomBytes(SALT_BYTES);
    const key = await this.#derive(password, { cost: this.#cost, salt, key: Buffer.alloc(KEY_BYTES) });
    return write({ cost: this.#cost, salt, key });
  }

  /** hash: null for a name that is not known; the answer is no, and takes the time of a yes. */
  async check(password: string, hash: string | null): Promise<boolean> {
    const known = hash === null ? null : parse(hash);
    const against = known ?? { cost: this.#cost, salt: randomBytes(SALT_BYTES), key: randomBytes(KEY_BYTES) };
    const isEqual = timingSafeEqual(await this.#derive(password, against), against.key);
    return known !== null && isEqual;
  }

  /** It was made with less than new ones are: to be made anew when the password is known, at the next sign-in. */
  isOutdated(hash: string): boolean {
    const of = parse(hash)?.cost;
    if (of === undefined) return false;
    const { N, r, p } = this.#cost;
    return of.N * of.r < N * r || of.N * of.r * of.p < N * r * p;
  }

  async #derive(password: string, { cost: { N, r, p }, salt, key }: Parsed): Promise<Buffer> {
    await this.#enter();
    try {
      return await new Promise((resolve, reject) => {
        // Room for the working set and a little more: Node refuses what is over it.
        const maxmem = 128 * r * (N + p + 64);
        scrypt(password.normalize('NFC'), salt, key.length, { N, r, p, maxmem }, (error, derived) =>
          error === null ? resolve(derived) : reject(error),
        );
      });
    } finally {
      this.#leave();
    }
  }

  async #enter(): Promise<void> {
    if (this.counts.running >= this.#atOnce) {
      if (this.#queue.length >= this.#waiting) {
        this.counts.refused++;
        throw new WebError(503, 'too many people sign in at once; try again in a moment', { 'retry-after': '5' });
      }
      // Who leaves hands its place over.
      await new Promise<void>((resolve) => this.#queue.push(resolve));
      return;
    }
    this.counts.running++;
    this.counts.mostRunning = Math.max(this.counts.mostRunning, this.counts.running);
  }

  #leave(): void {
    this.counts.done++;
    const next = this.#queue.shift();
    if (next === undefined) this.counts.running--;
    else next();
  }
}

const write = ({ cost: { N, r, p }, salt, key }: Parsed): string =>
  `scrypt:N=${N},r=${r},p=${p}:${salt.toString('base64url')}:${key.toString('base64url')}`;

function parse(hash: string): Parsed | null {
  const [, n, rs, ps, salt, key] = FORM.exec(hash) ?? [];
  if (salt === undefined || key === undefined) return null;
  const [N, r, p] = [Number(n), Number(rs), Number(ps)];
  const isPower = N > 1 && Number.isInteger(Math.log2(N));
  if (!isPower || r < 1 || p < 1 || p > MOST_P || 128 * N * r > MOST_BYTES) return null;
  return { cost: { N, r, p }, salt: Buffer.from(salt, 'base64url'), key: Buffer.from(key, 'base64url') };
}
