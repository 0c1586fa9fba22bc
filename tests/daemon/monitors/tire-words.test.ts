import { describe, expect, it } from 'vitest';
import type { TruckConfig } from '../../../config/resolved.js';
import { isDeclaredUnit } from '../../../daemon/alerts/rounding.js';
import { RULES } from '../../../daemon/alerts/rules.js';
import { measuredWords } from '../../../daemon/alerts/words.js';
import { Drive, gauge, SUBJECTS, TARGET_KPA, targetOf } from './drive.js';

type Show = TruckConfig['show'];
const WHEEL = 'tractor/2/left/outer';
const US: Show = { pressure: 'psi', temperature: '°F', position: 'exact' };
const BAR: Show = { pressure: 'bar', temperature: '°C', position: 'exact' };
const SI: Show = { pressure: 'kPa', temperature: '°C', position: 'exact' };

const drive = (prepare: (d: Drive) => void, seconds: number): Drive => {
  const d = new Drive();
  prepare(d);
  return d.run(seconds);
};
const at = (share: number) => (d: Drive) => Object.assign(d.wheel(WHEEL), { kpa: share * TARGET_KPA });

function leak(): Drive {
  const d = drive(() => {}, 120);
  return d.run(120, (s) => at(1 - (24 * s) / 60 / TARGET_KPA)(d));
}

function hot(): Drive {
  return drive((d) => {
    for (const s of SUBJECTS) Object.assign(d.wheel(s), { celsius: 100, kpa: gauge(targetOf(s), 100) });
    Object.assign(d.wheel(WHEEL), { celsius: 115, kpa: gauge(TARGET_KPA, 115) });
  }, 200);
}

function stranger(): Drive {
  const d = drive(() => {}, 30);
  return d.run(130, (s) => {
    if (s % 10 === 3) d.send(65268, 51, Uint8Array.of(0x4e, 172, 0, 0x24, 0xff, 0xff, 0xff, 0xff));
  });
}

function silent(): Drive {
  const d = drive(() => {}, 60);
  d.wheel(WHEEL).speaks = false;
  return d.run(320);
}

/** Each rule of tires and bus with something that it tells, as people read it: with psi and °F, with bar, in SI. */
const TABLE: [rule: string, () => Drive, us: RegExp, bar: RegExp, si: RegExp][] = [
  [
    'tire-underinflated',
    () => drive(at(0.78), 130),
    /^cold pressure 78 psi \(limit 80 psi\)$/,
    /^cold pressure 5\.4 bar \(limit 5\.5 bar\)$/,
    /^cold pressure 536 kPa \(limit 552 kPa\)$/,
  ],
  [
    'tire-losing-air',
    leak,
    /^leak rate \d\.\d psi\/min \(limit 1\.2 psi\/min\)$/,
    /^leak rate 0\.\d\d bar\/min \(limit 0\.08 bar\/min\)$/,
    /^leak rate \d\d\.\d kPa\/min \(limit 8\.0 kPa\/min\)$/,
  ],
  [
    'tire-overinflated',
    () => drive(at(1.3), 620),
    /^cold pressure 130 psi \(limit 125 psi\)$/,
    /^cold pressure 9\.0 bar \(limit 8\.6 bar\)$/,
    /^cold pressure 896 kPa \(limit 862 kPa\)$/,
  ],
  [
    'tire-hot',
    hot,
    /^tire temperature 239 °F \(limit 230 °F\)$/,
    /^tire temperature 115 °C \(limit 110 °C\)$/,
    /^tire temperature 115 °C \(limit 110 °C\)$/,
  ],
  [
    'duals-unequal',
    () => drive(at(0.91), 660),
    /^pressure difference 9 psi \(limit 7 psi\)$/,
    /^pressure difference 0\.6 bar \(limit 0\.5 bar\)$/,
    /^pressure difference 60 kPa \(limit 48 kPa\)$/,
  ],
  ['tire-sensor-silent', silent, /^silent for 5 min$/, /^silent for 5 min$/, /^silent for 5 min$/],
  [
    'tire-sensor-fault',
    () => drive((d) => Object.assign(d.wheel(WHEEL), { also: { 1697: 2 } }), 40),
    ...([/^sensor electrical fault$/, /^sensor electrical fault$/, /^sensor electrical fault$/] as const),
  ],
  [
    'layout-mismatch',
    stranger,
    ...([/^location 0x4E, source 51/, /^location 0x4E, source 51/, /^location 0x4E, source 51/] as const),
  ],
  [
    'tires-off-target',
    () =>
      drive((d) => {
        for (const s of SUBJECTS) d.wheel(s).kpa = 0.94 * targetOf(s);
      }, 1820),
    ...([
      /^median share of cold pressure 94 % \(limit 100 %\)$/,
      /^median share of cold pressure 94 % \(limit 100 %\)$/,
      /^median share of cold pressure 94 % \(limit 100 %\)$/,
    ] as const),
  ],
];

describe('what tire rules tell, in the units that the truck file asks for', () => {
  it.each(TABLE)('%s', (rule, make, us, bar, si) => {
    const e = make()
      .list(rule)
      .findLast((x) => x.change === 'raised' || x.change === 'worse')!;
    expect(e, rule).toBeDefined();
    const m = e.measured!;
    expect(measuredWords(m, US)).toMatch(us);
    expect(measuredWords(m, BAR)).toMatch(bar);
    expect(measuredWords(m, SI)).toMatch(si);
    if ('unit' in m) expect(isDeclaredUnit(m.unit)).toBe(true);
    if (e.evidence !== null) expect(isDeclaredUnit(e.evidence.unit)).toBe(true);
  });

  it('every tire rule is in the table; trailer-not-seen tells a silence as tire-sensor-silent does', () => {
    const rules = RULES.filter(({ family }) => family === 'tires').map(({ name }) => name as string);
    expect(rules.filter((name) => !TABLE.some(([rule]) => rule === name))).toEqual(['trailer-not-seen']);
  });
});
