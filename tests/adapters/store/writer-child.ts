import { type ChildProcess, spawn } from 'node:child_process';
import { createInterface } from 'node:readline';
import type { StoreOptions } from '../../../adapters/store/contract.js';

const STORE = new URL('../../../dist/adapters/store/store.js', import.meta.url).href;

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

/** A program of its own that writes into a store until it is killed. */
export function startWriter(options: StoreOptions): { child: ChildProcess; lines: AsyncIterable<string> } {
  const child = spawn(process.execPath, ['--input-type=module', '-e', CHILD, JSON.stringify(options)], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  return { child, lines: createInterface({ input: child.stdout! }) };
}
