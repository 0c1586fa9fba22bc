import { type ResourceLimits, Worker, type WorkerOptions } from 'node:worker_threads';
import { workerFile } from '../../adapters/store/worker-file.js';
import { lineOf } from './failure.js';
import type { Job, Ran } from './shifts-run.js';
import type { Said } from './shifts-worker.js';

/** What is told while shifts run; by their index in the list of jobs. */
export interface PoolEvents {
  onBegin(index: number): void;
  /** 0…1 */
  onShare(index: number, share: number): void;
  onEnd(index: number, ran: Ran): void;
}

/**
 * Replays shifts in so many threads at once. Threads and not processes: two of them need some 80 MB less and are there sooner,
 * as the program is in memory already (measured: 107 against 187 MB at the first frame).
 */
export class Pool {
  readonly #events: PoolEvents;
  readonly #options: WorkerOptions;
  readonly #lanes = new Set<Lane>();
  #stopped = false;

  /** @param scratch folder for what is unpacked on the way @param limits of each thread's memory; default: those of the program */
  constructor(scratch: string, events: PoolEvents, limits: ResourceLimits = {}) {
    this.#events = events;
    this.#options = { env: { ...process.env, TMPDIR: scratch }, resourceLimits: limits, execArgv: [], name: 'shifts' };
  }

  /** All jobs to their ends, those at the front of `order` first. Returns early when it is stopped. */
  async run(jobs: readonly Job[], order: readonly number[], threads: number): Promise<void> {
    const waiting = [...order];
    const work = async (): Promise<void> => {
      const lane = new Lane(this.#options);
      this.#lanes.add(lane);
      for (let next = waiting.shift(); next !== undefined && !this.#stopped; next = waiting.shift()) {
        const index = next;
        this.#events.onBegin(index);
        const ran = await lane.run(jobs[index]!, (share) => this.#events.onShare(index, share));
        if (!this.#stopped) this.#events.onEnd(index, ran);
      }
      await lane.end();
    };
    await Promise.all(Array.from({ length: Math.min(threads, jobs.length) }, work));
  }

  /** Ends all threads where they are. */
  async stop(): Promise<void> {
    this.#stopped = true;
    await Promise.all([...this.#lanes].map((lane) => lane.end()));
  }
}

/** A shift that a thread is at. */
interface Task {
  beganMs: number;
  onShare(share: number): void;
  resolve(ran: Ran): void;
}

/** A thread that replays one shift after the other. Where it died a new one takes the next shift. */
class Lane {
  readonly #options: WorkerOptions;
  #worker: Worker | null = null;
  #task: Task | null = null;

  constructor(options: WorkerOptions) {
    this.#options = options;
  }

  /** Never rejects. */
  run(job: Job, onShare: (share: number) => void): Promise<Ran> {
    return new Promise((resolve) => {
      this.#task = { beganMs: performance.now(), onShare, resolve };
      this.#worker ??= this.#start();
      this.#worker.postMessage(job);
    });
  }

  async end(): Promise<void> {
    await this.#worker?.terminate();
  }

  #start(): Worker {
    const worker = new Worker(workerFile('shifts'), this.#options);
    worker.on('message', ({ share, ran }: Said) => {
      if (ran === undefined) this.#task?.onShare(share);
      else this.#answer(ran);
    });
    worker.on('error', (error) => this.#died(lineOf(error)));
    worker.on('exit', (code) => {
      this.#worker = null;
      this.#died(`its thread ended with code ${code}`);
    });
    return worker;
  }

  #died(failure: string): void {
    if (this.#task === null) return;
    const seconds = (performance.now() - this.#task.beganMs) / 1000;
    this.#answer({ events: [], whole: false, warnings: [], reported: false, failure, seconds });
  }

  #answer(ran: Ran): void {
    const task = this.#task;
    this.#task = null;
    task?.resolve(ran);
  }
}
