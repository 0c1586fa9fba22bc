/*
 * What a power cut is tried on: the store in its worker, and the marks and the recorder beside it, for a while. After each answer
 * a line goes to the file `told`. argv: folder, how many commits.
 */
import { openSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { MarksFile } from '../../../dist/adapters/host/marks-file.js';
import { hostDisk } from '../../../dist/adapters/recorder/disk.js';
import { LateDatabase } from '../../../dist/adapters/store/late.js';

const [folder, count] = process.argv.slice(2);
const told = openSync(join(folder, 'told'), 'a');
const tell = (what) => writeSync(told, `${JSON.stringify(what)}\n`);
const by = { config: '9c1e44d0', version: '0.1.0' };
const draft = (alert) => ({
  ...{ t: 0, alert, cause: null, rule: 'air-low', kind: 'equipment', subject: 'air/service', place: '', change: 'raised' },
  ...{ reason: null, urgency: 'plan', was: null, sinceAgoMs: 0, trailer: null, measured: null, evidence: null },
  ...{ forecast: null, advice: 'x'.repeat(300), basis: '', vehicle: { speed: null, lat: null, lon: null, ageS: null } },
});
const options = {
  ...{ path: join(folder, 'axlepost.db'), truck: 'T-1042', maxBytes: 8e6, keepMs: 1e9, mayWait: true },
  run: { zeroWallMs: 0, synced: true },
};

let database = new LateDatabase(options);
tell({ store: database.opened.store });
const recordings = join(folder, 'recordings');
const segment = await hostDisk.create(join(recordings, 'T-1042-000001-000001.log.gz'));
const marks = new MarksFile(`${options.path}.marks.json`);
for (let n = 1; n <= Number(count); n++) {
  const history = Array.from({ length: 30 }, (_, m) => ({
    ...{ subject: `tractor/${m}/left/single`, quantity: 'pressure', t: n * 60_000, min: n, max: n, last: n, count: 1 },
  }));
  const events = n % 2 === 0 ? [draft(n)] : [];
  const state = JSON.stringify({ n, text: 'state '.repeat(500 + 40 * n) });
  const [numbered] = database.commit([{ t: n * 1000, by, events, open: null, state, history, records: [], trip: null }]);
  tell({ commit: n, seq: numbered.at(-1)?.seq ?? null });
  if (n % 7 === 0) database.database.connection.pragma('wal_checkpoint(PASSIVE)');
  if (n % 20 === 0) {
    database.close();
    database = new LateDatabase(options);
  }
  await segment.append(Buffer.from(`${String(n).padStart(799, '0')}\n`));
  if (n % 3 === 0) {
    await segment.sync();
    await hostDisk.replace(join(recordings, 'T-1042-000001-000001.json'), JSON.stringify({ v: n, text: 's'.repeat(3_000) }));
    tell({ recorded: n });
  }
  if (n % 5 === 0) {
    marks.write([{ subject: 'tractor/1/left/single', what: 'sensor-bad', who: `N-${n}`, untilMs: 1.8e12 }]);
    tell({ marked: n });
  }
}
database.close();
