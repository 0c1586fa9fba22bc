import type { NumberedEvent } from '../../daemon/alerts/numbered.js';

/** Events of volatile mode kept while there is no connection; the oldest go first. */
export const MAX_VOLATILE = 256;

/** Events that the store could not take. Memory is all they have, so they stay until they are acknowledged. */
export class VolatileQueue {
  #events: NumberedEvent[] = [];
  #sent = 0;
  dropped = 0;

  push(events: readonly NumberedEvent[]): void {
    this.#events.push(...events);
    const excess = this.#events.length - MAX_VOLATILE;
    if (excess <= 0) return;
    this.#events.splice(0, excess);
    this.#sent = Math.max(0, this.#sent - excess);
    this.dropped += excess;
  }

  /** A new connection: all that is not acknowledged goes out again. */
  restart(): void {
    this.#sent = 0;
  }

  /** The next one to send; null when all are on their way. */
  take(): NumberedEvent | null {
    const event = this.#events[this.#sent];
    if (event === undefined) return null;
    this.#sent += 1;
    return event;
  }

  acknowledged(event: NumberedEvent): void {
    const index = this.#events.indexOf(event);
    if (index < 0) return;
    this.#events.splice(index, 1);
    if (index < this.#sent) this.#sent -= 1;
  }

  get empty(): boolean {
    return this.#events.length === 0;
  }
}
