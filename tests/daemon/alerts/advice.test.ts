import { describe, expect, it } from 'vitest';
import { URGENCIES, type Urgency } from '../../../config/resolved.js';
import { adviceFor, MOST_CHARACTERS, TABLE } from '../../../daemon/alerts/advice.js';
import { CHANGES } from '../../../daemon/alerts/event.js';
import { RULES } from '../../../daemon/alerts/rules.js';
import { truckOf } from '../../support/truck-file.js';

const config = truckOf();
/** Every urgency that a rule can reach. */
const pairs = RULES.flatMap((rule) =>
  URGENCIES.filter((urgency) => Object.values(config.rules[rule.name].criteria).some((c) => c.urgency === urgency)).map(
    (urgency) => [rule.name, urgency, rule] as const,
  ),
);
const ANY = adviceFor('test-message', 'raised', 'pull-over');
const PLAIN = /^[\x20-\x7e]+$/;

/**
 * Where people go to a wheel, a brake or a tank that may hurt them: all of a tire, a brake or the air that is told for the next stop
 * or worse, too much air in a tire, and plans that have somebody at a brake or under the truck.
 */
const UNDER_THE_TRUCK = [
  'brake-overstroke',
  'brake-stroke-uneven',
  'brake-stroke-growing',
  'brake-lining-low',
  'air-leaking',
];
const hurts = ([rule, urgency, { family }]: (typeof pairs)[number]): boolean =>
  (['tires', 'brakes', 'air'].includes(family) && urgency !== 'plan') ||
  rule === 'tire-overinflated' ||
  (UNDER_THE_TRUCK.includes(rule) && urgency === 'plan');

describe('advice', () => {
  it('every rule that is on is judged, and the other way round', () => {
    const on = Object.entries(config.rules).flatMap(([name, rule]) => (rule.enabled ? [name] : []));
    expect(RULES.map((r) => r.name).sort()).toEqual(on.sort());
  });

  it('is there for what can be told, and for nothing else', () => {
    const written = Object.entries(TABLE).flatMap(([rule, by]) =>
      Object.keys(by).map((urgency) => `${rule} ${urgency}`),
    );
    expect(written.sort()).toEqual(pairs.map(([rule, urgency]) => `${rule} ${urgency}`).sort());
  });

  it.each(pairs)('%s at %s tells the driver and the shop, in plain characters', (rule, urgency) => {
    const { driver, care, shop } = TABLE[rule]![urgency]!;
    const text = adviceFor(rule, 'raised', urgency);
    expect(text).not.toBe(ANY);
    for (const part of [driver, care ?? driver]) expect(part).toMatch(/^[A-Z][\x20-\x7e]{15,}[.]$/);
    expect(shop).toMatch(/^[a-z][\x20-\x7e]{8,}[.]$/);
    for (const part of [driver, care ?? '', `Shop: ${shop}`]) expect(text).toContain(part);
    for (const change of ['cleared', 'closed'] as const) expect(adviceFor(rule, change, urgency)).not.toContain(driver);
  });

  it.each(pairs)('%s at %s is short, whatever has changed', (rule, urgency) => {
    for (const change of CHANGES) {
      const text = adviceFor(rule, change, urgency);
      expect(text).toMatch(PLAIN);
      expect([change, text.length <= MOST_CHARACTERS]).toEqual([change, true]);
    }
    expect(TABLE[rule]![urgency]!.driver.length).toBeLessThanOrEqual(130);
    expect(adviceFor(rule, 'unsure', urgency)).toContain(adviceFor(rule, 'raised', urgency));
  });

  it('says how nobody gets hurt, wherever somebody could be', () => {
    const without = pairs.filter((pair) => hurts(pair) && TABLE[pair[0]]![pair[1]]!.care === undefined);
    expect(without.map(([rule, urgency]) => `${rule} ${urgency}`)).toEqual([]);
    // Not everywhere: a caution that stands everywhere is read nowhere.
    expect(pairs.filter(([rule, urgency]) => TABLE[rule]![urgency]!.care === undefined).length).toBeGreaterThan(10);
  });

  it('local codes come before work on a brake', () => {
    const brakes = pairs.filter(
      ([rule, urgency, r]) => r.family === 'brakes' && TABLE[rule]![urgency]!.care !== undefined,
    );
    for (const [rule, urgency] of brakes) expect(TABLE[rule]![urgency]!.care).toMatch(/local codes|Keep clear/);
  });

  it('no air into a tire that was driven low before it was inspected (29 CFR 1910.177(f)(4), T-30)', () => {
    const low: ['tire-underinflated' | 'tire-losing-air', Urgency][] = [
      ['tire-underinflated', 'next-stop'],
      ['tire-underinflated', 'pull-over'],
      ['tire-losing-air', 'next-stop'],
      ['tire-losing-air', 'pull-over'],
    ];
    for (const [rule, urgency] of low)
      expect(adviceFor(rule, 'raised', urgency)).toMatch(/no air into it before it was inspected/);
  });

  it('never tells to let air out of a hot tire, nor just to readjust a brake (T-43, B-39)', () => {
    for (const urgency of ['next-stop', 'pull-over'] as const)
      expect(adviceFor('tire-hot', 'raised', urgency)).toMatch(/not let air out/);
    expect(adviceFor('tire-overinflated', 'raised', 'plan')).toMatch(/Never let air out of a hot tire/);
    for (const urgency of URGENCIES)
      expect(adviceFor('brake-overstroke', 'raised', urgency)).toMatch(/do not just readjust/);
  });

  it('says stop to pull-over and nothing of the kind to plan', () => {
    for (const [rule, urgency] of pairs) {
      const { driver } = TABLE[rule]![urgency]!;
      const stop = /[Ss]top as soon as it is safe/;
      if (urgency === 'pull-over') expect([rule, driver]).toEqual([rule, expect.stringMatching(stop)]);
      else expect([rule, driver]).toEqual([rule, expect.not.stringMatching(stop)]);
      if (urgency === 'next-stop')
        expect([rule, driver]).toEqual([rule, expect.stringMatching(/next safe (stop|place)/)]);
    }
  });
});
