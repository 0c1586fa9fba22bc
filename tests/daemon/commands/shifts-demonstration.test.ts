import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { shiftsHere } from './shifts-folder.js';

describe('replay-logs', () => {
  it('is a folder of shifts that are as expected, to the last number', async () => {
    const { code, out, err } = await shiftsHere(['replay-logs'], { strict: true });
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(out).toMatch(/^3 shifts: 3 as expected\n$/m);
  }, 120_000);

  it('has expected events as --bless writes them', () => {
    for (const name of ['morning-run', 'night-coach', 'quarry-run'])
      expect(readFileSync(`replay-logs/${name}.events`, 'utf8')).toMatch(/^(?:\{.*\}\n)+$/);
  });
});
