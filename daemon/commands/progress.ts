import type { Terminal } from './console.js';

const REDRAW_MS = 100;
const FULL = '#';
const EMPTY = '.';

/** A bar on one line of a terminal; nothing at all where the output is no terminal. */
export class Progress {
  readonly #terminal: Terminal;
  readonly #title: string;
  readonly #nowMs: () => number;
  #drawnMs = Number.NEGATIVE_INFINITY;
  #shown = false;

  constructor(terminal: Terminal, title: string, nowMs: () => number = () => performance.now()) {
    this.#terminal = terminal;
    this.#title = title;
    this.#nowMs = nowMs;
  }

  /** @param share 0…1, null: unknown @param note what has been reached, short */
  update(share: number | null, note: string): void {
    if (this.#terminal.isTTY !== true) return;
    const now = this.#nowMs();
    if (now - this.#drawnMs < REDRAW_MS && share !== 1) return;
    this.#drawnMs = now;
    const width = Math.max(10, Math.min(40, (this.#terminal.columns ?? 80) - this.#title.length - note.length - 12));
    const full = Math.round(width * (share ?? 0));
    const bar =
      share === null ? '' : `[${FULL.repeat(full)}${EMPTY.repeat(width - full)}] ${Math.floor(share * 100)} % `;
    this.#terminal.write(`\r\u001b[K${this.#title} ${bar}${note}`);
    this.#shown = true;
  }

  /** Takes the bar away. */
  end(): void {
    if (this.#shown) this.#terminal.write('\r\u001b[K');
    this.#shown = false;
  }
}
