import { describe, expect, it } from 'vitest';
import { isMoving } from '../../../daemon/commands/moving.js';

describe('the pipeline moves', () => {
  it.each([
    [0, true],
    [3_000, true],
    [3_001, false],
  ])('with the last tick %i ms ago: %s', (sinceTickMs, expected) => {
    expect(isMoving({ sinceTickMs, oldestCommitMs: 0 })).toBe(expected);
  });

  it.each([
    [120_000, true],
    [120_001, false],
  ])('with a commit that has waited %i ms for its answer: %s', (oldestCommitMs, expected) => {
    expect(isMoving({ sinceTickMs: 0, oldestCommitMs })).toBe(expected);
  });
});
