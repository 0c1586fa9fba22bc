/** Text of one save. A full 500 kbit/s bus fills it in a quarter of a second, a truck in some four seconds. */
export const TEXT_BYTES = 2 ** 16;
/** Text that waits for the disk: 4 MB, a minute of a busy truck. Beyond it frames are not recorded. */
const MOST_TEXTS = 64;
/** Kept for later when the disk is fast again. */
const MOST_FREE = 4;

export interface Text {
  readonly bytes: Uint8Array;
  length: number;
  frames: number;
}

/** Buffers for lines; so many and no more. */
export class TextPool {
  readonly #most: number;
  readonly #free: Text[] = [];
  #inUse = 0;

  constructor(most: number = MOST_TEXTS) {
    this.#most = most;
  }

  get waitingBytes(): number {
    return this.#inUse * TEXT_BYTES;
  }

  /** null: all of them wait for the disk. */
  take(): Text | null {
    if (this.#inUse >= this.#most) return null;
    this.#inUse++;
    return this.#free.pop() ?? { bytes: new Uint8Array(TEXT_BYTES), length: 0, frames: 0 };
  }

  give(text: Text): void {
    this.#inUse--;
    text.length = 0;
    text.frames = 0;
    if (this.#free.length < MOST_FREE) this.#free.push(text);
  }
}
