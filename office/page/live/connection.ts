import type { LiveMessage } from '../board/state.js';
import { EventStream } from './sse.js';

/** The office says something every 15 s, if only a comment: so long without it, and the line is dead. */
const SILENT_MS = 40_000;
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 15_000;

export interface Listener {
  message(message: LiveMessage): void;
  /** The line is up, or has gone down. */
  live(isLive: boolean): void;
  /** Nobody is signed in any more. */
  signedOut(): void;
}

/** Keeps one live line to the office until it is closed; comes back by itself. */
export class Connection {
  readonly #listener: Listener;
  #abort = new AbortController();
  #isClosed = false;
  #waitMs = FIRST_WAIT_MS;
  #retry: ReturnType<typeof setTimeout> | undefined;
  #watchdog: ReturnType<typeof setTimeout> | undefined;

  constructor(listener: Listener) {
    this.#listener = listener;
    window.addEventListener('online', this.#now);
    void this.#run();
  }

  close(): void {
    this.#isClosed = true;
    window.removeEventListener('online', this.#now);
    clearTimeout(this.#retry);
    clearTimeout(this.#watchdog);
    this.#abort.abort();
  }

  async #run(): Promise<void> {
    this.#retry = undefined;
    this.#abort = new AbortController();
    this.#feedWatchdog();
    try {
      const response = await fetch('/live', {
        signal: this.#abort.signal,
        cache: 'no-store',
        headers: { accept: 'text/event-stream' },
      });
      if (response.status === 401) {
        this.close();
        return this.#listener.signedOut();
      }
      if (response.ok && response.body !== null) await this.#read(response.body);
    } catch {
      // Away, or cut by the watchdog: told by `live`.
    }
    clearTimeout(this.#watchdog);
    if (this.#isClosed) return;
    this.#listener.live(false);
    // Not all pages of a restarted office at the same instant.
    this.#retry = setTimeout(() => void this.#run(), this.#waitMs * (0.5 + Math.random() / 2));
    this.#waitMs = Math.min(LONGEST_WAIT_MS, this.#waitMs * 2);
  }

  async #read(body: ReadableStream<Uint8Array<ArrayBuffer>>): Promise<void> {
    const stream = new EventStream((event, data) => {
      if (event === 'board') {
        this.#waitMs = FIRST_WAIT_MS;
        this.#listener.live(true);
      }
      this.#listener.message({ event, data: JSON.parse(data) } as LiveMessage);
    });
    const reader = body.pipeThrough(new TextDecoderStream()).getReader();
    for (let piece = await reader.read(); !piece.done; piece = await reader.read()) {
      this.#feedWatchdog();
      stream.push(piece.value);
    }
  }

  #feedWatchdog(): void {
    clearTimeout(this.#watchdog);
    this.#watchdog = setTimeout(() => this.#abort.abort(), SILENT_MS);
  }

  readonly #now = (): void => {
    if (this.#retry === undefined) return;
    clearTimeout(this.#retry);
    void this.#run();
  };
}
