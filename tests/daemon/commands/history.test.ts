import { closeSync, openSync, readFileSync, rmSync, statSync, writeFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { StoreOptions } from '../../../adapters/store/contract.js';
import { LateDatabase } from '../../../adapters/store/late.js';
import { Database } from '../../../adapters/store/sqlite.js';
import { verifyStore } from '../../../daemon/commands/history-verify.js';
import {
  commit,
  draft,
  MINUTE_MS,
  minute,
  openAlert,
  openDraft,
  optionsIn,
  tempDir,
} from '../../adapters/store/helpers.js';

/** A closed database with two alerts, one of them cleared, and history. */
function filled(): StoreOptions {
  const options = optionsIn(tempDir(), { mayWait: true });
  const db = new LateDatabase(options);
  db.commit([
    commit({
      events: [draft(1, 'raised'), draft(2, 'raised')],
      open: openDraft([openAlert(1), openAlert(2)]),
      state: '{"n":1}',
    }),
  ]);
  db.commit([
    commit({
      t: MINUTE_MS,
      events: [draft(2, 'cleared')],
      open: openDraft([openAlert(1)]),
      history: minute(0, 40),
      state: '{"n":2}',
    }),
  ]);
  db.close();
  return options;
}

function verified(path: string): { code: number; out: string; err: string } {
  const said = { out: '', err: '' };
  const to = (name: 'out' | 'err') => ({ write: (text: string) => (said[name] += text) });
  const code = verifyStore(path, { out: to('out'), err: to('err') });
  return { code, ...said };
}

const change =
  (sql: string) =>
  (path: string): void => {
    const db = new Database(path);
    db.pragma('foreign_keys = OFF');
    db.exec(sql);
    db.close();
  };

function foreign(path: string): void {
  rmSync(path);
  change('CREATE TABLE parts (n)')(path);
}

const WRONG: [what: string, damage: (path: string) => void, says: RegExp][] = [
  ['it is gone', (path) => rmSync(path), /does not exist/],
  ['it is text', (path) => writeFileSync(path, 'fleet: northline\n'.repeat(500)), /not a database/],
  ['pages of zeros', (path) => overwrite(path, 8 * 4096), /./],
  ["it is another program's", foreign, /another program/],
  [
    'an event is missing that was not told',
    change('DELETE FROM events WHERE seq = 2'),
    /waits to be told is missing: 2/,
  ],
  ['an alert is missing', change('DELETE FROM alerts WHERE seq = 1'), /an event without its alert: 1/],
  ['a count is wrong', change('UPDATE alerts SET events = 7 WHERE seq = 1'), /counts other events .*\.1/],
  ['an alert is open that was cleared', change("UPDATE alerts SET state = 'open'"), /says something else .*\.2/],
  ['a number too many', change('UPDATE meta SET last_seq = 2'), /above the last one given: 3/],
  [
    'a number that was given is not there',
    change(
      "DELETE FROM outbox; DELETE FROM events WHERE seq = 3; UPDATE alerts SET last_seq = 2, events = 1, state = 'open'; UPDATE alerts SET last_seq = 1 WHERE seq = 1; UPDATE meta SET last_seq = 2",
    ),
    /older than what was used last: number 3/,
  ],
  ['the state does not unpack', change("UPDATE state SET state = x'0102'"), /state of the rules cannot be read/],
  ['an event that is no JSON', change("UPDATE events SET draft = '{' WHERE seq = 1"), /no JSON: 1/],
  ['a start that is not listed', change('DELETE FROM runs'), /start that is not listed/],
];

function overwrite(path: string, from: number): void {
  const handle = openSync(path, 'r+');
  writeSync(handle, Buffer.alloc(statSync(path).size - from), 0, undefined, from);
  closeSync(handle);
}

describe('history --verify', () => {
  test('a sound database is said to be sound, and nothing in it changes', () => {
    const { path } = filled();
    const before = readFileSync(path);
    const { code, out, err } = verified(path);
    expect([code, err]).toEqual([0, '']);
    expect(out).toMatch(
      /axlepost\.db: sound: truck T-1042, store [a-z0-9]{12}, 1 starts, 3 events given, 1 alerts open, 3 events not confirmed\n$/,
    );
    expect(readFileSync(path).equals(before)).toBe(true);
  });

  test('also while the program has it open', () => {
    const options = optionsIn(tempDir(), { mayWait: true });
    const db = new LateDatabase(options);
    db.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]) })]);
    expect(verified(options.path)).toMatchObject({ code: 0, err: '' });
    db.close();
  });

  test.each(WRONG)('%s: one line says so, and the exit code is 1', (_, damage, says) => {
    const { path } = filled();
    damage(path);
    const { code, err } = verified(path);
    expect(code).toBe(1);
    expect(err.split('\n')[0]).toMatch(new RegExp(`^${join(path, '..')}/axlepost\\.db: `));
    expect(err).toMatch(says);
  });
});
