import type { AnswerMessage } from '../../adapters/mqtt/messages.js';
import { lastAnswer } from '../core/answer.js';
import type { Incoming, TruckKey, TruckState } from '../core/model.js';
import type { OfficeClock } from './clock.js';

/** What a truck has not got is said to it again, no more often than this. */
const AGAIN_MS = 10_000;

export interface AnswersOptions {
  clock: OfficeClock;
  /** Resolves when the broker has it; rejects while it is away. */
  publish(key: TruckKey, answer: AnswerMessage): Promise<void>;
}

/** Sends what was stored as said, so that no revision says two things; what the broker has not taken is sent when it is there again. */
export class Answers {
  readonly counts = { published: 0, again: 0 };
  readonly #options: AnswersOptions;
  /** Revisions that a step here has made, and that may not be committed yet. */
  readonly #made = new Map<string, number>();
  /** The broker has not taken these. */
  readonly #unsent = new Map<string, { key: TruckKey; answer: AnswerMessage }>();
  readonly #againMs = new Map<string, number>();

  constructor(options: AnswersOptions) {
    this.#options = options;
  }

  /** A step has made this revision; it is sent when the row that has it comes to `stored`. */
  made(key: TruckKey, rev: number): void {
    this.#made.set(nameOf(key), rev);
  }

  stored(key: TruckKey, state: TruckState, messages: readonly Incoming[]): void {
    const name = nameOf(key);
    const last = state.published;
    if (last === null) return;
    if (this.#made.get(name) === last.rev) {
      this.#made.delete(name);
      this.#againMs.set(name, this.#options.clock.nowMs());
      void this.#send(key, state);
    } else if (messages.some((each) => mayLack(state, each))) {
      this.#sayAgain(key, state);
    }
  }

  /** The broker is there again. */
  async resend(): Promise<void> {
    for (const [name, { key, answer }] of [...this.#unsent]) {
      try {
        await this.#options.publish(key, answer);
      } catch {
        return;
      }
      this.counts.published++;
      if (this.#unsent.get(name)?.answer === answer) this.#unsent.delete(name);
    }
  }

  #sayAgain(key: TruckKey, state: TruckState): void {
    const name = nameOf(key);
    const nowMs = this.#options.clock.nowMs();
    if (nowMs - (this.#againMs.get(name) ?? 0) < AGAIN_MS) return;
    this.#againMs.set(name, nowMs);
    this.counts.again++;
    void this.#send(key, state);
  }

  async #send(key: TruckKey, state: TruckState): Promise<void> {
    const answer = lastAnswer(state);
    if (answer === null) return;
    const name = nameOf(key);
    this.#unsent.set(name, { key, answer });
    try {
      await this.#options.publish(key, answer);
      this.counts.published++;
      if (this.#unsent.get(name)?.answer === answer) this.#unsent.delete(name);
    } catch {
      // It stays among the unsent.
    }
  }
}

const nameOf = ({ fleet, truck }: TruckKey): string => `${fleet}/${truck}`;

/**
 * The truck may not have its last answer: a broker that is killed loses what it had acknowledged. It says an event again that was
 * confirmed, or speaks without having done what it was asked.
 */
function mayLack(state: TruckState, incoming: Incoming): boolean {
  if ((state.published?.decisions.length ?? 0) > 0) return true;
  return incoming.kind === 'event' && wasConfirmed(state, incoming.message);
}

function wasConfirmed({ published }: TruckState, { store, seq }: { store: string; seq: number }): boolean {
  const received = published?.received;
  return received !== null && received !== undefined && received.store === store && seq <= received.seq;
}
