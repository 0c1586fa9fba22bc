import type { PublisherClock } from '../../adapters/mqtt/clock.js';
import type { Connection } from '../../adapters/mqtt/connection.js';
import { answerSchema } from '../../adapters/mqtt/messages.js';
import { TOPIC_VERSION } from '../../adapters/mqtt/topics.js';

/** Longest wait for the message that must come. */
const ECHO_MS = 10_000;
/** A broker may send retained messages a little after those that come just now. */
const GRACE_MS = 2_000;

const payloadOf = (rev: number): string =>
  JSON.stringify(answerSchema.parse({ v: 1, rev, received: null, trailer: null, decisions: [] }));
const RETAINED = payloadOf(0);
const LIVE = payloadOf(1);

/**
 * Finds out whether the broker gives retained messages to subscriptions with a wildcard, which it need not say and some do not. On
 * `answer` of a truck that does not exist, as that is all that the office may write: a retained message, then a subscription
 * with a wildcard, then a second message. Has the second come and not the first, it does not. The retained one is removed.
 */
export class RetainedProbe {
  readonly #clock: Pick<PublisherClock, 'after'>;
  readonly #topic: string;
  readonly #filter: string;
  readonly #acknowledged: () => void;
  #cancel: () => void = () => {};
  #heard: (payload: string) => void = () => {};

  /** fleet: one that the office hears; `+` when it hears all. acknowledged: called with each PUBACK, as there is room on the connection. */
  constructor(root: string, fleet: string, clock: Pick<PublisherClock, 'after' | 'random'>, acknowledged: () => void) {
    this.#clock = clock;
    this.#acknowledged = acknowledged;
    const name = `office-probe-${Math.floor(clock.random() * 36 ** 8).toString(36)}`;
    const base = `${root}/${TOPIC_VERSION}/${fleet === '+' ? 'office-probe' : fleet}/${name}`;
    this.#topic = `${base}/answer`;
    this.#filter = `${base}/+`;
  }

  /** Resolves null when it cannot be known: the broker lets us not write, or not hear it. Never for a connection that has ended. */
  run(connection: Connection): Promise<boolean | null> {
    this.down();
    return new Promise((resolve) => {
      const end = (result: boolean | null): void => {
        this.down();
        this.#publish(connection, '', true, () => {});
        resolve(result);
      };
      this.#heard = (payload) => {
        if (payload === RETAINED) end(true);
        if (payload === LIVE) this.#wait(GRACE_MS, () => end(false));
      };
      this.#wait(ECHO_MS, () => end(null));
      const refused = (): void => end(null);
      this.#publish(connection, RETAINED, true, refused, () => {
        connection.subscribe([this.#filter], ([granted]) => {
          if (granted !== true) refused();
          else this.#publish(connection, LIVE, false, refused);
        });
      });
    });
  }

  /** True when the message was the probe's own. */
  message(topic: string, payload: Uint8Array): boolean {
    if (topic !== this.#topic) return false;
    this.#heard(Buffer.from(payload).toString());
    return true;
  }

  down(): void {
    this.#cancel();
    this.#heard = () => {};
  }

  #wait(ms: number, late: () => void): void {
    this.#cancel();
    this.#cancel = this.#clock.after(ms, late);
  }

  #publish(connection: Connection, payload: string, retain: boolean, refused: () => void, taken = () => {}): void {
    const acknowledged = (): void => {
      taken();
      this.#acknowledged();
    };
    connection.send(this.#topic, payload, retain, { acknowledged, refused });
  }
}
