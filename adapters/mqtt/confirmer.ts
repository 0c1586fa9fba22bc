/**
 * Hands confirmations to the store, one at a time and only the latest: a confirmation is a transaction, and what has come
 * meanwhile needs only one more.
 */
export class Confirmer {
  readonly #confirm: (seq: number) => Promise<void>;
  readonly #failed: (error: unknown) => void;
  readonly #finished: () => void;
  #wanted = 0;
  #done = 0;
  #busy = false;

  /** `finished` is called when the store has all that it was to be told. */
  constructor(confirm: (seq: number) => Promise<void>, failed: (error: unknown) => void, finished: () => void) {
    this.#confirm = confirm;
    this.#failed = failed;
    this.#finished = finished;
  }

  /** Everything up to and with seq has arrived. After a failure the next call tries again. */
  upTo(seq: number): void {
    this.#wanted = Math.max(this.#wanted, seq);
    if (this.#busy || this.#wanted <= this.#done) return;
    this.#busy = true;
    const target = this.#wanted;
    this.#confirm(target).then(
      () => {
        this.#busy = false;
        this.#done = target;
        this.upTo(target);
        if (!this.#busy) this.#finished();
      },
      (error: unknown) => {
        this.#busy = false;
        this.#failed(error);
      },
    );
  }

  get busy(): boolean {
    return this.#busy;
  }
}
