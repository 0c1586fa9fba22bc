/*
 * One scenario of the store on a disk that fails, many times over: opened, four commits, each tried again until it is taken,
 * closed. For each order the process tells itself (through the shim's control file) what is to fail. argv: control file,
 * folder; on stdin JSON of the orders as bytes (base64). Prints one JSON line per order.
 */
import { mkdirSync, openSync, readFileSync, rmSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { StoreDatabase } from '../../../dist/adapters/store/database.js';

const [controlFile, folder] = process.argv.slice(2);
const orders = readFileSync(0, 'utf8');
const control = openSync(controlFile, 'r+');
const by = { config: '9c1e44d0', version: '0.1.0' };
const draft = (alert) => ({
  ...{ t: 0, alert, cause: null, rule: 'air-low', kind: 'equipment', subject: 'air/service', place: '', change: 'raised' },
  ...{ reason: null, urgency: 'plan', was: null, sinceAgoMs: 0, trailer: null, measured: null, evidence: null },
  ...{ forecast: null, advice: 'x'.repeat(500), basis: '', vehicle: { speed: null, lat: null, lon: null, ageS: null } },
});
const commitOf = (n) => ({
  ...{ t: n * 1000, by, events: [draft(n)], open: null, state: JSON.stringify({ n, text: 'x'.repeat(9_000 * n) }) },
  ...{ history: [{ subject: 'air/service', quantity: 'pressure', t: n * 60_000, min: 1, max: 2, last: 1, count: 1 }] },
  ...{ records: [], trip: null },
});

function scenario(path, order) {
  const options = { path, truck: 'T-1042', maxBytes: 8e6, keepMs: 1e9, run: { zeroWallMs: 0, synced: true } };
  const errors = [];
  const healed = () => writeSync(control, Buffer.alloc(order.length), 0, order.length, 0);
  /** Three times, then the fault is over. */
  const patiently = (work) => {
    for (let attempt = 1; ; attempt++) {
      try {
        return work();
      } catch (error) {
        errors.push(error.code ?? String(error));
        if (attempt === 3) healed();
        if (attempt === 6) throw error;
      }
    }
  };
  // What lies there already: one commit, so that a checkpoint and a recovery have something to do.
  const first = new StoreDatabase(options);
  first.commit([commitOf(1)]);
  if (order.recovery) first.connection.pragma('wal_checkpoint(PASSIVE)');
  first.close();
  writeSync(control, order, 0, order.length, 0);
  const database = patiently(() => new StoreDatabase(options));
  const seqs = [2, 3, 4].map((n) => patiently(() => database.commit([commitOf(n)]))[0][0].seq);
  try {
    database.connection.pragma('wal_checkpoint(TRUNCATE)');
  } catch (error) {
    errors.push(error.code);
  }
  const stored = database.opened.store;
  database.close();
  healed();
  const after = new StoreDatabase(options);
  const rows = after.connection.prepare('SELECT e.seq, a.ordinal FROM events e JOIN alerts a ON a.seq = e.alert ORDER BY e.seq').all();
  const result = {
    ...{ first: first.opened.store, stored, store: after.opened.store, seqs, rows, errors },
    ...{ state: JSON.parse(after.opened.restored.state).n, history: after.connection.prepare('SELECT count(*) FROM history').pluck().get() },
    check: after.connection.pragma('integrity_check', { simple: true }),
  };
  after.close();
  return result;
}

for (const [n, order] of JSON.parse(orders).entries()) {
  const place = join(folder, String(n));
  mkdirSync(place);
  let line;
  try {
    line = scenario(join(place, 'axlepost.db'), Buffer.from(order, 'base64'));
  } catch (error) {
    line = { failed: `${error.code} ${error.message}` };
  }
  writeSync(1, `${JSON.stringify(line)}\n`);
  rmSync(place, { recursive: true });
}
