import type { Commit, NumberedEvent, NumberedOpen, RunInfo, StoreOpened, StoreOptions } from './contract.js';
import { StoreDatabase } from './database.js';
import { type StoreError, type StoreErrorCode, storeError } from './errors.js';
import { type Peeked, peek } from './peek.js';
import { disownAlerts, newStoreId } from './session.js';
import { Witness } from './witness.js';

/**
 * What keeps a file from being opened now and may pass: somebody may mend the disk, or put the newer program back. Until then
 * a truck that is judged and told of without a store is better off than one whose program ends again and again.
 */
const PASSING: readonly StoreErrorCode[] = ['store-io', 'store-full', 'store-busy', 'store-corrupt', 'store-newer'];
/** A path that is wrong stays so: that is for whoever wrote the truck file. */
const WRONG_PATH: readonly unknown[] = ['ENOENT', 'ENOTDIR', 'EISDIR', 'EACCES'];
/** Between two tries. Commits come every few seconds, and a disk that fails may take long to say so. */
const RETRY_MS = 5_000;
const VOLATILE_LENGTH = 11;

/**
 * A database that may be opened later than asked for: the disk is full, read-only or fails. Until then the state that it holds
 * is read as far as it can be, and everything else is refused with the reason.
 */
export class LateDatabase {
  readonly #options: StoreOptions;
  #run: RunInfo;
  #database: StoreDatabase | null = null;
  #why: StoreError | null = null;
  #triedMs = 0;
  #peeked: Peeked | null = null;
  #volatile: StoreOpened | null = null;
  #closed = false;
  readonly #witness: Witness | null;

  /** Errors: those of StoreDatabase; without `mayWait` all of them. */
  constructor(options: StoreOptions) {
    this.#options = options;
    this.#run = options.run;
    this.#witness = options.mayWait === true ? new Witness(options.path) : null;
    try {
      this.#database = new StoreDatabase(options);
    } catch (error) {
      this.#wait(storeError(error, options.path));
    }
  }

  get opened(): StoreOpened {
    return this.#database?.opened ?? this.#volatile!;
  }

  get isOpen(): boolean {
    return this.#database !== null;
  }

  /** The best known clock of this run, for a start that is still to be written down. */
  set run(run: RunInfo) {
    this.#run = run;
  }

  /** Opened now, if that is time again. Throws why it cannot be. */
  get database(): StoreDatabase {
    if (this.#database !== null) return this.#database;
    const now = performance.now();
    if (this.#closed || now - this.#triedMs < RETRY_MS) throw this.#why!;
    this.#triedMs = now;
    try {
      this.#database = this.#openLate();
      return this.#database;
    } catch (error) {
      this.#why = storeError(error, this.#options.path);
      throw this.#why;
    }
  }

  commit(commits: readonly Commit[]): NumberedEvent[][] {
    const { database } = this;
    const numbered = database.commit(commits);
    const last = numbered.flat().at(-1);
    if (last !== undefined) this.#witness?.gave({ store: last.store, boot: database.opened.boot, seq: last.seq });
    return numbered;
  }

  /** While it is not open: the list as it was when it was last written. */
  open(): NumberedOpen | null {
    return this.#peeked?.open ?? null;
  }

  maintain(): void {
    this.#database?.maintain();
  }

  close(): void {
    this.#closed = true;
    this.#database?.close();
  }

  #wait(why: StoreError): void {
    const wrong = WRONG_PATH.includes((why.cause as NodeJS.ErrnoException | undefined)?.code);
    if (this.#options.mayWait !== true || !PASSING.includes(why.code) || wrong) throw why;
    this.#why = why;
    this.#triedMs = performance.now();
    this.#peeked = peek(this.#options.path);
    this.#volatile = {
      store: `~${newStoreId(VOLATILE_LENGTH)}`,
      boot: this.#peeked === null ? 0 : this.#peeked.boot + 1,
      lastSeq: 0,
      restored: this.#peeked?.restored ?? null,
      notes: [`${why.message}; it is tried again every ${RETRY_MS / 1000} s`],
    };
  }

  /** The rules went on from what was read, or from nothing: their ordinals mean alerts of the file only in the first case. */
  #openLate(): StoreDatabase {
    const known = this.#peeked?.lastSeq ?? 0;
    return new StoreDatabase({ ...this.#options, run: this.#run }, (session) => {
      if (session.opened.lastSeq !== known) disownAlerts(session);
    });
  }
}
