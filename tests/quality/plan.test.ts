import { describe, expect, it } from 'vitest';
import { FAULT_COUNT, planOf, scenarioOfJob, seedOf, shardOf } from '../../quality/plan.js';
import { FAULTS, HARD_CASES } from '../../simulator/index.js';

const plan = planOf({ seed: 1, hours: 2000, faults: 300 });
const ofKind = (kind: string) => plan.filter((job) => job.kind === kind);

describe('the plan of a quality run', () => {
  it('has the hours that were asked for, every fault equally often, and each scenario once', () => {
    const hours = ofKind('healthy').reduce((sum, job) => sum + job.hours, 0);
    expect(hours).toBeGreaterThanOrEqual(2000);
    expect(hours).toBeLessThan(2020);
    expect(ofKind('fault')).toHaveLength(300);
    expect(new Set(plan.map(({ id }) => id)).size).toBe(plan.length);
    const times = Object.keys(FAULTS).map((name) => plan.filter(({ id }) => id.startsWith(`fault/${name}/`)).length);
    expect(Math.max(...times) - Math.min(...times)).toBeLessThanOrEqual(1);
  });

  it('every fault once: each fault and each hard case', () => {
    const once = planOf({ seed: 1, hours: 0, faults: FAULT_COUNT });
    expect(once.map(({ id }) => id).sort()).toEqual(
      [...Object.keys(FAULTS).map((name) => `fault/${name}/0`), ...HARD_CASES.map((name) => `hard/${name}/0`)].sort(),
    );
  });

  it('shards have each scenario once', () => {
    const parts = [1, 2, 3].flatMap((index) => shardOf(plan, { index, of: 3 }));
    expect(parts.map(({ id }) => id).sort()).toEqual(plan.map(({ id }) => id).sort());
  });

  it('healthy shifts: each cycle in each climate, low and high, single days and weeks', () => {
    const shifts = ofKind('healthy').map(({ id }) => scenarioOfJob(id, 1));
    const met = new Set(shifts.map(({ title }) => title.replace(/^\w+, /, '')));
    expect(met.size).toBe(25);
    expect(new Set(shifts.map(({ weather }) => weather.altitudeM)).size).toBe(5);
    expect(new Set(shifts.map(({ durationS }) => Math.round(durationS / 3600))).size).toBe(3);
    const coldest = shifts.map(({ weather }) => weather.daily!.lowC);
    const warmest = shifts.map(({ weather }) => weather.daily!.highC);
    expect(Math.min(...coldest)).toBeLessThan(-28);
    expect(Math.max(...warmest)).toBeGreaterThan(44);
  });

  // A day that is drawn may have a stop where a menu puts something of its own: that must still be a road that can be driven.
  it.each([1, 2, 3])('every scenario of seed %i can be driven', (seed) => {
    const wrong = planOf({ seed, hours: 600, faults: 300 }).flatMap(({ id }) => {
      try {
        scenarioOfJob(id, seed);
        return [];
      } catch (error) {
        return [`${id}: ${(error as Error).message}`];
      }
    });
    expect(wrong).toEqual([]);
  });

  it('another seed gives other shifts, the same seed the same', () => {
    expect(scenarioOfJob('healthy/4', 1)).toEqual(scenarioOfJob('healthy/4', 1));
    expect(scenarioOfJob('healthy/4', 1)).not.toEqual(scenarioOfJob('healthy/4', 2));
    // FNV-1a as published: http://www.isthe.com/chongo/tech/comp/fnv, "foobar" is 0xbf9cf968.
    expect(seedOf('obar', 0)).toBe(fnv1a('0/obar'));
    expect(fnv1a('foobar')).toBe(0xbf9cf968);
  });

  it('an id that no plan has is refused', () => {
    for (const id of ['healthy/x', 'fault/no-such/0', 'hard/cold-morning', 'else/1'])
      expect(() => scenarioOfJob(id, 1), id).toThrow(RangeError);
  });
});

function fnv1a(text: string): number {
  let hash = 2166136261n;
  for (const char of text) hash = ((hash ^ BigInt(char.charCodeAt(0))) * 16777619n) & 0xffffffffn;
  return Number(hash);
}
