import { once } from 'node:events';
import { linkSync, renameSync, rmSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { eventsOf } from '../../../adapters/store/read-alerts.js';
import { readingsOf } from '../../../adapters/store/read-history.js';
import { EVERYTHING, PAGE_ROWS, StoreReader } from '../../../adapters/store/reader.js';
import { lookAt } from './files.js';
import { commit, draft, MINUTE_MS, minute, openDatabase, optionsIn, tempDir } from './helpers.js';
import { startWriter } from './writer-child.js';

const READS = 6;

function eventsIn(path: string): { seqs: number[]; live: boolean; problems: string[] } {
  const reader = new StoreReader(path);
  try {
    const seqs = [...eventsOf(reader, EVERYTHING)].flat().map(({ seq }) => seq);
    return { seqs, live: reader.about.live, problems: reader.problems };
  } finally {
    reader.close();
  }
}

const upTo = (n: number): number[] => Array.from({ length: n }, (_, i) => i + 1);

describe('a database that another program writes', () => {
  test('is read whole, again and again, and then as the copy of a dead truck', { timeout: 60_000 }, async () => {
    const directory = tempDir();
    const options = optionsIn(directory);
    const { child, lines } = startWriter(options);
    const closed = once(child, 'close');
    const blind = join(tempDir(), 'blind.db');
    let answered = 0;
    let nextAt = 20;
    let reads = 0;
    for await (const line of lines) {
      answered = Math.max(answered, Number(line));
      if (answered < nextAt || reads === READS) continue;
      const { seqs, live, problems } = eventsIn(options.path);
      // What was answered is there, and what is there has no hole.
      expect([live, problems]).toEqual([true, []]);
      expect(seqs.length).toBeGreaterThanOrEqual(answered);
      expect(seqs).toEqual(upTo(seqs.length));
      // The same where nobody can see that it is in use, as out of another container: a copy, as of some moment.
      for (const end of reads === 0 ? ['', '-wal'] : []) linkSync(options.path + end, `${blind}${end}`);
      const copied = eventsIn(blind);
      expect([copied.live, copied.problems]).toEqual([false, []]);
      expect(copied.seqs.length).toBeGreaterThanOrEqual(seqs.length);
      expect(copied.seqs).toEqual(upTo(copied.seqs.length));
      // The writer went on meanwhile, and does.
      nextAt = seqs.length + 20;
      if (++reads === READS) child.kill('SIGKILL');
    }
    await closed;
    expect(reads).toBe(READS);
    const before = lookAt(directory);
    expect(Object.keys(before)).toEqual(expect.arrayContaining(['axlepost.db', 'axlepost.db-wal', 'axlepost.db-shm']));
    const { seqs, live } = eventsIn(options.path);
    expect(live).toBe(false);
    expect(seqs.length).toBeGreaterThanOrEqual(answered);
    expect(seqs).toEqual(upTo(seqs.length));
    expect(lookAt(directory)).toEqual(before);
    // The log alone has what is not yet in the file.
    rmSync(`${options.path}-shm`);
    expect(eventsIn(options.path).seqs).toEqual(seqs);
  });

  test('is not held up: between two pages its log can be emptied', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    for (let n = 0; n < 5; n++) db.commit([commit({ history: minute(n * MINUTE_MS, 1_000) })]);
    const reader = new StoreReader(options.path);
    expect(reader.about.live).toBe(true);
    let pages = 0;
    for (const rows of readingsOf(reader, EVERYTHING)) {
      pages++;
      expect(rows.length).toBeLessThanOrEqual(PAGE_ROWS.small);
      db.commit([commit({ t: (20 + pages) * MINUTE_MS, history: minute((20 + pages) * MINUTE_MS, 10) })]);
      expect(statSync(`${options.path}-wal`).size).toBeGreaterThan(0);
      expect(db.connection.pragma('wal_checkpoint(TRUNCATE)')).toEqual([{ busy: 0, log: 0, checkpointed: 0 }]);
      expect(statSync(`${options.path}-wal`).size).toBe(0);
    }
    expect(pages).toBeGreaterThan(2);
    reader.close();
  });

  test('is read to its end, also when it is moved aside meanwhile', () => {
    const directory = tempDir();
    const options = optionsIn(directory);
    const db = openDatabase(options);
    db.commit([commit({ events: upTo(600).map((n) => draft(n, 'raised')) })]);
    const reader = new StoreReader(options.path);
    const seqs: number[] = [];
    for (const rows of eventsOf(reader, EVERYTHING)) {
      if (seqs.length === 0)
        for (const end of ['', '-wal', '-shm']) renameSync(options.path + end, join(directory, `aside.broken${end}`));
      seqs.push(...rows.map(({ seq }) => seq));
    }
    expect(seqs).toEqual(upTo(600));
    reader.close();
    expect(eventsIn(join(directory, 'aside.broken')).seqs).toEqual(upTo(600));
  });
});
