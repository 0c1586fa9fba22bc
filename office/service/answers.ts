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
  /** The broker has not taken these: the last of each truck. */
  readonly #unsent = new Map<string, Unsent>();
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

  /** The broker is there again. Only what it did not take: a newer answer may be said while this goes on, and must stay the last. */
  async resend(): Promise<void> {
    for (const [name, unsent] of [...this.#unsent]) {
      if (unsent.isOnItsWay || this.#unsent.get(name) !== unsent) continue;
      if (!(await this.#offer(name, unsent))) return;
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
    const unsent = { key, answer, isOnItsWay: false };
    this.#unsent.set(name, unsent);
    await this.#offer(name, unsent);
  }

  /** False: it stays among the unsent. */
  async #offer(name: string, unsent: Unsent): Promise<boolean> {
    unsent.isOnItsWay = true;
    try {
      await this.#options.publish(unsent.key, unsent.answer);
    } catch {
      unsent.isOnItsWay = false;
      return false;
    }
    this.counts.published++;
    if (this.#unsent.get(name) === unsent) this.#unsent.delete(name);
    return true;
  }
}

interface Unsent {
  key: TruckKey;
  answer: AnswerMessage;
  isOnItsWay: boolean;
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
