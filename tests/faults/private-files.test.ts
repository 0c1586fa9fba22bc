import { chmodSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { hostDisk } from '../../adapters/recorder/disk.js';
import { brokenFiles, commit, draft, openDatabase, optionsIn, tempDir } from '../adapters/store/helpers.js';

/** What a login shell has: others may read what does not say otherwise. */
const USUAL_UMASK = 0o022;
let before: number;
beforeEach(() => {
  before = process.umask(USUAL_UMASK);
});
afterEach(() => {
  process.umask(before);
});

const othersMay = (path: string): number => statSync(path).mode & 0o077;
const openToOthers = (folder: string): string[] =>
  readdirSync(folder).filter((name) => othersMay(join(folder, name)) !== 0);

test('the database, its log and index, and what was moved aside are for the service user only', () => {
  const options = optionsIn(tempDir());
  const folder = join(options.path, '..');
  openDatabase(options).commit([commit({ events: [draft(1, 'raised')] })]);
  expect(readdirSync(folder).sort()).toEqual(['axlepost.db', 'axlepost.db-shm', 'axlepost.db-wal']);
  expect(openToOthers(folder)).toEqual([]);
});

test('a database that others could read is closed to them at the next start', () => {
  const options = optionsIn(tempDir());
  const folder = join(options.path, '..');
  openDatabase(options).close();
  chmodSync(options.path, 0o644);
  openDatabase(options);
  expect(openToOthers(folder)).toEqual([]);
});

test('so is a broken one that is moved aside', () => {
  const options = optionsIn(tempDir());
  const folder = join(options.path, '..');
  writeFileSync(options.path, 'x'.repeat(5_000), { mode: 0o644 });
  openDatabase(options);
  expect(brokenFiles(folder)).toHaveLength(1);
  expect(openToOthers(folder)).toEqual([]);
});

test('recordings, their sidecars and their folder are for the service user only', async () => {
  const folder = join(tempDir(), 'recordings');
  await hostDisk.makeFolder(folder);
  const file = await hostDisk.create(join(folder, 'a.log.gz'));
  await file.close();
  await hostDisk.replace(join(folder, 'a.json'), '{}');
  expect(othersMay(folder)).toBe(0);
  expect(readdirSync(folder).sort()).toEqual(['a.json', 'a.log.gz']);
  expect(openToOthers(folder)).toEqual([]);
});
