import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { strokeLimit } from '../../../config/chambers.js';
import { loadDefaults } from '../../../config/defaults.js';
import { roundedTo } from '../../../daemon/alerts/rounding.js';
import { coldPressure } from '../../../daemon/monitors/arithmetic/cold-pressure.js';
import { Drive, PSI, truck } from './drive.js';

/** Rows of the regulation sheet's section 8 that have no other place. */

const AIR = 14.7 * PSI;
const celsius = (fahrenheit: number): number => ((fahrenheit - 32) * 5) / 9;
const IN = 25.4;

describe('heat correction of 49 CFR 393.75, Table 1 (T-05): 15 psi for truck tires after an hour at 50 mph', () => {
  const cold = (psi: number, fahrenheit: number): number =>
    coldPressure(psi * PSI, celsius(fahrenheit), AIR, celsius(65), AIR) / PSI;

  it('W-07: 105 psi measured hot is 90 psi cold by the table; by the gas law 88.3 at the 150 °F of a loaded tire (T-46)', () => {
    expect(cold(105, 150)).toBeCloseTo(88.3, 1);
    expect(Math.abs(cold(105, 150) - (105 - 15))).toBeLessThan(2);
  });

  it('W-08: 70 psi of a light tire is 65 psi cold by the table; the gas law says so at 99 °F', () => {
    expect(cold(70, 98.6)).toBeCloseTo(70 - 5, 0);
  });
});

it('W-11: 1 tire in 14 is 7.1 %, at the step in which shares are told', () => {
  expect(roundedTo('share', 1 / 14)).toBe(0.071);
});

describe('stroke', () => {
  const limitIn = (type: string, ratedIn: number): number =>
    strokeLimit({ type, ratedStrokeMm: ratedIn * IN }).limitMm / IN;

  it('W-14: 0.66 + 1.15 + 0.19 in is the limit of type 30', () => {
    expect(limitIn('30', 2.5)).toBeCloseTo(0.66 + 1.15 + 0.19, 2);
  });

  it.each([
    ['9', 1.75, 1.375],
    ['20', 2.25, 1.75],
    ['30', 2.5, 2],
    ['30', 3, 2.5],
  ])(
    'W-16: type %s of rated stroke %d in has %d in, the eighth of an inch below 80 %% or at it',
    (type, rated, limit) => {
      expect(limitIn(type, rated)).toBeCloseTo(limit, 2);
      expect(0.8 * rated - limit).toBeGreaterThan(-0.101);
      expect(0.8 * rated - limit).toBeLessThan(0.126);
    },
  );
});

describe('low-air warning', () => {
  const limitPsi = loadDefaults()['air-low'].config.criteria['pull-over']!.raise! / PSI;

  // A-02 has the lesser of 55 psi and half of the cut-out; D-20 half of it.
  it.each([
    ['120 psi', 120, 55],
    ['125 psi', 125, 55],
    ['100 psi', 100, 50],
  ])(
    'W-22: with a cut-out of %s the limit of 60 psi is above the least that the vehicle warns at',
    (_, cutOut, least) => {
      expect(Math.min(55, cutOut / 2)).toBe(least);
      expect(limitPsi).toBeGreaterThan(least);
    },
  );

  it('W-28: a bus that warns at 82 psi can be given that limit', () => {
    const rules = 'rules: {air-low: {levels: {pull-over: {raise: 82 psi, clear: 87 psi}}}}';
    expect(truck(rules).rules['air-low'].criteria['pull-over']!.raise! / PSI).toBeCloseTo(82, 6);
  });
});

// FMVSS 138 S4.2(a) (T-19), for light vehicles: within 20 min at 75 % of the placard. 80 % comes before it.
it.each([26.25, 26.3])('W-31: %d psi of 35 is told within 20 min', (psi) => {
  const d = new Drive(truck('', (yaml) => yaml.replaceAll('coldPressure: 100 psi', 'coldPressure: 35 psi')));
  for (const [subject, wheel] of Object.entries(d.wheels)) if (!subject.includes('single')) wheel.kpa = 35 * PSI;
  const wheel = 'tractor/2/left/outer';
  Object.assign(d.wheel(wheel), { fine: true, kpa: psi * PSI });
  d.run(1200);
  expect(d.of('tire-underinflated', wheel)).toEqual(['raised next-stop']);
});

/** Rows about what no rule judges. */
const NOT_JUDGED: Record<string, string> = {
  'W-12': 'no rule works out a force',
  'W-13': 'no rule works out a force',
  'W-18': 'share of false alarms in a study',
  'W-20': 'no rule works out free air per minute',
  'W-21': 'no rule works out free air per minute',
  'W-23': 'a test with the engine off that the driver watches on the gauge',
  'W-27': 'the knobs of the parking valves are not on the bus',
  'W-29': 'brake timing on a test bench',
  'W-32': 'what a broker does with messages that expire; none is sent',
  'W-33': 'when a broker closes a silent connection',
};

it('every row W-01 to W-33 is held by a test that names it, or is about what no rule judges', () => {
  const files = readdirSync('tests', { recursive: true, encoding: 'utf8' })
    .filter((name) => /\.(ts|yaml)$/.test(name))
    .filter((name) => !name.endsWith('regulation-rows.test.ts'))
    .map((name) => readFileSync(`tests/${name}`, 'utf8'));
  const own = readFileSync('tests/daemon/monitors/regulation-rows.test.ts', 'utf8');
  const here = own.slice(0, own.indexOf('const NOT_JUDGED'));
  const held = new Set([...files, here].flatMap((text) => text.match(/\bW-\d\d\b/g) ?? []));
  const rows = Array.from({ length: 33 }, (_, i) => `W-${String(i + 1).padStart(2, '0')}`);
  expect(rows.filter((row) => !held.has(row) && !Object.hasOwn(NOT_JUDGED, row))).toEqual([]);
});
