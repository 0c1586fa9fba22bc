import { Suspects } from './suspects.js';

/** Messages of which one is on its way at a time, in the order in which they are sent: the newest, or the oldest that waits (`gap`, `trip`). */
export const LATEST = ['open', 'presence', 'gap', 'trip', 'reading'] as const;
export type Latest = (typeof LATEST)[number];

/** What the board at the office is made of. */
const BOARD = ['open', 'presence'] as const;

/** Which of them have changed, are on their way, or have been answered on this connection; at most one of a kind is on its way. */
export class LatestMessages {
  readonly #suspects = new Suspects<Latest>();
  #postponed: ReadonlySet<Latest> = new Set();
  readonly #dirty = new Set<Latest>();
  readonly #sending = new Set<Latest>();
  readonly #answered = new Set<Latest>();

  changed(name: Latest): void {
    this.#dirty.add(name);
  }

  /** A new connection: the broker may have forgotten everything. True: some wait until `trust`. */
  restart(): boolean {
    this.#suspects.down();
    this.#postponed = new Set(LATEST.filter((name) => this.#suspects.has(name)));
    this.#sending.clear();
    this.#answered.clear();
    for (const name of LATEST) this.#dirty.add(name);
    return this.#postponed.size > 0;
  }

  /** The connection has lasted: what is suspected may go. */
  trust(): void {
    this.#postponed = new Set();
  }

  /** The next one to send, taken; null when there is none. */
  take(): Latest | null {
    const name = LATEST.find((each) => this.#dirty.has(each) && !this.#sending.has(each) && !this.#postponed.has(each));
    if (name === undefined) return null;
    this.#suspects.sent(name);
    this.#dirty.delete(name);
    this.#sending.add(name);
    return name;
  }

  /** It has arrived, or is not wanted, or there was nothing to send. */
  answered(name: Latest): void {
    this.#suspects.answered(name);
    this.#sending.delete(name);
    this.#answered.add(name);
  }

  /** `open` and `presence` have been answered on this connection, or broke three before it. */
  get boardCurrent(): boolean {
    return BOARD.every((name) => this.#answered.has(name) || this.#postponed.has(name));
  }

  get idle(): boolean {
    return this.#dirty.size === 0 && this.#sending.size === 0;
  }
}
