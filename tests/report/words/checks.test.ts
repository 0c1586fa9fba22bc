import { describe, expect, it } from 'vitest';
import { strokeLimit } from '../../../config/chambers.js';
import { loadDefaults } from '../../../config/defaults.js';
import { RULE_NAMES, type RuleName } from '../../../config/resolved.js';
import { RULES } from '../../../daemon/alerts/rules.js';
import { coldPressure } from '../../../daemon/monitors/arithmetic/cold-pressure.js';
import { SERIES_QUANTITIES } from '../../../report/gathered.js';
import { CHECKS } from '../../../report/words/checks.js';
import { GLOSSARY } from '../../../report/words/glossary.js';
import { QUANTITY_WORDS } from '../../../report/words/quantities.js';
import { TOOLS } from '../../../report/words/tools.js';

const rules = RULE_NAMES.filter((rule) => rule !== 'test-message');
const linesOf = (rule: RuleName): string[] => [...CHECKS[rule].checks.map((c) => c.do), ...CHECKS[rule].sensorOrReal];
const textOf = (rule: RuleName): string => linesOf(rule).join('\n');
const everything = [...RULE_NAMES.flatMap(linesOf), ...Object.values(GLOSSARY)];

/** A sentence ends before a capital letter. */
const sentencesOf = (line: string): string[] => line.split(/(?<=[.!?])\s+(?=[A-Z])/);

/** Words of an office, of another trade, or of the program's inside. */
const JARGON =
  /\b(?:utili[sz]e|leverage|troubleshoot|functionality|optimal|ensure|parameter|threshold|hysteresis|debounce|telemetry|malfunction|DTC|SPN|PGN|DM1|ECU|OEM|TPMS|CMV|subject|quantity|payload|please|simply|just do)\b/i;

describe.each(rules)('%s', (rule) => {
  it('has three to seven checks and two to four lines on sensor or real', () => {
    const { checks, sensorOrReal } = CHECKS[rule];
    expect(checks.length).toBeGreaterThanOrEqual(3);
    expect(checks.length).toBeLessThanOrEqual(7);
    expect(sensorOrReal.length).toBeGreaterThanOrEqual(2);
    expect(sensorOrReal.length).toBeLessThanOrEqual(4);
    expect(new Set(linesOf(rule)).size).toBe(linesOf(rule).length);
  });

  it('takes its tools from one list, and at least one', () => {
    const tools = CHECKS[rule].checks.map((c) => c.tool).filter((tool) => tool !== null);
    expect(tools.filter((tool) => !Object.values<string>(TOOLS).includes(tool))).toEqual([]);
    expect(tools.length).toBeGreaterThan(0);
  });
});

it('a test message asks nothing of a technician', () => {
  expect(CHECKS['test-message'].checks).toHaveLength(1);
});

it('every tool of the list is used', () => {
  const used = new Set(rules.flatMap((rule) => CHECKS[rule].checks.map((c) => c.tool)));
  expect(Object.values<string>(TOOLS).filter((tool) => !used.has(tool))).toEqual([]);
});

it('sentences are short, plain, and end', () => {
  expect(everything.flatMap(sentencesOf).filter((sentence) => sentence.length > 180)).toEqual([]);
  expect(everything.filter((line) => JARGON.test(line))).toEqual([]);
  expect(everything.filter((line) => !/[.?]$/.test(line) || !/^[A-Z]/.test(line) || line.includes('`'))).toEqual([]);
  expect(everything.filter((line) => /\s\s|--|;.*;.*;/.test(line))).toEqual([]);
});

describe('safety', () => {
  const equipment = RULES.filter((r) => r.kind === 'equipment' && r.family !== 'faults' && r.name !== 'stop-lamp');

  it.each(equipment.map((r) => r.name))('%s begins with what keeps people safe', (rule) => {
    const [first, second] = CHECKS[rule].checks.map((c) => c.do);
    expect(`${first} ${second}`).toMatch(/\bchock|from a distance/i);
    expect(first).toMatch(/chock|from a distance|Never let air out/i);
  });

  it('brakes and air leave it to local codes who may work on them', () => {
    for (const { name } of RULES.filter((r) => r.family === 'brakes' || r.family === 'air')) {
      if (name === 'air-cut-out-high') continue;
      expect(textOf(name), name).toMatch(/local codes/i);
    }
  });

  it('nothing is ever declared fit to drive, and no stroke is readjusted away', () => {
    expect(everything.filter((line) => /safe to drive|may be driven|can be driven|fit to drive/i.test(line))).toEqual(
      [],
    );
    expect(
      everything.filter((line) => /readjust/i.test(line) && !/Do not just readjust|was readjusted by/.test(line)),
    ).toEqual([]);
  });

  it('a low tire is emptied before it is taken off, and a hot one is never let down', () => {
    for (const rule of ['tire-underinflated', 'tire-losing-air', 'duals-unequal'] as const)
      expect(textOf(rule)).toContain('put no air in. Take the valve core out, then take the tire off');
    expect(textOf('tire-hot')).toContain('do not let air out of it');
    expect(textOf('tire-overinflated')).toContain('Never let air out of a hot tire');
  });
});

describe('figures in two units', () => {
  const number = (text: string): number => Number(text.replaceAll(',', ''));
  /** 2 1/2, 5/8, 0.2 */
  const inches = (text: string): number =>
    text.split(' ').reduce((sum, part) => {
      const [over, under = '1'] = part.split('/');
      return sum + Number(over) / Number(under);
    }, 0);
  /** One figure or a range, in SI and behind it in brackets in the other unit. */
  const pairs = (unit: string, other: string): RegExp =>
    new RegExp(
      `([\\d.,]+)(?: (?:to|and) ([\\d.,]+))? ${unit}(?![/\\w])(?: \\(([\\d. /]+?)(?: (?:to|and) ([\\d. /]+?))? ${other}\\))?`,
      'g',
    );
  /** Both are round: to 6 %. */
  const near =
    (by: number) =>
    (si: number, us: number): boolean =>
      Math.abs(si - us * by) <= 0.06 * si;
  /** Of a temperature, or of a difference. */
  const degrees = (c: number, f: number): boolean => Math.min(Math.abs(c * 1.8 + 32 - f), Math.abs(c * 1.8 - f)) < 1;

  it.each<[string, string, (text: string) => number, (si: number, us: number) => boolean, number]>([
    ['kPa', 'psi', number, near(6.894757), 40],
    ['mm', 'in', inches, near(25.4), 12],
    ['°C', '°F', number, degrees, 5],
  ])('%s and %s agree, and neither stands alone', (unit, other, read, agree, least) => {
    let seen = 0;
    for (const line of everything) {
      for (const [all, low, high, lowOther, highOther] of line.matchAll(pairs(unit, other))) {
        expect(lowOther, `${all} in: ${line}`).toBeDefined();
        expect(agree(number(low!), read(lowOther!)), `${all} in: ${line}`).toBe(true);
        expect(high === undefined || agree(number(high), read(highOther!)), `${all} in: ${line}`).toBe(true);
        seen++;
      }
      expect(line.match(new RegExp(`\\d ${other}\\b(?!\\))`, 'g')), line).toBeNull();
    }
    expect(seen).toBeGreaterThanOrEqual(least);
  });
});

describe('figures are those that are judged by', () => {
  const defaults = loadDefaults();
  const level = (rule: RuleName, name: string) => defaults[rule].config.criteria[name]!;
  const k = (rule: RuleName, name: string): number => defaults[rule].config.constants[name]!;
  const limit = (type: string, ratedIn: number | null): number =>
    Math.round(strokeLimit({ type, ratedStrokeMm: ratedIn === null ? null : ratedIn * 25.4 }).limitMm * 10) / 10;

  it.each<[RuleName, string]>([
    ['tire-underinflated', `At ${level('tire-underinflated', 'next-stop').raise! * 100} % of target or less`],
    ['tire-underinflated', `Above ${level('tire-underinflated', 'next-stop').raise! * 100} % of target`],
    ['tire-hot', `at ${level('tire-hot', 'pull-over').raise} °C`],
    ['duals-unequal', `More than ${level('duals-unequal', 'cold-start-fine').raise} kPa`],
    ['brake-overstroke', `Type 30: ${limit('30', null)} mm (2 in), long stroke ${limit('30', 3)} mm (2 1/2 in)`],
    ['brake-overstroke', `${k('brake-overstroke', 'bandLowKpa')} to 620 kPa (80 to 90 psi)`],
    ['brake-overstroke', `620 to ${k('brake-overstroke', 'bandHighKpa')} kPa (90 to 100 psi)`],
    ['brake-not-applying', `less than ${k('brake-not-applying', 'minStrokeMm')} mm`],
    ['brake-not-applying', `at ${k('brake-not-applying', 'qualifyingKpa')} kPa (20 psi) or more`],
    ['brake-stroke-uneven', `More than ${level('brake-stroke-uneven', 'plan').raise} mm (1/2 in)`],
    ['brakes-defective-share', `${level('brakes-defective-share', 'pull-over').raise! * 100} % or more of the brakes`],
    ['brake-sensor-fault', `stay away for ${level('brake-sensor-fault', 'plan').clearAfterS} s`],
    ['air-low', `before ${level('air-low', 'pull-over').raise} kPa (60 psi)`],
    ['air-leaking', `Limits: ${k('air-leaking', 'releasedOneKpaPerMin')} kPa (2 psi)`],
    ['air-leaking', `two units ${k('air-leaking', 'releasedTwoKpaPerMin')} kPa (3 psi)`],
    ['air-leaking', `three ${k('air-leaking', 'releasedThreeKpaPerMin')} kPa (5 psi)`],
    ['air-leaking', `at ${k('air-leaking', 'appliedFromKpa')} kPa (90 psi) or more for a minute`],
    ['air-leaking', `Limits: ${k('air-leaking', 'appliedOneKpaPerMin')} kPa (3 psi)`],
    ['air-leaking', `two units ${k('air-leaking', 'appliedTwoKpaPerMin')} kPa (4 psi)`],
    ['air-leaking', `three ${k('air-leaking', 'appliedThreeKpaPerMin')} kPa (6 psi)`],
    ['air-leaking', `waits ${k('air-leaking', 'settleS')} s`],
    [
      'air-builds-slowly',
      `from ${k('air-builds-slowly', 'fromKpa')} to ${k('air-builds-slowly', 'toKpa')} kPa (85 to 100 psi)`,
    ],
    ['air-builds-slowly', `at most ${level('air-builds-slowly', 'plan').raise} s`],
    ['air-cut-out-high', `to ${level('air-cut-out-high', 'plan').raise} kPa (120 to 140 psi)`],
    ['air-cut-out-high', `about 1,${String(level('air-cut-out-high', 'next-stop').raise).slice(1)} kPa (150 psi)`],
  ])('%s: %s', (rule, words) => {
    expect(textOf(rule)).toContain(words);
  });

  it('half of the time pumping is the limit of the compressor', () => {
    expect(level('compressor-overworked', 'plan').raise).toBe(0.5);
    expect(textOf('compressor-overworked')).toContain('pumping half of it');
  });

  // S5.1.1.1; the limit of the rule is two steps of a sensor below it.
  it('a governor cuts in at 100 psi, a bus at 85', () => {
    expect(textOf('air-cut-in-low')).toContain('690 kPa (100 psi) or more, a bus 586 kPa (85 psi) or more');
    expect(level('air-cut-in-low', 'plan').raise).toBeGreaterThanOrEqual(689 - 2 * 8.5);
    expect(k('air-cut-in-low', 'busKpa')).toBeGreaterThanOrEqual(586 - 2 * 8.5);
  });

  it('the fill of a warm shop on a cold day, by the gas law', () => {
    expect(textOf('tires-off-target')).toContain(
      '690 kPa (100 psi) at 18 °C (65 °F) shows 640 kPa (93 psi) at 0 °C (32 °F)',
    );
    const air = 101.325;
    // What reads 690 when it is brought back to 18 °C stands at 640 in the frost.
    expect(coldPressure(640, 0, air, 18, air)).toBeCloseTo(690, -1);
    expect(Math.abs(coldPressure(640, 0, air, 18, air) - 690)).toBeLessThan(4);
  });

  it('a warmer tire of 100 psi, by the gas law: within a tenth of the rule of thumb', () => {
    const rise = (690 + 101.325) * (5.6 / 291.15);
    expect(Math.abs(rise - 14) / rise).toBeLessThan(0.1);
  });

  // Standard atmosphere: 89.87 kPa at 1,000 m.
  it('a sender that counts from sea level is 11 kPa off for each 1,000 m', () => {
    expect(Math.round(101.325 * (1 - (1 - 2.25577e-5 * 1000) ** 5.25588))).toBe(11);
    expect(textOf('tires-off-target')).toContain('about 11 kPa (1.6 psi) too little for each 1,000 m (3,300 ft)');
  });

  it('lining, 49 CFR 393.47(d): a quarter, an eighth and three sixteenths of an inch', () => {
    expect(textOf('brake-lining-low')).toContain(
      '6.4 mm (1/4 in) in a drum, 3.2 mm (1/8 in) in a disc brake; 4.8 mm (3/16 in)',
    );
  });
});

it('the glossary tells the judged band and qualifying applications as they are', () => {
  const { constants } = loadDefaults()['brake-overstroke'].config;
  expect(GLOSSARY['judged band']).toContain(`${constants.bandLowKpa} to ${constants.bandHighKpa} kPa`);
  expect(GLOSSARY['qualifying application']).toContain(`${constants.qualifyingKpa} kPa (20 psi)`);
  expect(GLOSSARY['qualifying application']).toContain(`${constants.qualifyingS} s`);
});

it('every quantity of a line has words', () => {
  expect(Object.keys(QUANTITY_WORDS)).toEqual([...SERIES_QUANTITIES]);
});
