import { describe, expect, test } from 'vitest';
import type { StoreOptions } from '../../../adapters/store/contract.js';
import { openDatabase, optionsIn, seeded, tempDir } from './helpers.js';
import { startWriter } from './writer-child.js';

const ROUNDS = 8;

/** Kills the child without warning after so many answered events; gives the last number that was answered. */
async function killedAfter(options: StoreOptions, events: number): Promise<number> {
  const { child, lines } = startWriter(options);
  const closed = new Promise((resolve) => child.once('close', resolve));
  let answered = 0;
  let seen = 0;
  for await (const line of lines) {
    answered = Math.max(answered, Number(line));
    if (++seen === events) child.kill('SIGKILL');
  }
  await closed;
  expect(child.signalCode).toBe('SIGKILL');
  return answered;
}

/** The process dies; that the disk keeps what it was told to (power cut) rests on synchronous=FULL and is not tested here. */
describe('kill -9 amid commits', () => {
  test('every answered commit is there with its state, and seq has no hole', { timeout: 60_000 }, async () => {
    const random = seeded('crash');
    const options = optionsIn(tempDir());
    let before = 0;
    for (let round = 1; round <= ROUNDS; round++) {
      const answered = await killedAfter(options, 1 + Math.floor(random() * 150));
      const db = openDatabase(options);
      const { lastSeq, boot, restored, notes } = db.opened;
      expect(notes).toEqual([]);
      expect(boot).toBe(2 * round);
      expect(lastSeq).toBeGreaterThanOrEqual(answered);
      expect(lastSeq).toBeGreaterThan(before);
      const seqs = db.connection.prepare('SELECT seq FROM events ORDER BY seq').pluck().all();
      expect(seqs).toEqual(Array.from({ length: lastSeq }, (_, n) => n + 1));
      // Event, state and outbox are one transaction: the state is that of the last event's commit.
      expect(restored?.state).toBe(String(lastSeq));
      expect(db.stats().outbox).toBe(lastSeq);
      before = lastSeq;
      db.close();
    }
  });
});
