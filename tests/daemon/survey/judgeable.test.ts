import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { loadDefaults } from '../../../config/load.js';
import { RULE_NAMES, type RuleName } from '../../../config/resolved.js';
import { pgnOf } from '../../../daemon/j1939/identifier.js';
import { signalOf } from '../../../daemon/j1939/signals.js';
import { Pipeline } from '../../../daemon/pipeline.js';
import { Stepper } from '../../../daemon/stepper.js';
import { judgeable, type RuleVerdict } from '../../../daemon/survey/judgeable.js';
import { makeReport } from '../../../daemon/survey/make-report.js';
import { BOUNDS, LISTED_SPNS, NEEDS } from '../../../daemon/survey/needs.js';
import { Survey } from '../../../daemon/survey/survey.js';
import { morningRunText, Recording } from '../../support/recording.js';
import { frameOf } from '../../support/rig.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';
import { reportOf, SOURCE } from './helpers.js';

const PGN = { TIRE1: 65268, BSA: 64881, AIR1: 65198, B1: 65274, EEC1: 61444, CCVS1: 65265, EBC1: 61441, VDHR: 65217 };

describe('the table of needs', () => {
  it('names signals that the program can read', () => {
    expect([...LISTED_SPNS].filter((spn) => signalOf(spn) === undefined)).toEqual([]);
    expect(Object.keys(NEEDS).sort()).toEqual([...RULE_NAMES].sort());
  });

  it('has the bounds that the intake has, and the intake no others', () => {
    const rows = readFileSync('daemon/intake.ts', 'utf8').matchAll(/\[(\d+), [a-z]\.\w+, (-?\d+), (-?\d+)\]/g);
    const theirs = Object.fromEntries([...rows].map(([, spn, least, most]) => [spn, [Number(least), Number(most)]]));
    expect(theirs).toEqual(BOUNDS);
  });
});

/** The demonstration shift has a story for many rules; what a truck without some groups makes of it is held against it. */
describe('what the survey says of the demonstration shift', { timeout: 120_000 }, () => {
  let shift: Recording;
  beforeAll(() => {
    shift = new Recording(morningRunText());
  });

  /** Rules raised, and verdicts, when frames of some groups, or some bits of them, are missing. */
  function judge(without: readonly number[], change: (pgn: number, data: Uint8Array) => void = () => {}) {
    const config = truckOf(LAYOUT);
    const raised = new Set<RuleName>();
    const stepper = new Stepper(new Pipeline(config, null, null), (effects) => {
      for (const { rule } of effects.events) raised.add(rule);
    });
    const survey = new Survey();
    survey.addBus('main', 'can0');
    shift.feed({
      frame: (t, bus, id, data, length) => {
        const pgn = pgnOf(id);
        if (without.includes(pgn)) return;
        change(pgn, data);
        stepper.frame(t, bus, id, data, length);
        survey.frame(t, bus, id, data, length);
      },
      errorFrame: () => {},
    });
    const verdicts = new Map<string, string>(
      makeReport(survey, config, SOURCE).report.rules.map(({ rule, judged }) => [rule, judged]),
    );
    return { raised, verdicts };
  }

  /** Rules that the shift raises when nothing is missing. */
  const STORY: readonly RuleName[] = [
    'tire-underinflated',
    'tire-losing-air',
    'tire-hot',
    'tire-sensor-silent',
    'brake-overstroke',
    'brake-dragging',
    'air-low',
    'fault-code',
  ];

  it('all of the story is raised, and said to be judged, when nothing is missing', () => {
    const { raised, verdicts } = judge([]);
    expect([...raised]).toEqual(expect.arrayContaining([...STORY]));
    for (const rule of STORY) expect(['yes', 'less'], rule).toContain(verdicts.get(rule));
  });

  const TIRES: RuleName[] = ['tire-underinflated', 'tire-losing-air', 'tire-hot', 'duals-unequal', 'tires-off-target'];
  const BRAKES: RuleName[] = ['brake-overstroke', 'brake-dragging', 'brake-not-applying'];

  const AIR: RuleName[] = [
    ...(['air-low', 'air-leaking', 'air-builds-slowly', 'air-cut-in-low', 'air-cut-out-high'] as const),
    ...(['compressor-overworked', 'circuits-unequal'] as const),
  ];
  /** Air rules that must know when air is used. */
  const USE: RuleName[] = ['air-leaking', 'air-builds-slowly', 'air-cut-in-low', 'air-cut-out-high'];

  /** The truck of the shift sends neither lining, brake heat nor measured stroke. */
  const NEVER: RuleName[] = ['brake-hot', 'brake-lining-low', 'brake-stroke-growing', 'brake-stroke-uneven'];

  /** What is left out → what can then not be judged. All other rules of the story still are. */
  const CASES: [string, number[], RuleName[]][] = [
    [
      'no tire messages',
      [PGN.TIRE1],
      [...TIRES, 'tire-overinflated', 'tire-sensor-fault', 'layout-mismatch', 'trailer-not-seen'],
    ],
    [
      'no stroke status, no air pressures',
      [PGN.BSA, PGN.AIR1, PGN.B1],
      [...BRAKES, ...AIR, 'brake-sensor-fault', 'brakes-defective-share'],
    ],
    ['no pedal, and one of the two air groups', [PGN.AIR1, PGN.EBC1], []],
    ['no parking brake, and no speed but an odometer', [PGN.B1, PGN.CCVS1], ['brake-dragging', 'air-leaking']],
    [
      'no speed and no engine speed',
      [PGN.EEC1, PGN.CCVS1, PGN.VDHR],
      [
        ...(['tire-sensor-silent', 'brake-dragging', 'bus-silent', 'stop-lamp'] as const),
        ...(['source-silent', 'trailer-not-seen'] as const),
        ...AIR.filter((rule) => !rule.startsWith('air-cut')),
      ],
    ],
    ['nothing of braking', [PGN.EBC1, PGN.CCVS1, PGN.B1], [...BRAKES, 'brakes-defective-share', ...USE]],
  ];

  it.each(CASES)('%s', (_, without, lost) => {
    const { raised, verdicts } = judge(without);
    const no = [...verdicts].filter(([, judged]) => judged === 'no').map(([rule]) => rule);
    expect(no.sort()).toEqual([...lost, ...NEVER].sort());
    // What is said to be impossible is not raised; what is said to be possible is.
    expect(lost.filter((rule) => raised.has(rule))).toEqual([]);
    expect(STORY.filter((rule) => !lost.includes(rule) && !raised.has(rule))).toEqual([]);
  });

  it('without temperatures: a hot tire cannot be judged, a low one less well', () => {
    const { raised, verdicts } = judge([], (pgn, data) => {
      if (pgn === PGN.TIRE1) data[2] = data[3] = 0xff;
    });
    expect(verdicts.get('tire-hot')).toBe('no');
    expect(verdicts.get('tires-off-target')).toBe('no');
    expect(verdicts.get('tire-underinflated')).toBe('less');
    expect(raised.has('tire-hot')).toBe(false);
    expect(raised.has('tire-losing-air')).toBe(true);
  });
});

describe('why a rule cannot be judged', () => {
  const verdict = (rules: readonly RuleVerdict[] | ReturnType<typeof reportOf>['rules'], rule: RuleName) =>
    rules.find((one) => one.rule === rule)!;

  it('is said group by group: never came, on request only, not available, error', () => {
    const frames = [
      frameOf(0, PGN.B1, 49, { 116: 0 }),
      // Not available, and an error.
      { ...frameOf(100, PGN.CCVS1, 0, {}), data: Uint8Array.of(0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff) },
      { ...frameOf(200, PGN.EEC1, 0, {}), data: Uint8Array.of(0xff, 0xff, 0xff, 0xff, 0xfe, 0xff, 0xff, 0xff) },
    ];
    const { rules } = reportOf(frames);
    expect(verdict(rules, 'brake-lining-low').missing).toEqual([
      { need: 'lining left', why: 'EBC4 is sent on request only, and nobody asked' },
    ]);
    expect(verdict(rules, 'bus-silent').missing[0]!.why).toBe(
      'SPN 84 in CCVS1: not available; HRW, TCO1, VDHR never came',
    );
    expect(verdict(rules, 'circuits-unequal').missing.map(({ need, why }) => `${need}: ${why}`)).toEqual([
      'primary circuit pressure: SPN 117 in B1: not available; AIR1 never came',
      'secondary circuit pressure: SPN 118 in B1: not available; AIR1 never came',
      'engine speed: SPN 190 in EEC1: error',
    ]);
    expect(verdict(rules, 'brake-overstroke').missing).toEqual([{ need: 'stroke status', why: 'BSA never came' }]);
  });

  it('tells an answer that another asked for in vain', () => {
    // Request (59904) for EBC4 (65196 = 0xFEAC), least significant byte first.
    const request = { t: 0, id: 0x18ea00f9, data: Uint8Array.of(0xac, 0xfe, 0x00) };
    const { rules, never } = reportOf([request]);
    expect(verdict(rules, 'brake-lining-low').missing[0]!.why).toBe('EBC4 was asked for by another and did not come');
    expect(never.find(({ pgn }) => pgn === 65196)).toMatchObject({ requests: 1 });
  });

  it('takes a barometer that cannot be true for none', () => {
    const { groups, rules } = reportOf([
      frameOf(0, 65269, 0, { 108: 0, 171: 20 }),
      frameOf(1, PGN.TIRE1, 51, { 929: 0, 241: 700 }),
    ]);
    const barometer = groups[0]!.signals.find(({ spn }) => spn === 108)!;
    expect(barometer).toMatchObject({ plausible: false, last: 0 });
    const { without } = verdict(rules, 'tire-losing-air');
    expect(without.find(({ need }) => need === 'barometric pressure')!.why).toBe(
      'SPN 108 in AMB: no value that can be true',
    );
  });

  it('with a truck file: some tires, no targets, a rule that is off', () => {
    const text = LAYOUT.replaceAll(/, coldPressure: \d+ psi/g, '');
    const off = `${text}rules:\n  tire-hot: {enabled: no}\n`;
    const frames = [0x00, 0x01].map((location, i) => frameOf(i, PGN.TIRE1, 51, { 929: location, 241: 700, 242: 20 }));
    const { rules } = reportOf(frames, truckOf(off));
    expect(verdict(rules, 'tire-underinflated').missing).toEqual([
      { need: 'coldPressure', why: 'the truck file has none' },
    ]);
    expect(verdict(rules, 'tire-losing-air').without).toContainEqual({
      need: 'tire pressure',
      why: 'from 2 of 18 tires',
      effect: 'the others are judged',
    });
    expect(verdict(rules, 'tire-hot').judged).toBe('off');
    expect(reportOf(frames).rules.find(({ rule }) => rule === 'tire-underinflated')).toMatchObject({
      asks: ['coldPressure'],
    });
  });

  it('a rule of a later version is told as such', () => {
    const survey = new Survey();
    const defaults = loadDefaults();
    for (const { rule, judged } of judgeable(survey, [], null)) {
      expect(judged === 'later', rule).toBe(!defaults[rule].judged);
    }
  });
});
