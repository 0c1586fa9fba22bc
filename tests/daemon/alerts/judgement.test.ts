import { describe, expect, it } from 'vitest';
import { Judgement } from '../../../daemon/alerts/judgement.js';
import { ruleNamed } from '../../../daemon/alerts/rules.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { truckOf } from '../../support/truck-file.js';
import { type Input, naiveStack } from './naive-evidence.js';

const config = truckOf();
const of = (rule: 'tire-underinflated' | 'tire-hot' | 'brake-overstroke' | 'tire-losing-air') => {
  const j = new Judgement(ruleNamed(rule)!, config.rules[rule], {});
  j.add('x', 'x');
  return j;
};
/** A value every second from `from` on; gives the level at each tick. */
function run(j: Judgement, from: number, values: number[]): number[] {
  return values.map((value, i) => {
    const t = from + 1000 * i;
    for (const [k, limit] of j.limits.entries()) if (limit.name !== 'above-peers') j.value(0, k, t, 30_000, value);
    j.settle(t);
    return j.level(j.subjects[0]!);
  });
}
const held = (value: number, seconds: number) => new Array<number>(seconds + 1).fill(value);

describe('levels of one subject', () => {
  it('raise at the limit and clear at the other, both exactly (low limits: ≤ and ≥)', () => {
    expect(run(of('tire-underinflated'), 0, held(0.9, 600)).at(-1)).toBe(1);
    expect(run(of('tire-underinflated'), 0, held(0.9001, 700)).at(-1)).toBe(0);
    const j = of('tire-underinflated');
    run(j, 0, held(0.9, 600));
    expect(run(j, 601_000, held(0.9299, 700)).at(-1)).toBe(1);
    expect(run(j, 1_302_000, held(0.93, 599)).at(-1)).toBe(1);
    expect(run(j, 1_902_000, held(0.93, 1)).at(-1)).toBe(0);
  });

  it('high limits: ≥ and ≤', () => {
    expect(run(of('tire-hot'), 0, held(109.9, 300))).not.toContain(2);
    const j = of('tire-hot');
    const hot = run(j, 0, held(110, 180));
    expect(hot.slice(-2)).toEqual([0, 2]);
    expect(run(j, 181_000, held(100.1, 300)).at(-1)).toBe(2);
  });

  it('time beyond a worse level counts for the lesser ones', () => {
    const levels = run(of('tire-underinflated'), 0, [...held(0.79, 60), ...held(0.45, 60)]);
    expect([levels.indexOf(3), levels.indexOf(2)]).toEqual([81, -1]);
    // 120 s below 80 % make next-stop hold, whatever was below 50 %.
    const j = of('tire-underinflated');
    run(j, 0, [...held(0.79, 60), ...held(0.45, 60)]);
    expect(run(j, 122_000, held(0.7, 20)).slice(-2)).toEqual([3, 2]);
  });

  it('a fall from a level that was proved sooner than the lesser ones goes to them, and does not clear', () => {
    const j = of('tire-underinflated');
    expect(run(j, 0, held(0.45, 25)).at(-1)).toBe(3);
    const after = run(j, 26_000, held(0.61, 60));
    expect(after.at(-1)).toBe(2);
    expect(after).not.toContain(0);
    const recovering = run(j, 87_000, held(0.85, 200));
    expect(recovering.at(-1)).toBe(1);
    expect(recovering).not.toContain(0);
    expect(run(j, 288_000, held(0.95, 601)).at(-1)).toBe(0);
  });

  it('reset leaves nothing', () => {
    const j = of('tire-underinflated');
    run(j, 0, held(0.45, 700));
    j.reset(0);
    expect(j.level(j.subjects[0]!)).toBe(0);
    expect(run(j, 701_000, held(0.45, 19)).at(-1)).toBe(0);
  });

  it('a verdict stands by itself until the next one', () => {
    const j = of('tire-losing-air');
    const plan = j.limit('plan');
    j.verdict(0, plan, 0, true, false);
    j.settle(1000);
    expect(j.level(j.subjects[0]!)).toBe(1);
    j.settle(86_400_000);
    expect(j.level(j.subjects[0]!)).toBe(1);
    j.verdict(0, plan, 90_000_000, false, true);
    j.settle(90_001_000);
    expect(j.level(j.subjects[0]!)).toBe(0);
  });

  it('another witness raises at once, unless the clear limit is met', () => {
    const j = of('tire-underinflated');
    run(j, 0, held(0.85, 5));
    j.corroborate(0, j.limit('plan'), 5_500, 30_000);
    j.settle(6_000);
    expect(j.level(j.subjects[0]!)).toBe(1);
    const good = of('tire-underinflated');
    run(good, 0, held(0.99, 5));
    good.corroborate(0, good.limit('plan'), 5_500, 30_000);
    good.settle(6_000);
    expect(good.level(good.subjects[0]!)).toBe(0);
  });

  it('a removed subject leaves nothing in the state', () => {
    const states = {};
    const j = new Judgement(ruleNamed('fault-code')!, config.rules['fault-code'], states);
    for (const name of ['a', 'b', 'c']) j.add(name, name);
    j.remove('b');
    expect(Object.keys(states)).toEqual(['a', 'c']);
    expect([j.find('a'), j.find('b'), j.find('c')]).toEqual([0, -1, 1]);
  });
});

describe('levels against a second, naive reading of design.md', () => {
  const seed = printedSeed('judgement');
  /** Share of the target: raise, clear; shorter delays than the truck's, to have many changes in a few minutes. */
  const LEVELS = [
    { name: 'plan', level: 1, raise: 0.9, clear: 0.93, delayS: 40 },
    { name: 'next-stop', level: 2, raise: 0.8, clear: 0.84, delayS: 15 },
    { name: 'pull-over', level: 3, raise: 0.5, clear: 0.6, delayS: 5 },
  ];
  const CLEAR_S = 12;
  const rule = structuredClone(config.rules['tire-underinflated']);
  for (const { name, delayS } of LEVELS)
    Object.assign(rule.criteria[name]!, { raiseAfterS: delayS, clearAfterS: CLEAR_S });

  const step = fc.record({
    // Both sides of every limit; null: bad data.
    value: fc.constantFrom(
      0.99,
      0.93,
      0.9299,
      0.9001,
      0.9,
      0.84,
      0.8399,
      0.8001,
      0.8,
      0.6,
      0.5999,
      0.5001,
      0.5,
      0.3,
      null,
    ),
    times: fc.integer({ min: 1, max: 20 }),
    everyMs: fc.constantFrom(700, 1000, 2000, 3500),
    pauseMs: fc.constantFrom(0, 0, 0, 4000, 29_000, 31_000),
  });

  it('raises, gets worse, gets better and clears at the same ticks', () => {
    const changes = new Set<string>();
    fc.assert(
      fc.property(fc.array(step, { minLength: 1, maxLength: 10 }), (steps) => {
        const limitMs = 3000;
        const readings: { t: number; value: number | null }[] = [];
        let t = 0;
        for (const { value, times, everyMs, pauseMs } of steps) {
          t += pauseMs;
          for (let i = 0; i < times; i++) {
            t += everyMs;
            readings.push({ t, value });
          }
        }
        const until = t + 40_000;
        const j = new Judgement(ruleNamed('tire-underinflated')!, rule, {});
        j.add('x', 'x');
        const levels: number[] = [];
        let next = 0;
        for (let tick = 1000; tick <= until; tick += 1000) {
          for (; next < readings.length && readings[next]!.t < tick; next++) {
            const { t: at, value } = readings[next]!;
            for (const { name } of LEVELS) {
              if (value === null) j.stop(0, at, j.limit(name));
              else j.value(0, j.limit(name), at, limitMs, value);
            }
          }
          j.settle(tick);
          levels.push(j.level(j.subjects[0]!));
        }
        const limits = LEVELS.map(({ level, raise, clear, delayS }) => ({
          level,
          spec: { raiseAfterMs: delayS * 1000, clearAfterMs: CLEAR_S * 1000, n: 0, m: 0, clearsByTime: true },
          inputs: readings.map(
            ({ t: at, value }): Input => ({
              t: at,
              reading: value === null ? null : { raising: value <= raise, clearing: value >= clear, limitMs },
            }),
          ),
        }));
        const naive = naiveStack(limits, until).map((up) =>
          Math.max(0, ...LEVELS.map((l, i) => (up[i] ? l.level : 0))),
        );
        expect(levels).toEqual(naive);
        for (const [i, level] of levels.entries())
          if (level !== (levels[i - 1] ?? 0)) changes.add(`${levels[i - 1] ?? 0}>${level}`);
      }),
      { seed, numRuns: 60 },
    );
    console.log(`judgement: changes seen: ${[...changes].sort().join(' ')}`);
  }, 60_000);
});
