import {
  copyFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { StoreOptions } from '../../adapters/store/contract.js';
import { LateDatabase } from '../../adapters/store/late.js';
import {
  brokenFiles,
  commit,
  draft,
  MINUTE_MS,
  minute,
  openAlert,
  openDraft,
  optionsIn,
  tempDir,
} from '../adapters/store/helpers.js';
import { FaultRow, type Round } from './support/row.js';

const row = new FaultRow('corrupt', { short: 60, full: 1_000 });
const WITNESS = 'axlepost.db.last.json';
const FILES = ['axlepost.db', 'axlepost.db-wal', 'axlepost.db-shm', WITNESS] as const;
const COMMITS = 40;

/** As a kill leaves it: half of the commits in the database, half in its log. */
function killed(): { files: Map<string, Buffer>; earlier: Map<string, Buffer>; store: string; seq: number } {
  const options: StoreOptions = optionsIn(tempDir(), { mayWait: true });
  const folder = join(options.path, '..');
  const read = (): Map<string, Buffer> =>
    new Map(
      FILES.filter((name) => existsSync(join(folder, name))).map((name) => [name, readFileSync(join(folder, name))]),
    );
  const first = new LateDatabase(options);
  first.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '{"n":0}' })]);
  first.close();
  const earlier = read();
  const db = new LateDatabase(options);
  for (let n = 1; n <= COMMITS; n++) {
    const events = n % 4 === 0 ? [draft(1 + n, 'raised', { subject: `tractor/${n}/left/single` })] : [];
    const open = n % 4 === 0 ? openDraft([openAlert(1), openAlert(1 + n)]) : null;
    db.commit([commit({ t: n * MINUTE_MS, events, open, state: `{"n":${n}}`, history: minute(n * MINUTE_MS, 40) })]);
    if (n === COMMITS / 2) db.database.connection.pragma('wal_checkpoint(TRUNCATE)');
  }
  const { store } = db.opened;
  const files = read();
  db.close();
  return { files, earlier, store, seq: 1 + COMMITS / 4 };
}

const sound = killed();
const pick = <T>(round: Round, among: readonly T[]): T => among[round.below(among.length)]!;

type Damage = (files: Map<string, Buffer>, round: Round) => void;
/** Of one of the files. */
const inOne =
  (damage: (bytes: Buffer, round: Round) => Buffer): Damage =>
  (files, round) => {
    const name = pick(round, [...files.keys()]);
    files.set(name, damage(Buffer.from(files.get(name)!), round));
  };
const DAMAGES: Record<string, Damage> = {
  'flipped bytes': inOne((bytes, round) => {
    const span = round.random() < 0.5 ? bytes.length : Math.min(bytes.length, 8_192);
    for (let n = round.below(8); n >= 0; n--) bytes[round.below(span)] = round.below(256);
    return bytes;
  }),
  'cut short': inOne((bytes, round) => bytes.subarray(0, round.below(bytes.length))),
  zeros: inOne((bytes, round) => {
    const from = round.below(bytes.length);
    return bytes.fill(0, from, Math.min(bytes.length, from + 512 * (1 + round.below(64))));
  }),
  'swapped files': (files, round) => {
    const [one, other] = [pick(round, [...files.keys()]), pick(round, [...files.keys()])];
    const [first, second] = [files.get(one)!, files.get(other)!];
    files.set(one, second);
    files.set(other, first);
  },
  'a file is gone': (files, round) => files.delete(pick(round, [...files.keys()])),
  "an earlier day's copy": (files) => {
    files.delete('axlepost.db-wal');
    files.delete('axlepost.db-shm');
    files.set('axlepost.db', sound.earlier.get('axlepost.db')!);
  },
};

test('whatever is wrong with the files: it opens, what was moved aside has a date, and what was told before is not told under its numbers', {
  timeout: row.timeoutMs,
}, async () => {
  const outcomes: Record<string, Record<string, number>> = {};
  const folder = join(tempDir(), 'store');
  const options = { ...optionsIn(folder, { mayWait: true }), path: join(folder, 'axlepost.db') };
  await row.each((round) => {
    const name = pick(round, Object.keys(DAMAGES));
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder);
    const files = new Map(sound.files);
    DAMAGES[name]!(files, round);
    for (const [file, bytes] of files) writeFileSync(join(folder, file), bytes);
    const witness = files.get(WITNESS);
    const outcome = expectWorks(options, witness?.equals(sound.files.get(WITNESS)!) === true);
    outcomes[name] ??= {};
    outcomes[name][outcome] = (outcomes[name][outcome] ?? 0) + 1;
  });
  console.log(outcomes);
});

/** Two starts, as the service manager makes them, each with what a tick may ask. */
function expectWorks(options: StoreOptions, hasWitness: boolean): string {
  const folder = join(options.path, '..');
  const late = new LateDatabase(options);
  expect(late.isOpen, late.opened.notes.join()).toBe(true);
  const db = late.database;
  const fresh = db.opened.store !== sound.store;
  const raised = db.outbox(0, 1_000);
  // Without the witness nobody on the truck could know better; then the office's number says so.
  if (!fresh && hasWitness) expect([db.opened.lastSeq, db.opened.notes]).toEqual([sound.seq, []]);
  if (fresh) {
    const moved = existsSync(join(folder, 'axlepost.db')) && brokenFiles(folder);
    expect(db.opened.notes.length).toBeGreaterThan(0);
    for (const file of moved || []) expect(file).toMatch(/^axlepost\.db\.\d{8}T\d{6}Z(-\d+)?\.broken$/);
    // The office hears of it, and of what was open once more where that could be read.
    expect(db.gaps()).toHaveLength(1);
    if (db.opened.restored !== null && db.open() !== null) expect(raised.length).toBeGreaterThan(0);
    expect(raised.map(({ seq, draft: { change } }) => [seq, change])).toEqual(raised.map((_, n) => [n + 1, 'raised']));
  }
  late.commit([
    commit({
      t: 3_600_000,
      events: [draft(900, 'raised')],
      open: openDraft([openAlert(900)]),
      state: '{"n":99}',
      history: minute(0, 5),
    }),
  ]);
  db.maintain();
  db.confirm(1);
  late.close();
  const again = new LateDatabase(options);
  expect(again.isOpen, again.opened.notes.join()).toBe(true);
  expect(again.opened.store).toBe(late.opened.store);
  expect(again.opened.restored?.state).toBe('{"n":99}');
  expect(again.database.connection.pragma('integrity_check', { simple: true })).toBe('ok');
  again.close();
  return late.opened.store === sound.store ? 'went on' : 'begun anew';
}

test("yesterday's copy put back, and a deleted file: another store id, and nothing is numbered twice", () => {
  for (const way of ['copy', 'deleted'] as const) {
    const folder = tempDir();
    const options = optionsIn(folder, { mayWait: true });
    const first = new LateDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]), state: '{"n":1}' })]);
    first.close();
    copyFileSync(options.path, `${options.path}.yesterday`);
    const second = new LateDatabase(options);
    second.commit([commit({ events: [draft(2, 'raised')], open: openDraft([openAlert(1), openAlert(2)]) })]);
    second.close();
    rmSync(options.path);
    if (way === 'copy') renameSync(`${options.path}.yesterday`, options.path);
    const third = new LateDatabase(options);
    expect(third.opened.store).not.toBe(second.opened.store);
    expect(third.opened.notes[0]).toMatch(way === 'copy' ? /older than .* moved to .*\.broken/ : /was missing/);
    expect(third.database.gaps()).toHaveLength(1);
    // Open alerts of the copy, as far as it knew them.
    const raised = third.database.outbox(0, 9).map(({ draft: { alert, change } }) => [alert, change]);
    expect(raised).toEqual(way === 'copy' ? [[1, 'raised']] : []);
    expect(brokenFiles(folder)).toHaveLength(way === 'copy' ? 1 : 0);
    third.close();
    const fourth = new LateDatabase(options);
    expect(fourth.opened).toMatchObject({ store: third.opened.store, boot: 2, notes: [] });
    fourth.close();
    expect(readdirSync(folder).filter((name) => name.endsWith('.new'))).toEqual([]);
  }
});
