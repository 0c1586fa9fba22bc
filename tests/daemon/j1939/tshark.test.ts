import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import {
  destinationOf,
  GLOBAL_ADDRESS,
  isJ1939,
  isPdu1,
  pgnOf,
  priorityOf,
  sourceOf,
} from '../../../daemon/j1939/identifier.js';
import fc from '../../support/property.js';
import { readLog, shared } from './helpers.js';

/* The identifier against an independent decoder. Optional on a workstation, required in CI. */
const missing = spawnSync('tshark', ['--version']).status !== 0;
const required = process.env.CI === 'true';
if (missing && !required) console.warn('skipped: tshark is not installed; CI needs it');

/** Priority, PGN, source, destination of every J1939 frame of a `candump -L` text, as tshark sees them. */
function tsharkSees(path: string): string[] {
  const fields = ['j1939.priority', 'j1939.pgn', 'j1939.src_addr', 'j1939.dst_addr', 'j1939.ex_data_page', 'can.id'];
  const out = execFileSync(
    'tshark',
    ['-r', path, '-d', 'can.subdissector,j1939', '-Y', 'j1939', '-T', 'fields', ...fields.flatMap((f) => ['-e', f])],
    { encoding: 'utf8', maxBuffer: 2 ** 28, stdio: ['ignore', 'pipe', 'ignore'] },
  );
  return out.split('\n').filter((line) => line !== '');
}

/** tshark names no destination where the identifier has none; to us that is everybody. */
function weSee(id: number): string {
  const destination = isPdu1(id) || destinationOf(id) !== GLOBAL_ADDRESS ? destinationOf(id) : '';
  return [priorityOf(id), pgnOf(id), sourceOf(id), destination, isJ1939(id) ? 0 : 1, id].join('\t');
}

/** Line by line, so that a difference is shown as one line and not as two logs. */
function expectSame(theirs: string[], ours: string[], note = ''): void {
  const at = ours.findIndex((line, i) => line !== theirs[i]);
  if (at >= 0) expect(theirs[at], `frame ${at} ${note}`).toBe(ours[at]);
  expect(theirs).toHaveLength(ours.length);
}

describe.skipIf(missing && !required)(`tshark${missing ? ' (skipped: not installed; CI needs it)' : ''}`, () => {
  it('is there', () => {
    expect(missing).toBe(false);
  });

  it('takes 2,000 random identifiers apart as we do', () => {
    const folder = mkdtempSync(join(tmpdir(), 'tshark-'));
    try {
      const seed = 20260302;
      const ids = fc.sample(fc.integer({ min: 0, max: 0x1fffffff }), { numRuns: 2000, seed });
      const path = join(folder, 'ids.log');
      const hex = (id: number) => id.toString(16).toUpperCase().padStart(8, '0');
      writeFileSync(path, ids.map((id, i) => `(${1000 + i}.000000) can0 ${hex(id)}#0102030405060708\n`).join(''));
      expectSame(tsharkSees(path), ids.map(weSee), `of seed ${seed}`);
    } finally {
      rmSync(folder, { recursive: true });
    }
  }, 60_000);

  const road = shared('data/road-truck/normal.log');
  it.skipIf(road.absent)(
    `takes a recorded drive apart as we do${road.why}`,
    () => {
      expectSame(
        tsharkSees(road.path),
        readLog(road.path).map(({ id }) => weSee(id)),
      );
    },
    60_000,
  );
});
