/** Messages of which one is on its way at a time, in the order in which they are sent: the newest, or the oldest that waits (`gap`, `trip`). */
export const LATEST = ['open', 'presence', 'gap', 'trip', 'reading'] as const;
export type Latest = (typeof LATEST)[number];

/** Which of them have changed, are on their way, or have been acknowledged on this connection; at most one of a kind is on its way. */
export class LatestMessages {
  readonly #dirty = new Set<Latest>();
  readonly #sending = new Set<Latest>();
  readonly #acknowledged = new Set<Latest>();

  changed(name: Latest): void {
    this.#dirty.add(name);
  }

  /** A new connection: the broker may have forgotten everything. */
  restart(): void {
    this.#sending.clear();
    this.#acknowledged.clear();
    for (const name of LATEST) this.#dirty.add(name);
  }

  /** The next one to send, taken; null when there is none. */
  take(): Latest | null {
    const name = LATEST.find((each) => this.#dirty.has(each) && !this.#sending.has(each));
    if (name === undefined) return null;
    this.#dirty.delete(name);
    this.#sending.add(name);
    return name;
  }

  /** It has arrived, or there was nothing to send. */
  acknowledged(name: Latest): void {
    this.#sending.delete(name);
    this.#acknowledged.add(name);
  }

  /** `open` and `presence` have been acknowledged on this connection. */
  get boardCurrent(): boolean {
    return this.#acknowledged.has('open') && this.#acknowledged.has('presence');
  }

  get idle(): boolean {
    return this.#dirty.size === 0 && this.#sending.size === 0;
  }
}
