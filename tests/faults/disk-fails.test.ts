import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { FaultRow, isFull } from './support/row.js';
import { type Op, type Order, orderBytes, Shim, shimIsMissing } from './support/shim.js';

const missing = shimIsMissing();
if (missing !== null) console.log(`disk-fails: skipped: ${missing}`);
const PROGRAM = fileURLToPath(new URL('support/store-disk.mjs', import.meta.url));

interface Result {
  failed?: string;
  first: string;
  stored: string;
  store: string;
  seqs: number[];
  rows: { seq: number; ordinal: number }[];
  errors: string[];
  state: number;
  history: number;
  check: string;
}

/** What fails. From the `most`-th on there is none left to fail, which the full form sees. */
const KINDS: { ops: Op[]; error: NonNullable<Order['error']>; most: number }[] = [
  { ops: ['write'], error: 'ENOSPC', most: 110 },
  { ops: ['write'], error: 'EIO', most: 110 },
  { ops: ['sync'], error: 'EIO', most: 40 },
  { ops: ['create'], error: 'ENOSPC', most: 20 },
  { ops: ['open', 'create', 'write', 'truncate', 'unlink', 'rename'], error: 'EROFS', most: 120 },
];
/** In the short form every third up to this. */
const SHORT_MOST = 40;
const ALL: Order[] = KINDS.flatMap(({ ops, error, most }, kind) =>
  (['fail-once', 'fail-from'] as const).flatMap((action) =>
    Array.from({ length: isFull ? most : Math.min(most, SHORT_MOST) }, (_, n) => n + 1)
      .filter((nth) => isFull || nth % 3 === kind % 3)
      .map((nth) => ({ ops, error, action, nth })),
  ),
);
const row = new FaultRow('disk-fails', { short: ALL.length, full: ALL.length });

describe.skipIf(missing !== null)('a disk that fails under the store', () => {
  test('the n-th write, sync or opening, once and from then on: what was answered is there, once, and the store goes on', {
    timeout: row.timeoutMs,
  }, () => {
    const shim = new Shim();
    const folder = mkdtempSync(join(tmpdir(), 'axlepost-disk-'));
    const rounds = row.rounds();
    const orders = rounds.map(({ index }) => orderBytes(ALL[index]!).toString('base64'));
    const { stdout, stderr } = spawnSync(
      process.execPath,
      [PROGRAM, shim.controlFile, folder, JSON.stringify(orders)],
      {
        env: { ...process.env, ...shim.env(folder) },
        encoding: 'utf8',
        maxBuffer: 1e9,
      },
    );
    expect(stderr).toBe('');
    const results = stdout
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as Result);
    expect(results).toHaveLength(rounds.length);
    const outcomes: Record<string, number> = {};
    for (const [n, result] of results.entries()) {
      const about = JSON.stringify({ order: ALL[rounds[n]!.index], again: row.again(rounds[n]!), result });
      expect(result.failed, about).toBeUndefined();
      // The same database all along: a disk that fails is no reason to move it aside.
      expect([result.stored, result.store], about).toEqual([result.first, result.first]);
      expect(result.seqs, about).toEqual([2, 3, 4]);
      expect(result.rows, about).toEqual([1, 2, 3, 4].map((seq) => ({ seq, ordinal: seq })));
      expect([result.state, result.history, result.check], about).toEqual([4, 4, 'ok']);
      const { nth, ops, error: code } = ALL[rounds[n]!.index]!;
      const kind = KINDS.find((one) => one.ops === ops && one.error === code)!;
      if (nth === kind.most) expect(result.errors, about).toEqual([]);
      for (const error of new Set(result.errors)) outcomes[error] = (outcomes[error] ?? 0) + 1;
      if (result.errors.length === 0) outcomes.none = (outcomes.none ?? 0) + 1;
    }
    console.log(outcomes);
    expect(outcomes['store-full'], 'some must have met it').toBeGreaterThan(0);
    expect(outcomes['store-io'], 'some must have met it').toBeGreaterThan(0);
    rmSync(folder, { recursive: true });
    shim.remove();
  });
});
