import { parentPort } from 'node:worker_threads';
import { type Job, type Ran, runShift } from './shifts-run.js';

/** What the thread says: how far a shift is, and at its end what came of it. */
export type Said = { share: number; ran?: never } | { ran: Ran; share?: never };

const port = parentPort!;

// One after the other: the next one is sent when this one is answered.
port.on('message', async (job: Job) => {
  const say = (said: Said): void => port.postMessage(said);
  say({ ran: await runShift(job, (share) => say({ share })) });
});
