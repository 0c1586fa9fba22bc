import { describe, expect, it } from 'vitest';
import { Moving } from '../../../daemon/commands/moving.js';

class Bench {
  sinceTickMs = 0;
  pending = 0;
  nowMs = 5_000;
  readonly moving = new Moving({
    sinceTickMs: () => this.sinceTickMs,
    pending: () => this.pending,
    nowMs: () => this.nowMs,
  });
}

describe('the pipeline moves', () => {
  it.each([
    [0, true],
    [3_000, true],
    [3_001, false],
  ])('with the last tick %i ms ago: %s', (sinceTickMs, expected) => {
    const bench = new Bench();
    bench.sinceTickMs = sinceTickMs;
    expect(bench.moving.isMoving()).toBe(expected);
  });

  it('until commits have had no answer for two minutes, and again with the next answer', () => {
    const bench = new Bench();
    bench.nowMs += 1_000_000;
    expect(bench.moving.isMoving()).toBe(true);
    bench.pending = 3;
    bench.nowMs += 120_000;
    expect(bench.moving.isMoving()).toBe(true);
    bench.nowMs += 1;
    expect(bench.moving.isMoving()).toBe(false);
    bench.moving.answered();
    expect(bench.moving.isMoving()).toBe(true);
  });

  it('with a slow disk on which something always waits, as long as answers come', () => {
    const bench = new Bench();
    bench.pending = 2;
    for (let i = 0; i < 100; i++) {
      bench.nowMs += 30_000;
      bench.moving.answered();
      expect(bench.moving.isMoving()).toBe(true);
    }
  });
});
