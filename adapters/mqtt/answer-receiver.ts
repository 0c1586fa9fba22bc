import type { PublisherClock } from './clock.js';
import type { Connection } from './connection.js';
import { type AnswerMessage, answerSchema, MAX_ANSWER_BYTES, parsePayload } from './messages.js';
import { SUSPECT_MS, Suspects } from './suspects.js';

/** An office says a few in a minute. Beyond it only the newest counts, as each says all that the office wants. */
const MOST_PER_SECOND = 20;
const SECOND_MS = 1_000;

export interface AnswerReceiverOptions {
  topic: string;
  clock: Pick<PublisherClock, 'after' | 'nowMs'>;
  /** Nothing waits longer than this for the broker's word on the subscription. */
  subackMs: number;
  /** A whole, valid answer. */
  onAnswer(answer: AnswerMessage): void;
  /** The subscription is decided, or is not waited for any longer. */
  ready(): void;
  warn(line: string): void;
}

/** Subscribes to the office's answers on each connection and reads them: bounded, validated, what is none dropped and counted. */
export class AnswerReceiver {
  readonly count = { answers: 0, answersDropped: 0, answerRefused: 0 };
  readonly #options: AnswerReceiverOptions;
  readonly #suspects = new Suspects<'answer'>();
  #cancelWait: () => void = () => {};
  #secondMs = Number.NEGATIVE_INFINITY;
  #inSecond = 0;
  #held: Uint8Array | null = null;
  #cancelHeld: () => void = () => {};

  constructor(options: AnswerReceiverOptions) {
    this.#options = options;
  }

  /** `ready` is called soon, and again when the broker has answered. */
  up(connection: Pick<Connection, 'subscribe'>): void {
    const { clock, subackMs, ready } = this.#options;
    if (this.#suspects.has('answer')) {
      this.#cancelWait = clock.after(SUSPECT_MS, () => this.#subscribe(connection));
      ready();
      return;
    }
    this.#cancelWait = clock.after(subackMs, ready);
    this.#subscribe(connection);
  }

  /** The connection has ended; harmless without one. */
  down(): void {
    this.#cancelWait();
    this.#cancelHeld();
    // Answers are retained: the newest comes again.
    this.#held = null;
    this.#suspects.down();
  }

  #subscribe(connection: Pick<Connection, 'subscribe'>): void {
    const { topic, ready, warn } = this.#options;
    this.#suspects.sent('answer');
    connection.subscribe([topic], ([granted]) => {
      this.#cancelWait();
      this.#suspects.answered('answer');
      if (granted !== true) {
        this.count.answerRefused += 1;
        warn(`the broker refuses the subscription to ${topic}: nothing from the office will arrive`);
      }
      ready();
    });
  }

  message(topic: string, payload: Uint8Array): void {
    if (topic !== this.#options.topic || payload.length === 0 || this.#isTooSoon(payload)) return;
    const { message: answer, error } = parsePayload(answerSchema, payload, MAX_ANSWER_BYTES);
    if (answer === null) {
      this.count.answersDropped += 1;
      this.#options.warn(`an answer of the office was dropped: ${error}`);
      return;
    }
    this.count.answers += 1;
    this.#options.onAnswer(answer);
  }

  /** Too many in this second: the newest of them is read when it is over. */
  #isTooSoon(payload: Uint8Array): boolean {
    const { clock, topic } = this.#options;
    const nowMs = clock.nowMs();
    if (nowMs - this.#secondMs >= SECOND_MS) {
      this.#secondMs = nowMs;
      this.#inSecond = 0;
    }
    if (this.#inSecond++ < MOST_PER_SECOND) return false;
    if (this.#held === null) {
      this.#cancelHeld = clock.after(this.#secondMs + SECOND_MS - nowMs, () => {
        const newest = this.#held;
        this.#held = null;
        if (newest !== null) this.message(topic, newest);
      });
    }
    this.#held = payload;
    return true;
  }
}
