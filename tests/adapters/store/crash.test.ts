import { spawn } from 'node:child_process';
import { createInterface } from 'node:readline';
import { describe, expect, test } from 'vitest';
import type { StoreOptions } from '../../../adapters/store/contract.js';
import { openDatabase, optionsIn, seeded, tempDir } from './helpers.js';

const STORE = new URL('../../../dist/adapters/store/store.js', import.meta.url).href;
const ROUNDS = 8;

/** Commits one to three events at a time without end, and writes each number only when it was answered. */
const CHILD = `
  import { writeSync } from 'node:fs';
  const options = JSON.parse(process.argv[1]);
  const { openStore } = await import(${JSON.stringify(STORE)});
  const store = await openStore(options);
  const draft = (alert) => ({ t: 0, alert, cause: null, rule: 'air-low', kind: 'equipment', subject: 'air/service', place: '',
    change: 'raised', reason: null, urgency: 'plan', was: null, sinceAgoMs: 0, trailer: null, measured: null, evidence: null,
    forecast: null, advice: 'x'.repeat(500), basis: '', vehicle: { speed: null, lat: null, lon: null, ageS: null } });
  const by = { config: '9c1e44d0', version: '0.1.0' };
  let alert = store.opened.lastSeq;
  const run = async () => {
    for (;;) {
      const events = Array.from({ length: 1 + (alert % 3) }, () => draft(++alert));
      const history = [{ subject: 'air/service', quantity: 'pressure', t: alert * 60000, min: 1, max: 2, last: 1, count: 1 }];
      const numbered = await store.commit({ t: alert * 1000, by, events, open: null, state: JSON.stringify(alert), history, records: [], trip: null });
      writeSync(1, numbered.map((e) => e.seq + '\\n').join(''));
    }
  };
  await Promise.all([run(), run()]);
`;

/** Kills the child without warning after so many answered events; gives the last number that was answered. */
async function killedAfter(options: StoreOptions, events: number): Promise<number> {
  const child = spawn(process.execPath, ['--input-type=module', '-e', CHILD, JSON.stringify(options)], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const closed = new Promise((resolve) => child.once('close', resolve));
  let answered = 0;
  let seen = 0;
  for await (const line of createInterface({ input: child.stdout })) {
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
