import { parentPort } from 'node:worker_threads';
import { driveJob } from './drive-job.js';

/** What a thread is asked, and what it answers. */
export interface Request {
  id: string;
  seed: number;
}

parentPort!.on('message', ({ id, seed }: Request) => parentPort!.postMessage(driveJob(id, seed)));
