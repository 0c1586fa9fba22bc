import { Worker } from 'node:worker_threads';
import type {
  Commit,
  GapRecord,
  NumberedCheck,
  NumberedEvent,
  NumberedOpen,
  NumberedTrip,
  RunInfo,
  Store,
  StoreOpened,
  StoreOptions,
  StoreStats,
} from './contract.js';
import { StoreError } from './errors.js';
import type { CallName, Calls, Reply, Request } from './protocol.js';
import { workerFile } from './worker-file.js';

/** Calls that may wait for the worker; more are rejected. Live there are a few, a replay should await its commits. */
export const MAX_PENDING = 4_096;

interface Waiting {
  call: CallName | 'opening';
  resolve(answer: unknown): void;
  reject(error: Error): void;
}

/** A thin client: each call is one postMessage, answers come in order. */
class WorkerStore implements Store {
  readonly #worker: Worker;
  readonly #path: string;
  readonly #waiting: Waiting[] = [];
  readonly #ended: Promise<void>;
  #opened: StoreOpened | null = null;
  #pendingCommits = 0;
  #closing: Promise<void> | null = null;
  #death: StoreError | null = null;

  constructor(options: StoreOptions) {
    this.#path = options.path;
    // Without the main thread's own flags: --eval or --input-type would keep the worker from starting.
    this.#worker = new Worker(workerFile('store'), { workerData: { options }, name: 'store', execArgv: [] });
    this.#worker.on('message', (reply: Reply) => this.#settle(reply));
    this.#worker.on('error', (error) => this.#died(error));
    this.#ended = new Promise((resolve) => {
      this.#worker.once('exit', () => {
        this.#died(null);
        resolve();
      });
    });
  }

  async ready(): Promise<void> {
    await new Promise((resolve, reject) => this.#waiting.push({ call: 'opening', resolve, reject }));
  }

  get opened(): StoreOpened {
    if (this.#opened === null) throw new Error('not opened yet');
    return this.#opened;
  }

  get pending(): number {
    return this.#pendingCommits;
  }

  commit(commit: Commit): Promise<NumberedEvent[]> {
    return this.#call('commit', commit);
  }

  outbox(after: number, limit: number): Promise<NumberedEvent[]> {
    return this.#call('outbox', { after, limit });
  }

  confirm(seq: number): Promise<void> {
    return this.#call('confirm', seq);
  }

  gaps(): Promise<GapRecord[]> {
    return this.#call('gaps', null);
  }

  confirmGap(gap: GapRecord): Promise<void> {
    return this.#call('confirmGap', gap);
  }

  trips(limit: number): Promise<NumberedTrip[]> {
    return this.#call('trips', limit);
  }

  confirmTrip({ boot, trip }: { boot: number; trip: number }): Promise<void> {
    return this.#call('confirmTrip', { boot, trip });
  }

  checks(limit: number): Promise<NumberedCheck[]> {
    return this.#call('checks', limit);
  }

  confirmCheck({ boot, trip }: { boot: number; trip: number }): Promise<void> {
    return this.#call('confirmCheck', { boot, trip });
  }

  ordinals(ids: string[]): Promise<(number | null)[]> {
    return this.#call('ordinals', ids);
  }

  open(): Promise<NumberedOpen | null> {
    return this.#call('open', null);
  }

  clock(run: RunInfo): Promise<void> {
    return this.#call('clock', run);
  }

  stats(): Promise<StoreStats> {
    return this.#call('stats', null);
  }

  /** What was called before is done and answered first. Every further call gives the same promise. */
  close(): Promise<void> {
    this.#closing ??= this.#close();
    return this.#closing;
  }

  async #close(): Promise<void> {
    try {
      if (this.#death === null) await this.#send('close', null);
    } finally {
      await this.#ended;
    }
  }

  #call<N extends CallName>(call: N, argument: Calls[N]['argument']): Promise<Calls[N]['answer']> {
    if (this.#death !== null) return Promise.reject(this.#death);
    if (this.#closing !== null) {
      return Promise.reject(new StoreError('store-closed', `${this.#path}: the store is closed`));
    }
    if (this.#waiting.length >= MAX_PENDING) {
      return Promise.reject(new StoreError('store-behind', `${this.#path}: ${MAX_PENDING} calls wait for the disk`));
    }
    return this.#send(call, argument);
  }

  #send<N extends CallName>(call: N, argument: Calls[N]['argument']): Promise<Calls[N]['answer']> {
    return new Promise((resolve, reject) => {
      this.#worker.postMessage({ call, argument } as Request);
      this.#waiting.push({ call, resolve: resolve as Waiting['resolve'], reject });
      if (call === 'commit') this.#pendingCommits++;
    });
  }

  #settle(reply: Reply): void {
    const waiting = this.#waiting.shift();
    if (waiting === undefined) throw new Error('the store worker answered what was not asked');
    if (reply.opened !== undefined) this.#opened = reply.opened;
    if (waiting.call === 'commit') this.#pendingCommits--;
    if (reply.ok) waiting.resolve(reply.answer);
    else waiting.reject(new StoreError(reply.error.code, reply.error.message));
  }

  #died(cause: Error | null): void {
    if (this.#death !== null) return;
    const closed = cause === null && this.#closing !== null;
    const why = cause === null ? 'ended by itself' : cause.message;
    this.#death = closed
      ? new StoreError('store-closed', `${this.#path}: the store is closed`)
      : new StoreError('store-died', `${this.#path}: the store's worker ${why}`, { cause });
    for (const waiting of this.#waiting.splice(0)) waiting.reject(this.#death);
    this.#pendingCommits = 0;
  }
}

/**
 * Opens or creates the database in a worker thread of its own. Errors (`code`): 'store-exists', 'store-io', 'store-newer',
 * 'store-foreign', 'store-busy', 'store-full', 'store-corrupt'; see errors.ts.
 */
export async function openStore(options: StoreOptions): Promise<Store> {
  const store = new WorkerStore(options);
  await store.ready();
  return store;
}
