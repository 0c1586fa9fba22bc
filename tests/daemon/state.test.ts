import { describe, expect, it } from 'vitest';
import { newPipelineState } from '../../daemon/pipeline-state.js';
import { adopt, revive, snapshot } from '../../daemon/state.js';
import { NEVER } from '../../daemon/time.js';
import { morningRunText, Recording } from '../support/recording.js';
import { Rig } from '../support/rig.js';

describe('snapshot and revive', () => {
  const state = {
    at: 900,
    startedAt: 400,
    neverAt: NEVER,
    reversalsAt: [100, 200],
    value: 5,
    trace: [1, 2],
    nested: { 'tractor/1/left': { at: NEVER, seenAt: 1000, codes: [3] } },
    text: 'at',
    none: null,
  };

  it('write every instant, also a plain `at`, as its age, and everything else as it is', () => {
    expect(snapshot(state, 1000)).toEqual({
      at: 100,
      startedAt: 600,
      neverAt: null,
      reversalsAt: [900, 800],
      value: 5,
      trace: [1, 2],
      nested: { 'tractor/1/left': { at: null, seenAt: 0, codes: [3] } },
      text: 'at',
      none: null,
    });
  });

  it('give the same state back at the same time, and a moved one elsewhere', () => {
    expect(revive(snapshot(state, 1000), 1000)).toEqual(state);
    expect(revive(snapshot(state, 1000), -500)).toMatchObject({
      at: -600,
      reversalsAt: [-1400, -1300],
      neverAt: NEVER,
    });
  });
});

describe('adopt', () => {
  it('keeps what the saved state has not, and takes no shape that differs', () => {
    const fresh = { a: 1, b: { c: 'x' }, list: [1], open: {}, maybe: null as number | null };
    const saved = { a: null, b: { c: 7, d: 1 }, list: { 0: 1 }, open: { k: 1 }, maybe: 3, extra: 1 };
    expect(adopt(fresh, saved)).toEqual({ a: 1, b: { c: 'x' }, list: [1], open: { k: 1 }, maybe: 3 });
  });

  it.each([[null], [undefined], [7], ['text'], [[]]])('of %j leaves everything as it is', (saved) => {
    expect(adopt(newPipelineState(1), saved)).toEqual(newPipelineState(1));
  });
});

/** Paths of all values that JSON would not bring back. */
function lost(value: unknown, path = ''): string[] {
  if (typeof value === 'number') return Number.isFinite(value) ? [] : [path];
  if (value === undefined || typeof value === 'function' || typeof value === 'bigint') return [path];
  if (value === null || typeof value !== 'object') return [];
  const plain = Array.isArray(value) || Object.getPrototypeOf(value) === Object.prototype;
  return plain ? Object.entries(value).flatMap(([key, v]) => lost(v, `${path}/${key}`)) : [path];
}

describe('the state of a whole shift', () => {
  it('is plain data at every minute: no NaN, no infinity, no object of a class', { timeout: 30_000 }, () => {
    const shift = new Recording(morningRunText());
    const rig = new Rig();
    const bad = new Set<string>();
    let from = 0;
    for (let minute = 1; minute <= 182; minute++) {
      const to = shift.from(minute * 60_000);
      shift.feed(rig.stepper, from, to);
      from = to;
      for (const path of lost(rig.pipeline.state)) bad.add(path);
    }
    expect([...bad]).toEqual([]);
  });
});
