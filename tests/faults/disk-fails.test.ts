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
/** Orders of one round: they share a process. */
const AT_ONCE = 20;
const ROUNDS = Math.ceil(ALL.length / AT_ONCE);
const row = new FaultRow('disk-fails', { short: ROUNDS, full: ROUNDS });

describe.skipIf(missing !== null)('a disk that fails under the store', () => {
  test('the n-th write, sync or opening, once and from then on: what was answered is there, once, and the store goes on', {
    timeout: row.timeoutMs,
  }, async () => {
    const shim = new Shim();
    const outcomes: Record<string, number> = {};
    const isWhole = row.rounds().length === ROUNDS;
    await row.each(({ index }) => {
      const orders = ALL.slice(index * AT_ONCE, (index + 1) * AT_ONCE);
      const results = resultsOf(shim, orders);
      expect(results).toHaveLength(orders.length);
      for (const [n, result] of results.entries()) {
        expectWell(orders[n]!, result);
        for (const error of new Set(result.errors)) outcomes[error] = (outcomes[error] ?? 0) + 1;
        if (result.errors.length === 0) outcomes.none = (outcomes.none ?? 0) + 1;
      }
    });
    console.log(`${ALL.length} orders`, outcomes);
    shim.remove();
    // A shard may have met one kind of failure only.
    if (!isWhole) return;
    expect(outcomes['store-full']).toBeGreaterThan(0);
    expect(outcomes['store-io']).toBeGreaterThan(0);
  });
});

function resultsOf(shim: Shim, orders: readonly Order[]): Result[] {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-disk-'));
  const { stdout, stderr } = spawnSync(process.execPath, [PROGRAM, shim.controlFile, folder], {
    env: { ...process.env, ...shim.env(folder) },
    input: JSON.stringify(orders.map((order) => orderBytes(order).toString('base64'))),
    encoding: 'utf8',
    maxBuffer: 1e9,
  });
  expect(stderr).toBe('');
  rmSync(folder, { recursive: true });
  return stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as Result);
}

function expectWell(order: Order, result: Result): void {
  const about = JSON.stringify({ order, result });
  expect(result.failed, about).toBeUndefined();
  // The same database all along: a disk that fails is no reason to move it aside.
  expect([result.stored, result.store], about).toEqual([result.first, result.first]);
  expect(result.errors, about).not.toContain('store-bug');
  expect(result.seqs, about).toEqual([2, 3, 4]);
  expect(result.rows, about).toEqual([1, 2, 3, 4].map((seq) => ({ seq, ordinal: seq })));
  expect([result.state, result.history, result.check], about).toEqual([4, 4, 'ok']);
  const { nth, ops, error } = order;
  const { most } = KINDS.find((kind) => kind.ops === ops && kind.error === error)!;
  if (nth === most) expect(result.errors, about).toEqual([]);
}
