import { type MessagePort, parentPort, workerData } from 'node:worker_threads';
import type { Commit } from './contract.js';
import { storeError } from './errors.js';
import { LateDatabase } from './late.js';
import type { Reply, Request, WorkerData } from './protocol.js';

/** Commits that wait are written together, at most so many in one transaction. */
const MAX_GROUP = 64;

/** Owns the one connection that writes. Requests are done and answered in the order in which they came. */
class StoreWorker {
  readonly #port: MessagePort;
  readonly #late: LateDatabase;
  readonly #path: string;
  readonly #queue: Request[] = [];
  #announced: unknown;

  constructor(port: MessagePort, late: LateDatabase, path: string) {
    this.#port = port;
    this.#late = late;
    this.#path = path;
    this.#reply({ ok: true, answer: null });
    port.on('message', (request: Request) => {
      if (this.#queue.push(request) === 1) setImmediate(() => this.#drain());
    });
  }

  #drain(): void {
    for (const commits of this.#inOrder()) {
      this.#commit(commits);
      this.#late.maintain();
    }
  }

  /** Does all requests but commits on the way; yields each unbroken row of commits. */
  *#inOrder(): Generator<Commit[]> {
    const requests = this.#queue.splice(0);
    let commits: Commit[] = [];
    for (const request of requests) {
      if (request.call === 'commit') {
        commits.push(request.argument);
        if (commits.length < MAX_GROUP) continue;
      }
      if (commits.length > 0) yield commits;
      commits = [];
      if (request.call !== 'commit') this.#single(request);
    }
    if (commits.length > 0) yield commits;
  }

  /** Where they fail together each is tried alone, so that one that cannot be stored does not take others with it. */
  #commit(commits: Commit[]): void {
    try {
      for (const answer of this.#late.commit(commits)) this.#reply({ ok: true, answer });
    } catch (error) {
      if (commits.length === 1) this.#fail(error);
      else for (const commit of commits) this.#commit([commit]);
    }
  }

  #single(request: Exclude<Request, { call: 'commit' }>): void {
    try {
      this.#reply({ ok: true, answer: this.#answer(request) });
    } catch (error) {
      this.#fail(error);
    }
    if (request.call === 'close') this.#port.close();
  }

  #answer(request: Exclude<Request, { call: 'commit' }>): unknown {
    const late = this.#late;
    if (request.call === 'clock') late.run = request.argument;
    if (request.call === 'close') return late.close();
    if (request.call === 'open' && !late.isOpen) return late.open();
    const { database } = late;
    switch (request.call) {
      case 'outbox':
        return database.outbox(request.argument.after, request.argument.limit);
      case 'confirm':
        return database.confirm(request.argument);
      case 'gaps':
        return database.gaps();
      case 'confirmGap':
        return database.confirmGap(request.argument);
      case 'trips':
        return database.trips(request.argument);
      case 'confirmTrip':
        return database.confirmTrip(request.argument);
      case 'checks':
        return database.checks(request.argument);
      case 'confirmCheck':
        return database.confirmCheck(request.argument);
      case 'ordinals':
        return database.ordinals(request.argument);
      case 'open':
        return database.open();
      case 'clock':
        return database.clock(request.argument);
      case 'stats':
        return database.stats();
    }
  }

  #reply(reply: Reply): void {
    const { opened } = this.#late;
    if (opened !== this.#announced) reply.opened = opened;
    this.#announced = opened;
    this.#port.postMessage(reply);
  }

  #fail(error: unknown): void {
    const { code, message } = storeError(error, this.#path);
    this.#reply({ ok: false, error: { code, message } });
  }
}

function start(port: MessagePort): void {
  const { options } = workerData as WorkerData;
  try {
    new StoreWorker(port, new LateDatabase(options), options.path);
  } catch (error) {
    const { code, message } = storeError(error, options.path);
    port.postMessage({ ok: false, error: { code, message } } satisfies Reply);
    port.close();
  }
}

if (parentPort !== null) start(parentPort);
