import { type Dm1, decodeDm1 } from '../j1939/dm1.js';
import type { StreamMs } from '../time.js';

const MAX_SENDERS = 256;

/** The last DM1 of one sender. */
export interface CodesSeen {
  bus: number;
  sa: number;
  messages: number;
  lastAt: StreamMs;
  dm1: Dm1;
}

/** Active fault codes by sender: each DM1 tells all of them, so the last one holds. */
export class Codes {
  leftOut = 0;
  readonly #seen: CodesSeen[] = [];

  list(): readonly CodesSeen[] {
    return this.#seen;
  }

  dm1(t: StreamMs, bus: number, sa: number, data: Uint8Array, length: number): void {
    const dm1 = decodeDm1(data, length);
    const seen = this.#seen.find((one) => one.bus === bus && one.sa === sa);
    if (seen !== undefined) {
      seen.messages++;
      seen.lastAt = t;
      seen.dm1 = dm1;
    } else if (this.#seen.length >= MAX_SENDERS) this.leftOut++;
    else this.#seen.push({ bus, sa, messages: 1, lastAt: t, dm1 });
  }
}
