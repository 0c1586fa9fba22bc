import { spawn } from 'node:child_process';
import { createInterface } from 'node:readline';
import { describe, expect, test } from 'vitest';
import { printedSeed } from '../../support/seed.js';
import { seeded } from './random.js';
import { all, openSqlite, pathIn, tempDir } from './stores.js';

const STORE = new URL('../../../dist/office/store/sqlite.js', import.meta.url).href;
const ROUNDS = 6;
const TRUCKS = 5;
const EVENTS = 3;

/** Receives three events of each of five trucks at a time, without end, and writes how often only when it was answered. */
const CHILD = `
  import { writeSync } from 'node:fs';
  const [path] = process.argv.slice(1);
  const { openSqliteStore } = await import(${JSON.stringify(STORE)});
  const store = await openSqliteStore({ path });
  const event = (truck, seq) => ({ kind: 'event', receivedMs: seq, message: { fleet: 'northline', truck, store: 's', seq, at: '',
    alert: 'a', rule: 'r', subject: 's', change: 'raised', urgency: 'plan', advice: 'x'.repeat(900) } });
  const fold = ({ fleet, truck }, state, fresh) => ({
    state: { ...state, revision: state.revision + 1, rev: state.rev + fresh.length },
    notices: [{ why: 'raised', channel: 'desk', fleet, truck, trailer: null, alert: { id: 'a' + state.revision }, ending: null, ms: 0 }],
  });
  let n = (await store.truck({ fleet: 'northline', truck: 'T-0' }))?.revision ?? 0;
  for (;;) {
    const batches = Array.from({ length: ${TRUCKS} }, (_, i) => ({ key: { fleet: 'northline', truck: 'T-' + i },
      messages: Array.from({ length: ${EVENTS} }, (_, k) => event('T-' + i, n * ${EVENTS} + k + 1)) }));
    await store.receive(batches, fold);
    writeSync(1, ++n + '\\n');
  }
`;

/** Kills the child without warning after so many answers and some of the next; gives the last that was answered. */
async function killedAfter(path: string, answers: number): Promise<number> {
  const child = spawn(process.execPath, ['--input-type=module', '-e', CHILD, path], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const closed = new Promise((resolve) => child.once('close', resolve));
  let answered = 0;
  let seen = 0;
  for await (const line of createInterface({ input: child.stdout })) {
    answered = Number(line);
    if (++seen === answers) child.kill('SIGKILL');
  }
  await closed;
  expect(child.signalCode).toBe('SIGKILL');
  return answered;
}

/** The process dies; that the disk keeps what it was told to (power cut) rests on synchronous=FULL and is not tested here. */
describe('kill -9 amid receive, SQLite', () => {
  test('all of a receive or nothing of it, and everything that was answered', { timeout: 60_000 }, async () => {
    const random = seeded(printedSeed('office crash'));
    const path = pathIn(tempDir());
    for (let round = 1; round <= ROUNDS; round++) {
      const answered = await killedAfter(path, 1 + Math.floor(random() * 60));
      const store = await openSqlite(path);
      const trucks = await all(store.trucks());
      const times = trucks[0]!.state.revision;
      expect(times).toBeGreaterThanOrEqual(answered);
      expect(trucks.map(({ state }) => [state.revision, state.rev])).toEqual(
        Array.from({ length: TRUCKS }, () => [times, times * EVENTS]),
      );
      for (const { key } of trucks) {
        const seqs = (await store.events({ ...key, limit: 5_000 })).map(({ seq }) => seq);
        expect(seqs).toEqual(Array.from({ length: times * EVENTS }, (_, n) => times * EVENTS - n));
      }
      const notices = await store.dueNotices(0, 0, 5_000);
      expect(notices).toHaveLength(times * TRUCKS);
      await store.close();
    }
  });
});
