import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, expect, test, vi } from 'vitest';
import { FaultRow } from '../faults/support/row.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-rows-'));

afterEach(() => {
  vi.unstubAllEnvs();
  rmSync(folder, { recursive: true, force: true });
});

const COUNTS = { short: 10, full: 1_000 };
const chances = (row: FaultRow) => row.rounds().map((round) => [round.index, round.random(), round.below(1000)]);

test('the same seed gives the same rounds, another one others, and rounds differ', () => {
  vi.stubEnv('AXLEPOST_SEED', '7');
  const first = chances(new FaultRow('some-row', COUNTS));
  expect(first).toHaveLength(10);
  expect(new Set(first.map(([, chance]) => chance)).size).toBe(10);
  expect(chances(new FaultRow('some-row', COUNTS))).toEqual(first);
  expect(chances(new FaultRow('other-row', COUNTS))).not.toEqual(first);
  vi.stubEnv('AXLEPOST_SEED', '8');
  expect(chances(new FaultRow('some-row', COUNTS))).not.toEqual(first);
});

test('shards share the rounds out: each is in one of them, with the same chances', () => {
  vi.stubEnv('AXLEPOST_SEED', '7');
  const whole = chances(new FaultRow('some-row', COUNTS));
  const parts = [0, 1, 2].flatMap((index) => {
    vi.stubEnv('AXLEPOST_SHARD', `${index}/3`);
    return chances(new FaultRow('some-row', COUNTS));
  });
  expect(parts.sort((a, b) => a[0]! - b[0]!)).toEqual(whole);
});

test('what is finished is not run again; the round that failed is, and so is any that is asked for', async () => {
  vi.stubEnv('AXLEPOST_SEED', '7');
  vi.stubEnv('AXLEPOST_FAULTS_DONE', folder);
  const failing = new FaultRow('some-row', COUNTS).each(({ index }) => {
    if (index === 4) throw new Error('broken');
  });
  await expect(failing).rejects.toThrow('broken');
  const row = new FaultRow('some-row', COUNTS);
  expect(row.rounds().map(({ index }) => index)).toEqual([4, 5, 6, 7, 8, 9]);
  expect(row.again({ index: 4 })).toBe('npm run faults -- --row some-row --seed 7 --round 4 --short');
  vi.stubEnv('AXLEPOST_ROUND', '2');
  expect(row.rounds().map(({ index }) => index)).toEqual([2]);
});
