import type { AnswerMessage } from '../../adapters/mqtt/messages.js';
import type { Answer, Decision } from '../input.js';
import { lineOf } from './failure.js';

export interface AnswersOptions {
  /** Alert ids → ordinals; null: not one of this store. */
  ordinals(ids: string[]): Promise<(number | null)[]>;
  /** Ordinal of an alert that was only told unstored, or null. */
  volatileOrdinal(id: string): number | null;
  hand(answer: Answer): void;
  log(line: string): void;
}

/**
 * Brings what the office decided to the pipeline: ids become ordinals. The office sends the whole of its answer with each
 * number that it confirms; one that wants nothing new is not handed on.
 */
export class Answers {
  /** Decisions about alerts that this truck does not know. */
  unknown = 0;
  readonly #options: AnswersOptions;
  #last = '';
  #before: Promise<void> = Promise.resolve();

  constructor(options: AnswersOptions) {
    this.#options = options;
  }

  /** In order, one after the other. */
  take({ trailer, decisions }: Pick<AnswerMessage, 'trailer' | 'decisions'>): Promise<void> {
    const text = JSON.stringify([trailer, decisions]);
    if (text === this.#last) return this.#before;
    this.#last = text;
    this.#before = this.#before.then(() => this.#resolve(trailer, decisions));
    return this.#before;
  }

  async #resolve(trailer: string | null, decisions: AnswerMessage['decisions']): Promise<void> {
    try {
      const ordinals = await this.#options.ordinals(decisions.map(({ alert }) => alert));
      const known = decisions.flatMap((decision, index): Decision[] => {
        const alert = ordinals[index] ?? this.#options.volatileOrdinal(decision.alert);
        if (alert === null) {
          this.unknown += 1;
          return [];
        }
        const { rev, do: what, who, note = null, minutes = null } = decision;
        return [{ rev, alert, do: what, who, note, minutes }];
      });
      this.#options.hand({ trailer, decisions: known });
    } catch (error) {
      // The office sends it again with its next confirmation; then it is new here.
      this.#last = '';
      this.#options.log(`an answer of the office waits: ${lineOf(error)}`);
    }
  }
}
