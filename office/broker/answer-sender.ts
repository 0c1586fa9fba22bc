import type { Connection } from '../../adapters/mqtt/connection.js';
import { WINDOW } from '../../adapters/mqtt/publisher-options.js';

/** The world's: away, or it does not want this one. One line without address and credentials. */
export class LinkError extends Error {}

interface Waiting {
  payload: string;
  settle: ((error: LinkError | null) => void)[];
}

/**
 * Sends answers, retained, no more at once than the broker takes. Of two answers to one truck that wait here only the newer is sent, so
 * there are never more than trucks.
 */
export class AnswerSender {
  #connection: Connection | null = null;
  readonly #waiting = new Map<string, Waiting>();
  readonly #inFlight = new Set<Waiting>();

  up(connection: Connection): void {
    this.#connection = connection;
  }

  /** What was not acknowledged fails: it may or may not have arrived. */
  down(): void {
    this.#connection = null;
    const lost = [...this.#inFlight, ...this.#waiting.values()];
    this.#inFlight.clear();
    this.#waiting.clear();
    for (const { settle } of lost) for (const each of settle) each(new LinkError('the broker is away'));
  }

  /** Resolves at the PUBACK. Rejects with a LinkError. */
  send(topic: string, payload: string): Promise<void> {
    return new Promise((resolve, reject) => {
      if (this.#connection === null) {
        reject(new LinkError('the broker is away'));
        return;
      }
      const waiting = this.#waiting.get(topic);
      const settle = (error: LinkError | null): void => (error === null ? resolve() : reject(error));
      this.#waiting.set(topic, { payload, settle: [...(waiting?.settle ?? []), settle] });
      this.pump();
    });
  }

  /** Sends what may be sent now. Called whenever something on the connection was acknowledged. */
  pump(): void {
    const connection = this.#connection;
    if (connection === null) return;
    for (const [topic, each] of this.#waiting) {
      if (connection.inFlight >= Math.min(WINDOW, connection.receiveMaximum)) return;
      this.#waiting.delete(topic);
      this.#inFlight.add(each);
      const settle = (error: LinkError | null): void => {
        this.#inFlight.delete(each);
        for (const one of each.settle) one(error);
        this.pump();
      };
      connection.send(topic, each.payload, true, {
        acknowledged: () => settle(null),
        refused: (why) => settle(new LinkError(`the broker refuses ${topic}: ${why}`)),
      });
    }
  }
}
