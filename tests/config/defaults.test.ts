import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { loadDefaults } from '../../config/load.js';
import { RULE_NAMES, type RuleName, URGENCIES } from '../../config/resolved.js';
import { resolveDefaults } from '../../config/rules.js';
import { parseSource } from '../../config/source.js';

const text = readFileSync(new URL('../../config/defaults.yaml', import.meta.url), 'utf8');
type Level = Record<string, unknown>;
/** Read by the YAML package alone, without any of our own code. */
const plain = parse(text) as Record<
  string,
  { enabled: unknown; levels?: Record<string, Level>; also?: Record<string, Level> }
>;
const tree = () => parseSource(text, 'defaults.yaml').tree as Record<string, Record<string, Record<string, Level>>>;

describe('every level says all of it', () => {
  it('all rules are there and no others', () => {
    expect(Object.keys(plain).sort()).toEqual([...RULE_NAMES].sort());
  });

  const levels = Object.entries(plain).flatMap(([rule, { levels, also }]) =>
    Object.entries({ ...levels, ...also }).map(([name, level]) => [rule, name, level] as const),
  );

  it.each(levels)('%s %s', (_rule, _name, level) => {
    expect(level).toHaveProperty('raise');
    expect(level).toHaveProperty('clear');
    expect('of' in level || ('raiseAfter' in level && 'clearAfter' in level)).toBe(true);
    expect(String(level.basis ?? '')).toMatch(/\w{3}/);
  });

  it('no rule is on without a level', () => {
    for (const [rule, { enabled, levels, also }] of Object.entries(plain)) {
      if (enabled === 'yes') expect(Object.keys({ ...levels, ...also }), rule).not.toHaveLength(0);
    }
  });

  it.each(['raise', 'clear', 'raiseAfter', 'clearAfter', 'basis'])('a level without %s is refused', (field) => {
    const broken = tree();
    delete broken['air-low']!.levels!['pull-over']![field];
    expect(() => resolveDefaults(broken)).toThrow();
  });

  it('a level without a count and without delays is refused', () => {
    const broken = tree();
    delete broken['brake-overstroke']!.levels!.plan!.of;
    expect(() => resolveDefaults(broken)).toThrow(/raiseAfter/);
  });

  it('a rule that is on without a level is refused', () => {
    const broken = tree();
    broken['air-low']!.levels = {};
    expect(() => resolveDefaults(broken)).toThrow(/no level/);
  });

  it('a level without room between raise and clear is refused', () => {
    const broken = tree();
    broken['air-low']!.levels!['pull-over']!.clear = '414 kPa' as never;
    expect(() => resolveDefaults(broken)).toThrow(/no room/);
  });

  it('a missing rule, an unknown rule and an unknown field are refused', () => {
    const missing = tree();
    delete missing['air-low'];
    expect(() => resolveDefaults(missing)).toThrow();
    expect(() => resolveDefaults({ ...tree(), 'air-lower': tree()['air-low'] })).toThrow();
    const field = tree();
    field['air-low']!.levels!['pull-over']!.raises = '3 kPa' as never;
    expect(() => resolveDefaults(field)).toThrow();
  });
});

/** monitors.md: rule, criterion, urgency, raise, clear, seconds or count, seconds to clear. SI, shares as fractions. */
const TABLE: [RuleName, string, string, number | null, number | null, number | string, number][] = [
  ['tire-underinflated', 'plan', 'plan', 0.9, 0.93, 600, 600],
  ['tire-underinflated', 'next-stop', 'next-stop', 0.8, 0.84, 120, 120],
  ['tire-underinflated', 'pull-over', 'pull-over', 0.5, 0.6, 20, 20],
  ['tire-losing-air', 'pull-over', 'pull-over', 7, 4, '1 of 1', 120],
  ['tire-losing-air', 'next-stop', 'next-stop', 12, 4, '3 of 3', 600],
  ['tire-losing-air', 'plan', 'plan', 5, 2.5, 0, 10],
  ['tire-losing-air', 'forecast', 'next-stop', 1800, 2700, 0, 600],
  ['tire-losing-air', 'burst', 'pull-over', 0.4, null, 0, 120],
  ['tire-overinflated', 'plan', 'plan', 1.25, 1.18, 600, 600],
  ['tire-hot', 'next-stop', 'next-stop', 110, 100, 180, 180],
  ['tire-hot', 'pull-over', 'pull-over', 120, 110, 60, 60],
  ['tire-hot', 'above-peers', 'next-stop', 30, 22, 300, 300],
  ['duals-unequal', 'plan', 'plan', 48, 34, 600, 600],
  ['duals-unequal', 'cold-start', 'plan', 41, 28, 0, 10],
  ['duals-unequal', 'cold-start-fine', 'plan', 34.5, 21, 0, 10],
  ['tire-sensor-silent', 'plan', 'plan', null, null, 0, 10],
  ['tire-sensor-fault', 'plan', 'plan', null, null, '3 of 3', 0],
  ['layout-mismatch', 'plan', 'plan', null, null, 120, 120],
  ['trailer-not-seen', 'plan', 'plan', null, null, 900, 10],
  ['tires-off-target', 'plan', 'plan', null, null, 1800, 1800],
  ['brake-overstroke', 'plan', 'plan', null, null, '1 of 3', 0],
  ['brake-overstroke', 'next-stop', 'next-stop', null, null, '2 of 3', 0],
  ['brake-overstroke', 'measured', 'next-stop', null, null, '2 of 3', 0],
  ['brake-overstroke', 'measured-far', 'pull-over', null, null, '1 of 1', 0],
  ['brake-not-applying', 'next-stop', 'next-stop', null, null, '2 of 3', 0],
  ['brake-not-applying', 'measured', 'next-stop', null, null, '3 of 3', 0],
  ['brake-dragging', 'next-stop', 'next-stop', null, null, 10, 10],
  ['brake-dragging', 'with-heat', 'pull-over', null, null, 10, 10],
  ['brake-dragging', 'measured', 'next-stop', null, null, 10, 10],
  ['brake-dragging', 'measured-with-heat', 'pull-over', null, null, 10, 10],
  ['brake-stroke-uneven', 'plan', 'plan', 12.7, null, '3 of 5', 0],
  ['brake-stroke-growing', 'plan', 'plan', 14 * 86_400, 21 * 86_400, 0, 10],
  ['brake-hot', 'next-stop', 'next-stop', null, null, 5, 10],
  ['brakes-defective-share', 'pull-over', 'pull-over', 20 / 100, 19.9 / 100, 0, 10],
  ['brake-sensor-fault', 'plan', 'plan', null, null, 30, 30],
  ['air-low', 'pull-over', 'pull-over', 414, 448, 2, 10],
  ['air-leaking', 'plan', 'plan', null, null, '2 of 2', 0],
  ['air-leaking', 'next-stop', 'next-stop', null, null, '2 of 2', 0],
  ['air-leaking', 'applied', 'plan', null, null, '2 of 2', 0],
  ['air-leaking', 'applied-far', 'next-stop', null, null, '2 of 2', 0],
  ['air-builds-slowly', 'plan', 'plan', 45, 40, '2 of 3', 0],
  ['air-builds-slowly', 'against-itself', 'plan', 1.5, 1.3, '3 of 3', 0],
  ['air-cut-in-low', 'plan', 'plan', 672, 680, '3 of 5', 0],
  ['air-cut-out-high', 'plan', 'plan', 965, 948, '3 of 5', 0],
  ['air-cut-out-high', 'next-stop', 'next-stop', 1034, 1000, '2 of 3', 0],
  ['compressor-overworked', 'plan', 'plan', 0.5, 0.35, 0, 10],
  ['circuits-unequal', 'next-stop', 'next-stop', 103, 69, 60, 60],
  ['fault-code', 'plan', 'plan', null, null, '2 of 2', 10],
  ['fault-code', 'next-stop', 'next-stop', null, null, '2 of 2', 10],
  ['fault-code', 'pull-over', 'pull-over', null, null, '2 of 2', 10],
  ['stop-lamp', 'pull-over', 'pull-over', null, null, 5, 10],
  ['bus-silent', 'plan', 'plan', null, null, 0, 10],
  ['bus-off', 'plan', 'plan', null, null, 0, 10],
  ['source-silent', 'plan', 'plan', null, null, 0, 10],
  ['brake-lining-low', 'plan', 'plan', 0.2, 0.25, '3 of 3', 0],
  ['brake-lining-low', 'next-stop', 'next-stop', 0.1, 0.15, '3 of 3', 0],
];

describe('limits as monitors.md has them', () => {
  const rules = loadDefaults();

  it.each(TABLE)('%s %s', (rule, name, urgency, raise, clear, hold, clearAfterS) => {
    const level = rules[rule].config.criteria[name];
    expect(level).toMatchObject({
      urgency,
      raise,
      clear,
      raiseAfterS: typeof hold === 'number' ? hold : 0,
      clearAfterS,
      of: typeof hold === 'number' ? null : { n: Number(hold[0]), m: Number(hold.at(-1)) },
    });
  });

  it('the table above has every level of every rule that is on', () => {
    for (const [rule, { config }] of Object.entries(rules)) {
      if (!config.enabled) continue;
      const here = TABLE.filter(([name]) => name === rule).map(([, criterion]) => criterion);
      expect(here.sort(), rule).toEqual(Object.keys(config.criteria).sort());
    }
  });

  it('air-low is 60 and 65 psi, circuits-unequal 15 and 10 psi, to the kPa', () => {
    expect(Math.round(60 * 6.894757)).toBe(rules['air-low'].config.criteria['pull-over']!.raise);
    expect(Math.round(65 * 6.894757)).toBe(rules['air-low'].config.criteria['pull-over']!.clear);
    expect(Math.round(15 * 6.894757)).toBe(rules['circuits-unequal'].config.criteria['next-stop']!.raise);
    expect(Math.round(10 * 6.894757)).toBe(rules['circuits-unequal'].config.criteria['next-stop']!.clear);
  });

  it('constants are in the unit that their name ends with', () => {
    expect(rules['tire-losing-air'].config.constants).toEqual({
      rapidFallKpaPerMin: 8,
      rapidBeforeKpa: 4,
      steadyFallKpaPerMin: 1.75,
      gapS: 120,
      commonShare: 0.75,
      slowTotalKpa: 16,
      slowMinStarts: 3,
      slowMaxStarts: 5,
      slowMinHours: 36,
      addedAirKpa: 12,
      senderRapidKpaPerMin: 20,
      senderSteadyKpaPerMin: 3.5,
      forecastShare: 0.8,
      forecastFromKpa: 9,
      burstWithinS: 60,
    });
    expect(rules['tire-hot'].config.constants.peersFloorC).toBe(70);
    expect(rules['brake-overstroke'].config.constants.farMm).toBe(6.35);
    expect(rules['tires-off-target'].config.constants).toEqual({ lowShare: 0.04, highShare: 0.12, minTires: 6 });
  });

  it('urgencies are the names of the ordinary levels', () => {
    for (const { config } of Object.values(rules)) {
      for (const [name, level] of Object.entries(config.criteria)) {
        if ((URGENCIES as readonly string[]).includes(name)) expect(level.urgency).toBe(name);
      }
    }
  });
});
