import { readFileSync } from 'node:fs';
import { deflateSync, inflateSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { Pipeline } from '../../../daemon/pipeline.js';
import { truckOf } from '../../support/truck-file.js';
import { brokenFiles, commit, draft, openDatabase, optionsIn, tempDir } from './helpers.js';

/** A whole state: what a truck with 18 tires begins with. */
const STATE = JSON.stringify(new Pipeline(truckOf(), null, null).snapshot(0));

describe('the state in the file', () => {
  test('is deflated JSON, much smaller, and comes back letter for letter', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ state: STATE })]);
    const stored = first.connection.prepare('SELECT state FROM state').pluck().get() as Buffer;
    expect(inflateSync(stored).toString()).toBe(STATE);
    expect(stored.length).toBeLessThan(STATE.length / 4);
    first.close();
    expect(openDatabase(options).opened.restored?.state).toBe(STATE);
  });

  test('written again unchanged it costs a page, not itself; its time goes on', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    const other = [...STATE].reverse().join('');
    const logOf = (t: number, state: string): number => {
      db.connection.pragma('wal_checkpoint(TRUNCATE)');
      db.commit([commit({ t, state })]);
      return readFileSync(`${options.path}-wal`).length;
    };
    const whole = logOf(1_000, STATE);
    expect(logOf(2_000, STATE)).toBeLessThan(whole / 2);
    expect(logOf(3_000, other)).toBeGreaterThan(whole / 2);
    logOf(4_000, STATE);
    logOf(5_000, STATE);
    db.close();
    expect(openDatabase(options).opened.restored).toMatchObject({ state: STATE, t: 5_000 });
  });

  test('a commit that failed is not taken for the last state', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    db.commit([commit({ state: '{"n":1}' })]);
    const bad = { ...draft(1, 'raised'), rule: null as unknown as 'air-low' };
    expect(() => db.commit([commit({ state: '{"n":2}' }), commit({ events: [bad] })])).toThrow();
    db.commit([commit({ state: '{"n":2}' })]);
    db.close();
    expect(openDatabase(options).opened.restored?.state).toBe('{"n":2}');
  });

  test.each([
    ['cut off', (state: Buffer) => state.subarray(0, state.length / 2)],
    ['no deflated bytes', () => Buffer.from('fleet: northline')],
    ['deflated, but no JSON', () => deflateSync('fleet: northline')],
  ])('%s: the file is moved aside and a new one begun', (_, damage) => {
    const directory = tempDir();
    const options = optionsIn(directory);
    const first = openDatabase(options);
    first.commit([commit({ state: STATE })]);
    const stored = first.connection.prepare('SELECT state FROM state').pluck().get() as Buffer;
    first.connection.prepare('UPDATE state SET state = ?').run(damage(stored));
    first.close();
    expect(openDatabase(options).opened.restored).toBeNull();
    expect(brokenFiles(directory)).toHaveLength(1);
  });
});
