/** Topics whose last message the broker refused: said once, until it takes one again. */
export class Refusals {
  /** Messages refused so far. */
  count = 0;
  readonly #why = new Map<string, string>();
  readonly #say: (line: string) => void;

  constructor(say: (line: string) => void) {
    this.#say = say;
  }

  refused(topic: string, why: string): void {
    this.count += 1;
    if (this.#why.get(topic) === why) return;
    this.#why.set(topic, why);
    this.#say(`the broker refuses what is sent to ${topic} (${why}): it waits and is sent again`);
  }

  accepted(topic: string): void {
    this.#why.delete(topic);
  }
}
