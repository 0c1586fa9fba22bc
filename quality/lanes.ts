import { Worker } from 'node:worker_threads';
import type { Outcome } from './judge.js';
import type { Drive } from './run.js';

/** A thread that drives one scenario after the other; compiled files only. A new one is started where one has died. */
export class Lane {
  private worker: Worker | null = null;

  readonly drive: Drive = (id, seed) =>
    new Promise<Outcome>((resolve, reject) => {
      this.worker ??= new Worker(new URL('./worker.js', import.meta.url));
      const { worker } = this;
      const died = (error: Error): void => {
        this.worker = null;
        reject(error);
      };
      worker.removeAllListeners();
      worker.once('error', died);
      worker.once('message', resolve);
      worker.postMessage({ id, seed });
    });

  async end(): Promise<void> {
    await this.worker?.terminate();
    this.worker = null;
  }
}
