import { describe, expect, it } from 'vitest';
import type { TruckConfig } from '../../../config/resolved.js';
import { isDeclaredUnit } from '../../../daemon/alerts/rounding.js';
import { RULES } from '../../../daemon/alerts/rules.js';
import { measuredWords } from '../../../daemon/alerts/words.js';
import { leak, sized, standing } from './air-truck.js';
import type { Drive } from './drive.js';

type Show = TruckConfig['show'];
const showOf = (pressure: Show['pressure']): Show => ({ pressure, temperature: '°C', position: 'exact' });

/** On the road, one cycle of the compressor after the other. */
function cycles(n: number, cutIn: number, cutOut: number): Drive {
  const d = sized('two');
  Object.assign(d.world, { supply: 800, pumping: 0 });
  d.run(10);
  for (let i = 0; i < n; i++) {
    const from = d.world.supply!;
    d.run(60, (s) => Object.assign(d.world, { supply: from + ((cutIn - from) * Math.min(s, 57)) / 57, pumping: 0 }));
    d.run(41, (s) => Object.assign(d.world, { supply: cutIn + ((cutOut - cutIn) * s) / 40, pumping: 1 }));
    d.world.pumping = 0;
    d.run(5);
  }
  return d;
}

function builds(seconds: number): Drive {
  const d = standing('one', { rpm: 1100 });
  for (let i = 0; i < 2; i++) {
    Object.assign(d.world, { primary: 560, secondary: 560 });
    d.run(5);
    const kpaOf = (s: number): number => 560 + (103 / seconds) * s;
    d.run(Math.ceil((140 * seconds) / 103) + 2, (s) =>
      Object.assign(d.world, { primary: kpaOf(s), secondary: kpaOf(s) }),
    );
  }
  return d;
}

const pressures = (primary: number, secondary: number, seconds: number): Drive => {
  const d = sized('two').run(30);
  Object.assign(d.world, { primary, secondary });
  return d.run(seconds);
};

/** Each air rule with something that it tells, as the driver reads it. */
const TABLE: [rule: string, () => Drive, psi: RegExp, bar: RegExp, kpa: RegExp][] = [
  [
    'air-low',
    () => pressures(400, 800, 5),
    /^primary circuit pressure 58 psi \(limit 60 psi\)$/,
    /^primary circuit pressure 4\.0 bar \(limit 4\.1 bar\)$/,
    /^primary circuit pressure 400 kPa \(limit 414 kPa\)$/,
  ],
  [
    'circuits-unequal',
    () => pressures(800, 680, 70),
    /^circuit difference, secondary lower 17 psi \(limit 15 psi\)$/,
    /^circuit difference, secondary lower 1\.2 bar \(limit 1\.0 bar\)$/,
    /^circuit difference, secondary lower 120 kPa \(limit 103 kPa\)$/,
  ],
  [
    'air-leaking',
    () => leak(standing('two'), 700, 30),
    /^leak rate, primary circuit, brakes released 4\.[34] psi\/min \(limit 3\.0 psi\/min\)$/,
    /^leak rate, primary circuit, brakes released 0\.30 bar\/min \(limit 0\.21 bar\/min\)$/,
    /^leak rate, primary circuit, brakes released (29\.\d|30\.\d) kPa\/min \(limit 20\.7 kPa\/min\)$/,
  ],
  [
    'air-cut-in-low',
    () => cycles(4, 640, 840),
    /^cut-in pressure 93 psi \(limit 97 psi\)$/,
    /^cut-in pressure 6\.4 bar \(limit 6\.7 bar\)$/,
    /^cut-in pressure 640 kPa \(limit 672 kPa\)$/,
  ],
  [
    'air-cut-out-high',
    () => cycles(2, 720, 1040),
    /^cut-out pressure 151 psi \(limit 150 psi\)$/,
    /^cut-out pressure 10\.4 bar \(limit 10\.3 bar\)$/,
    /^cut-out pressure 1040 kPa \(limit 1034 kPa\)$/,
  ],
  ['air-builds-slowly', () => builds(70), ...alike(/^build-up time (69|70|71)(\.\d)? s \(limit 45 s\)$/)],
  [
    'compressor-overworked',
    () => {
      const d = sized('two');
      d.world.pumping = 1;
      return d.run(1_810);
    },
    ...alike(/^pumping, of running time 100 % \(limit 50 %\)$/),
  ],
];

function alike(words: RegExp): [RegExp, RegExp, RegExp] {
  return [words, words, words];
}

describe('what air rules measure, in the units of the truck file', () => {
  it('every air rule is in the table', () => {
    expect(TABLE.map(([rule]) => rule).sort()).toEqual(
      RULES.filter((r) => r.family === 'air')
        .map((r) => r.name)
        .sort(),
    );
  });

  it.each(TABLE)('%s', (rule, drive, ...words) => {
    const [e] = drive().list(rule);
    expect(e).toMatchObject({ change: 'raised' });
    expect(isDeclaredUnit((e!.measured as { unit: string }).unit)).toBe(true);
    for (const [i, unit] of (['psi', 'bar', 'kPa'] as const).entries())
      expect(measuredWords(e!.measured, showOf(unit))).toMatch(words[i]!);
  });
});
