import { describe, expect, it } from 'vitest';
import { loadDefaults } from '../../../config/defaults.js';
import { type Criterion, RULE_NAMES, type RuleName, type TruckConfig } from '../../../config/resolved.js';
import type { EventDraft, Measured } from '../../../daemon/alerts/event.js';
import { Judgement } from '../../../daemon/alerts/judgement.js';
import { ruleNamed } from '../../../daemon/alerts/rules.js';
import type { Judged } from '../../../report/data.js';
import type { GatheredAlert } from '../../../report/story/picture.js';
import { judgedOf, WAYS } from '../../../report/words/judged.js';

const PSI: TruckConfig['show'] = { pressure: 'psi', temperature: '°F', position: 'exact' };
const KPA: TruckConfig['show'] = { pressure: 'kPa', temperature: '°C', position: 'exact' };
const BAR: TruckConfig['show'] = { pressure: 'bar', temperature: '°C', position: 'exact' };
const defaults = loadDefaults();
const all = RULE_NAMES.flatMap((rule) => Object.keys(defaults[rule].config.criteria).map((name) => ({ rule, name })));

type Told = Partial<Pick<EventDraft, 'change' | 'basis' | 'measured' | 'urgency'>>;

function alertOf(rule: RuleName, told: Told[] = [], known = true): GatheredAlert {
  const { criteria, constants } = defaults[rule].config;
  const events = told.map((draft) => ({
    atMs: 0,
    alert: '1',
    cause: null,
    draft: { change: 'raised', measured: null, ...draft } as EventDraft,
  }));
  const rest = known ? { criteria, constants } : { criteria: {}, constants: {} };
  return { id: '1', rule, subject: 'x', place: 'x', events, fromMs: 0, toMs: null, ...rest };
}

const one = (rule: RuleName, name: string, show = PSI, told: Told[] = []): Judged =>
  judgedOf(alertOf(rule, told), show).find((j) => j.name === name)!;

const pairOf = (rule: RuleName, name: string, show = PSI, told: Told[] = []): [raise: string, clear: string] => {
  const { raise, clear } = one(rule, name, show, told);
  return [raise, clear];
};

describe('every limit of the defaults', () => {
  it.each(all)('$rule $name has words, and a source', ({ rule, name }) => {
    for (const show of [PSI, KPA, BAR]) {
      const { raise, clear, basis, held, urgency } = one(rule, name, show);
      const c = defaults[rule].config.criteria[name]!;
      expect([basis, urgency, held]).toEqual([c.basis, c.urgency, false]);
      for (const words of [raise, clear]) {
        expect(words).toMatch(/^\S.*\S$/);
        expect(words).not.toMatch(/undefined|NaN|null|a set value|, ,|\s\s/);
      }
      expect(raise.length).toBeLessThan(200);
    }
  });

  it('and no words are of a limit that is not there', () => {
    const named = RULE_NAMES.flatMap((rule) => Object.keys(WAYS[rule]).map((name) => ({ rule, name })));
    expect(named).toEqual(all);
  });
});

/** Compared by the monitor in its own way: what is equal to the limit is good still. */
const STRICT: [RuleName, string][] = [
  ['brake-stroke-uneven', 'plan'],
  ['air-cut-in-low', 'plan'],
  ['air-cut-out-high', 'plan'],
  ['air-builds-slowly', 'plan'],
];
const isStrict = (rule: RuleName, name: string): boolean => STRICT.some(([r, n]) => r === rule && n === name);

describe('which side of a limit is bad', () => {
  const numeric = all.filter(({ rule, name }) => defaults[rule].config.criteria[name]!.raise !== null);
  const judged = numeric.filter(({ rule, name }) => !isStrict(rule, name) && ruleNamed(rule)!.limit !== 'state');

  it.each(judged)('$rule $name: its words say what the machine does at the limit and beside it', ({ rule, name }) => {
    const { raise, clear } = one(rule, name, KPA);
    const isLow = ruleNamed(rule)!.limit === 'low';
    expect(meets(rule, name, 'raise', 0)).toBe(true);
    expect(meets(rule, name, 'raise', isLow ? -1 : 1)).toBe(true);
    expect(meets(rule, name, 'raise', isLow ? 1 : -1)).toBe(false);
    expect(raise).toMatch(isLow ? /at or below|within/ : /at or above|or more/);
    expect(raise).not.toMatch(isLow ? /at or above/ : /at or below/);
    expect(meets(rule, name, 'clear', 0)).toBe(true);
    expect(meets(rule, name, 'clear', isLow ? 1 : -1)).toBe(true);
    expect(meets(rule, name, 'clear', isLow ? -1 : 1)).toBe(false);
    expect(clear).toMatch(isLow ? /at or above|not within/ : /at or below|or less/);
  });

  it('where equal to the limit is good, they say so', () => {
    expect(one('brake-stroke-uneven', 'plan').raise).toMatch(/^more than 0.50 in/);
    expect(one('air-cut-in-low', 'plan').raise).toMatch(/governor below 97 psi/);
    expect(one('air-cut-out-high', 'plan').raise).toMatch(/governor above 140 psi/);
    expect(one('air-builds-slowly', 'plan').raise).toMatch(/^longer than 45 s/);
    expect(one('brake-overstroke', 'measured').raise).toMatch(/^stroke greater than the limit of its chamber/);
  });

  function meets(rule: RuleName, name: string, which: 'raise' | 'clear', step: -1 | 0 | 1): boolean {
    const j = new Judgement(ruleNamed(rule)!, defaults[rule].config, {});
    j.add('x', 'x');
    const i = j.limit(name);
    const limit = j.limits[i]![which];
    j.value(0, i, 0, 1000, limit * (1 + step * 1e-6));
    const e = j.subjects[0]!.evidence[i]!;
    return which === 'raise' ? e.raising : e.clearing;
  }
});

describe('how long, and how many', () => {
  /** The same by hand, without a table. */
  const naive = (s: number): string => (s % 60 === 0 && s >= 120 ? `${s / 60} min` : `${s} s`);

  it.each(all)('$rule $name', ({ rule, name }) => {
    const { of, raiseAfterS, clearAfterS, clear: limit } = defaults[rule].config.criteria[name]!;
    const { raise, clear } = one(rule, name);
    if (of !== null && of.m > 1) {
      expect(raise).toMatch(
        of.n === of.m ? new RegExp(`, ${of.n} [a-z -]+s in a row`) : `, in ${of.n} of the last ${of.m} `,
      );
    }
    if (of !== null && of.m > 1 && limit === null && clearAfterS === 0)
      expect(clear).toMatch(`none of the last ${of.m} `);
    if (of === null && raiseAfterS > 0) expect(raise).toMatch(`for ${naive(raiseAfterS)}`);
    if (of === null && raiseAfterS === 0) expect(raise).not.toMatch(/, for \d+ (?:s|min)$/);
    if (clearAfterS > 10) expect(clear).toMatch(naive(clearAfterS));
  });
});

describe('three rules by hand', () => {
  it('tire-underinflated', () => {
    expect(judgedOf(alertOf('tire-underinflated'), PSI).map((j) => [j.name, j.raise, j.clear])).toEqual([
      ['plan', 'share of target at or below 90 %, for 10 min', 'at or above 93 %, for 10 min'],
      ['next-stop', 'share of target at or below 80 %, for 2 min', 'at or above 84 %, for 2 min'],
      ['pull-over', 'share of target at or below 50 %, for 20 s', 'at or above 60 %, for 20 s'],
    ]);
  });

  it('brake-overstroke', () => {
    expect(judgedOf(alertOf('brake-overstroke'), KPA).map((j) => [j.name, j.raise, j.clear])).toEqual([
      [
        'plan',
        'the stroke sensor says over-stroke, in 1 of the last 3 qualifying applications',
        'none of the last 3 qualifying applications',
      ],
      [
        'next-stop',
        'the stroke sensor says over-stroke, in 2 of the last 3 qualifying applications',
        'none of the last 3 qualifying applications',
      ],
      [
        'measured',
        'stroke greater than the limit of its chamber, at 550 kPa to 690 kPa of application pressure, in 2 of the last 3 applications',
        'none of the last 3 applications',
      ],
      [
        'measured-far',
        'stroke 6.35 mm or more beyond the limit of its chamber, at the same pressures',
        'not so at the next application',
      ],
    ]);
  });

  it('air-cut-out-high', () => {
    expect(judgedOf(alertOf('air-cut-out-high'), PSI).map((j) => [j.name, j.raise, j.clear])).toEqual([
      [
        'plan',
        'cut-out of the governor above 140 psi, in 3 of the last 5 cycles',
        'at or below 137 psi, 3 cycles in a row',
      ],
      [
        'next-stop',
        'cut-out of the governor at or above 150 psi, in 2 of the last 3 cycles',
        'at or below 145 psi, 2 cycles in a row',
      ],
    ]);
  });
});

describe('units of the truck file', () => {
  it.each<[RuleName, string, TruckConfig['show'], string, string]>([
    ['tire-hot', 'above-peers', PSI, '54 °F or more above', '40 °F or less'],
    ['tire-hot', 'above-peers', KPA, '30 °C or more above', '22 °C or less'],
    ['tire-hot', 'pull-over', PSI, 'at or above 248 °F', 'at or below 230 °F'],
    ['duals-unequal', 'cold-start-fine', PSI, 'at or above 5 psi', 'at or below 3 psi'],
    ['duals-unequal', 'cold-start-fine', BAR, 'at or above 0.34 bar', 'at or below 0.21 bar'],
    ['duals-unequal', 'cold-start-fine', KPA, 'at or above 34.5 kPa', 'at or below 21 kPa'],
    ['air-low', 'pull-over', PSI, 'at or below 60 psi', 'at or above 65 psi'],
    ['air-low', 'pull-over', BAR, 'at or below 4.1 bar', 'at or above 4.5 bar'],
    ['tire-losing-air', 'next-stop', PSI, '1.7 psi or more lost beyond a harmless 0.3 psi/min', '0.6 psi'],
    ['tire-losing-air', 'plan', KPA, '5 kPa/day or more', '2.5 kPa/day'],
    ['brakes-defective-share', 'pull-over', PSI, 'at or above 20 %', 'at or below 19.9 %'],
    ['brake-stroke-growing', 'plan', PSI, 'within 14 days', 'not within 21 days'],
    ['tires-off-target', 'plan', PSI, '4 % to 12 % off 100 %', 'less than 3 % off'],
  ])('%s %s', (rule, name, show, raise, clear) => {
    const words = one(rule, name, show);
    expect(words.raise).toContain(raise);
    expect(words.clear).toContain(clear);
  });
});

const number = (quantity: string, unit: string, value: number, limit?: number, window?: string): Measured => ({
  quantity,
  unit,
  value,
  quality: 'good',
  ...(limit === undefined ? {} : { limit }),
  ...(window === undefined ? {} : { window }),
});
const code: Measured = { code: 2, text: 'as told', of: '2 of 3' };

/** What an event of each limit carries that is not alone at its urgency, and what holds with it. */
const SAMPLES: [rule: RuleName, name: string, measured: Measured | null, withIt: string[]][] = [
  ['tire-underinflated', 'pull-over', number('cold pressure', 'kPa', 300, 345), ['plan', 'next-stop']],
  ['tire-losing-air', 'next-stop', number('leak rate', 'kPa/min', 5, 1.75, 'steady'), []],
  ['tire-losing-air', 'forecast', number('leak rate', 'kPa/min', 5, 1.75, 'steady'), []],
  ['tire-losing-air', 'burst', number('leak rate', 'kPa/min', 50, 8, 'rapid'), []],
  ['tire-losing-air', 'pull-over', number('leak rate', 'kPa/min', 50, 8, 'rapid'), []],
  ['tire-losing-air', 'plan', number('leak rate', 'kPa/day', 7, 5, 'slow'), []],
  ['tire-hot', 'next-stop', number('tire temperature', '°C', 112, 110), []],
  ['tire-hot', 'above-peers', number('tire temperature against its peers', '°C', 90, 88), []],
  ['duals-unequal', 'plan', number('pressure difference', 'kPa', 50, 48, '15 min'), []],
  ['duals-unequal', 'cold-start', number('pressure difference', 'kPa', 44, 41, 'cold start'), []],
  ['duals-unequal', 'cold-start-fine', number('pressure difference', 'kPa', 44, 34.5, 'cold start'), []],
  ['brake-overstroke', 'next-stop', code, ['plan']],
  ['brake-overstroke', 'measured', number('pushrod stroke', 'mm', 52, 50.8), []],
  ['brake-overstroke', 'measured-far', number('pushrod stroke', 'mm', 58, 50.8), ['measured']],
  ['brake-dragging', 'next-stop', { code: 3, text: 'dragging' }, []],
  ['brake-dragging', 'measured', number('pushrod stroke, brakes released', 'mm', 30, 25), []],
  ['brake-dragging', 'with-heat', { code: 3, text: 'dragging' }, ['next-stop']],
  ['brake-dragging', 'measured-with-heat', number('pushrod stroke, brakes released', 'mm', 30, 25), ['measured']],
  ['brake-not-applying', 'next-stop', code, []],
  ['brake-not-applying', 'measured', code, []],
  ['air-leaking', 'plan', number('leak rate, primary circuit, brakes released', 'kPa/min', 22, 20.7), []],
  ['air-leaking', 'applied', number('leak rate, primary circuit, brakes applied', 'kPa/min', 30, 27.6), []],
  ['air-leaking', 'next-stop', number('leak rate, primary circuit, brakes released', 'kPa/min', 50, 41.4), ['plan']],
  [
    'air-leaking',
    'applied-far',
    number('leak rate, primary circuit, brakes applied', 'kPa/min', 60, 55.2),
    ['applied'],
  ],
  ['air-builds-slowly', 'plan', number('build-up time', 's', 50, 45), []],
  ['air-builds-slowly', 'against-itself', number('revolutions per 100 kPa, of its first days', 'share', 1.6, 1.5), []],
  ['air-cut-out-high', 'next-stop', number('cut-out pressure', 'kPa', 1040, 1034), ['plan']],
  ['fault-code', 'pull-over', { code: 1, text: 'SPN 117' }, ['plan']],
  ['brake-lining-low', 'next-stop', number('lining left', 'share', 0.08, 0.1), ['plan']],
];

describe('which limits held', () => {
  const told = (rule: RuleName, name: string, measured: Measured | null): Told => {
    const { urgency, basis }: Criterion = defaults[rule].config.criteria[name]!;
    return { urgency, basis, measured };
  };
  const held = (rule: RuleName, events: Told[]): string[] =>
    judgedOf(alertOf(rule, events), PSI)
      .filter((j) => j.held)
      .map((j) => j.name);

  it.each(SAMPLES)('%s %s', (rule, name, measured, withIt) => {
    expect(held(rule, [told(rule, name, measured)]).sort()).toEqual([name, ...withIt].sort());
  });

  it('every limit that is not alone at its urgency has such an event', () => {
    const unclear = all.filter(({ rule, name }) => {
      const { urgency } = defaults[rule].config.criteria[name]!;
      return Object.values(defaults[rule].config.criteria).filter((c) => c.urgency === urgency).length > 1;
    });
    expect(unclear.filter((x) => !SAMPLES.some(([rule, name]) => rule === x.rule && name === x.name))).toEqual([]);
  });

  it('an end tells of none, and every level that was passed counts', () => {
    const plan = told('tire-losing-air', 'plan', null);
    const rapid = told('tire-losing-air', 'pull-over', null);
    expect(held('tire-losing-air', [{ ...rapid, change: 'cleared' }])).toEqual([]);
    expect(held('tire-losing-air', [plan, { ...rapid, change: 'worse' }])).toEqual(['plan', 'pull-over']);
  });

  it('a basis that nobody knows leaves the level of that urgency', () => {
    expect(held('brake-overstroke', [{ urgency: 'next-stop', basis: 'of another day', measured: null }])).toEqual([
      'plan',
      'next-stop',
    ]);
  });

  it('a chamber that the table does not have: the event says where its limit is from', () => {
    const { basis } = defaults['brake-overstroke'].config.criteria.measured!;
    const own = `${basis}; limit of this chamber: common practice`;
    const j = one('brake-overstroke', 'measured', KPA, [
      { urgency: 'next-stop', basis: own, measured: number('pushrod stroke', 'mm', 52, 50.8) },
    ]);
    expect([j.held, j.basis]).toEqual([true, own]);
    expect(j.raise).toContain('the limit of its chamber, 50.8 mm, at 550 kPa');
  });
});

describe('limits that events tell', () => {
  it('a share of the target is told as a pressure of this tire', () => {
    const told: Told[] = [{ urgency: 'next-stop', basis: 'x', measured: number('cold pressure', 'kPa', 540, 551.6) }];
    expect(pairOf('tire-underinflated', 'plan', PSI, told)).toEqual([
      'share of target at or below 90 % (90 psi here), for 10 min',
      'at or above 93 % (93 psi here), for 10 min',
    ]);
  });

  it('a bus has another cut-in', () => {
    const { basis } = defaults['air-cut-in-low'].config.criteria.plan!;
    const told: Told[] = [{ urgency: 'plan', basis, measured: number('cut-in pressure', 'kPa', 560, 570) }];
    expect(pairOf('air-cut-in-low', 'plan', KPA, told)).toEqual([
      'cut-in of the governor below 570 kPa, in 3 of the last 5 cycles',
      'at or above 578 kPa, 3 cycles in a row',
    ]);
  });

  it('bigger reservoirs have another time', () => {
    const { basis } = defaults['air-builds-slowly'].config.criteria.plan!;
    const told: Told[] = [{ urgency: 'plan', basis, measured: number('build-up time', 's', 95, 90) }];
    const [raise, clear] = pairOf('air-builds-slowly', 'plan', KPA, told);
    expect(raise).toMatch(/^longer than 90 s from 586 kPa to 689 kPa/);
    expect(clear).toMatch(/^80 s or less/);
  });

  it('a combination of two has its leak figure, and without an event all three are told', () => {
    const { basis } = defaults['air-leaking'].config.criteria.plan!;
    const measured = number('leak rate, primary circuit, brakes released', 'kPa/min', 30, 20.7);
    expect(one('air-leaking', 'plan', PSI, [{ urgency: 'plan', basis, measured }]).raise).toBe(
      'at a standstill a service circuit falls evenly by 3 psi/min or more, brakes released, 2 tests in a row (a bus: 3)',
    );
    expect(one('air-leaking', 'next-stop', PSI).raise).toContain(
      '4 psi/min, 6 psi/min, 10 psi/min (one, two, three vehicles)',
    );
  });
});

describe('without the truck file', () => {
  it('the events say what they know', () => {
    const basis = '49 CFR 571.121 S5.1.5';
    const told: Told[] = [
      { urgency: 'pull-over', basis, measured: number('primary circuit pressure', 'kPa', 400, 414) },
      { urgency: 'pull-over', basis, change: 'cleared', measured: number('primary circuit pressure', 'kPa', 460, 414) },
    ];
    expect(judgedOf(alertOf('air-low', told, false), PSI)).toEqual([
      {
        name: 'pull-over',
        urgency: 'pull-over',
        raise: 'primary circuit pressure at or below 60 psi',
        clear: 'not known without the truck file',
        basis,
        held: true,
      },
    ]);
  });

  it.each<[RuleName, Measured | null, string]>([
    ['brake-overstroke', code, 'as told, in 2 of 3 applications'],
    ['stop-lamp', { code: 1, text: 'red stop lamp on' }, 'red stop lamp on'],
    [
      'source-silent',
      { silentS: 40 },
      'a control unit is silent; how long it may be is not known without the truck file',
    ],
    ['tire-losing-air', number('leak rate', 'kPa/min', 5, 1.75, 'steady'), 'leak rate, limit 1.8 kPa/min'],
    ['tire-hot', number('tire temperature', '°C', 112, 110), 'tire temperature at or above 110 °C'],
    [
      'tire-losing-air',
      number('cold pressure', 'kPa', 500),
      'cold pressure; its limit is not known without the truck file',
    ],
    ['tire-hot', null, 'tire too hot'],
  ])('%s', (rule, measured, words) => {
    const told: Told[] = [{ urgency: 'next-stop', basis: 'x', measured }];
    expect(judgedOf(alertOf(rule, told, false), KPA).map((j) => j.raise)).toEqual([words]);
  });

  it('an urgency is told by an event that has a limit, and by none that came without', () => {
    const told: Told[] = [
      { urgency: 'next-stop', basis: 'x', measured: number('leak rate', 'kPa/min', 5, 3.5, 'steady') },
      { urgency: 'pull-over', basis: 'y', measured: number('leak rate', 'kPa/min', 20, 8, 'rapid'), change: 'worse' },
      { urgency: 'next-stop', basis: 'x', measured: number('cold pressure', 'kPa', 690), change: 'better' },
    ];
    expect(judgedOf(alertOf('tire-losing-air', told, false), KPA).map((j) => [j.name, j.raise])).toEqual([
      ['next-stop', 'leak rate, limit 3.5 kPa/min'],
      ['pull-over', 'leak rate, limit 8.0 kPa/min'],
    ]);
  });

  it('no event, no word', () => {
    expect(judgedOf(alertOf('tire-hot', [], false), KPA)).toEqual([]);
  });
});
