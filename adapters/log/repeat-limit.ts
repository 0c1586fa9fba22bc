import type { PublisherClock } from '../mqtt/clock.js';

/** Lines of one kind within one window; those after them are counted. */
const MOST_LINES = 5;
const WINDOW_MS = 60_000;
/** Kinds that are watched at once. Past it the oldest is let go: it may say its five lines again. */
const MOST_KINDS = 256;

interface Kind {
  sinceMs: number;
  lines: number;
  suppressed: number;
  tell: (suppressed: number) => void;
  cancel: () => void;
}

/** Lets a line through five times a minute, and at the end of the minute tells how often it was left out. */
export class RepeatLimit {
  /** Lines left out since the start. */
  suppressed = 0;
  readonly #timers: Pick<PublisherClock, 'nowMs' | 'after'>;
  readonly #kinds = new Map<string, Kind>();

  constructor(timers: Pick<PublisherClock, 'nowMs' | 'after'>) {
    this.#timers = timers;
  }

  /** May a line of this kind be written now? `tell` is called later if lines of this kind could not. */
  admit(key: string, tell: (suppressed: number) => void): boolean {
    const now = this.#timers.nowMs();
    let kind = this.#kinds.get(key);
    if (kind !== undefined && now - kind.sinceMs >= WINDOW_MS) {
      this.#end(key, kind);
      kind = undefined;
    }
    if (kind === undefined) {
      this.#makeRoom();
      kind = { sinceMs: now, lines: 0, suppressed: 0, tell, cancel: () => {} };
      this.#kinds.set(key, kind);
    }
    if (kind.lines < MOST_LINES) {
      kind.lines++;
      return true;
    }
    this.#suppress(key, kind, now);
    return false;
  }

  /** Tells at once what would be told later. */
  close(): void {
    for (const [key, kind] of [...this.#kinds]) this.#end(key, kind);
  }

  #suppress(key: string, kind: Kind, now: number): void {
    this.suppressed++;
    kind.suppressed++;
    if (kind.suppressed === 1) {
      kind.cancel = this.#timers.after(kind.sinceMs + WINDOW_MS - now, () => this.#end(key, kind));
    }
  }

  #end(key: string, kind: Kind): void {
    kind.cancel();
    this.#kinds.delete(key);
    if (kind.suppressed > 0) kind.tell(kind.suppressed);
  }

  #makeRoom(): void {
    for (const [key, kind] of this.#kinds) {
      if (this.#kinds.size < MOST_KINDS) return;
      this.#end(key, kind);
    }
  }
}
