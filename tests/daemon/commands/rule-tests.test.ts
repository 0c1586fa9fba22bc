import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { parseTime, parseValues, valueAt } from '../../../config/rule-test-series.js';
import { loadRuleTests, type RuleTest } from '../../../config/rule-tests.js';
import { checkCommand } from '../../../daemon/commands/check.js';
import { TestBus } from '../../../daemon/commands/rule-tests-bus.js';
import { blocks, page } from '../../docs/pages.js';
import { axlepost, TRUCK, temp } from './helpers.js';

const DEFAULTS = join(import.meta.dirname, '../../rules/trucks/T-1042.yaml');
let files = 0;

/** Tests in a file of their own, for the truck with the default limits. */
const file = (tests: string, truck = DEFAULTS): string => temp(`tests-${files++}.yaml`, `truck: ${truck}\n${tests}`);

async function check(tests: string[], trucks: string[] = []): Promise<{ code: number; out: string; err: string }> {
  const [out, err]: [string[], string[]] = [[], []];
  const to = (list: string[]) => ({ write: (text: string) => list.push(text) });
  const code = await checkCommand(trucks, to(out), to(err), { tests });
  return { code, out: out.join(''), err: err.join('') };
}

const LOW = `tests:
  - name: low is told
    series:
      - {subject: tractor/2/left/outer, quantity: pressure, values: [90 %]}
    expect:
      - {rule: tire-underinflated, subject: tractor/2/left/outer, urgency: plan, at: 10:00, within: 10 s}
`;

describe('check --tests', () => {
  it('the built program runs a file and exits with 0; a truck file of the command line goes before', async () => {
    const { code, out, err } = await axlepost(['check', '--tests', file(LOW)]);
    expect(code, err).toBe(0);
    expect(out).toMatch(/\n {2}ok {6}low is told\n1 test, all as expected\n$/);
    // T-1042 of the examples plans at 88 % alone.
    const other = await axlepost(['check', '--tests', file(LOW), TRUCK]);
    expect(other.code).toBe(1);
    expect(other.out).toMatch(
      /:7:9: expected tire-underinflated raised plan tractor\/2\/left\/outer at 0:10:00 ± 10 s: it did not come\n/,
    );
  }, 60_000);

  it.each([
    ['another time', 'at: 15:00', /expected .* at 0:15:00 ± 10 s: came tire-underinflated raised plan .* at 0:10:00\n/],
    ['another urgency', 'urgency: pull-over, at: 10:00', /expected .* pull-over .*: came .* raised plan .*/],
    ['another change', 'change: cleared, at: 10:00', /expected .* cleared .*: came .* raised plan .*/],
  ])('%s is told with what came', async (_, instead, told) => {
    const { code, out } = await check([file(LOW.replace(/urgency: plan, at: 10:00|at: 10:00/, instead))]);
    expect(code).toBe(1);
    expect(out).toMatch(told);
    expect(out).toContain('1 test, 1 not as expected');
  });

  it('an event that nobody expects fails, of the rules that are looked at alone', async () => {
    const silent = LOW.replace(/ {4}expect:[\s\S]*/, '    for: 15 min\n    expect: none\n');
    const all = await check([file(silent)]);
    expect(all.code).toBe(1);
    expect(all.out).toMatch(/:3:5: not expected: tire-underinflated raised plan tractor\/2\/left\/outer at 0:10:00\n/);
    expect((await check([file(silent.replace('for:', 'rules: [tire-hot]\n    for:'))])).code).toBe(0);
    expect((await check([file(silent.replace('for:', 'rules: all\n    for:'))])).code).toBe(1);
  });

  it('the same event twice needs two expectations', async () => {
    const line = LOW.split('\n').at(-2)!;
    const { code, out } = await check([file(`${LOW}${line}\n`)]);
    expect([code, out.match(/it did not come/g)?.length]).toEqual([1, 1]);
  });

  it('a folder stands for its files; what cannot be used gives 2, and the rest runs', async () => {
    const folder = temp('folder');
    mkdirSync(folder);
    writeFileSync(join(folder, 'a.yaml'), `truck: ${DEFAULTS}\n${LOW}`);
    writeFileSync(join(folder, 'b.yaml'), 'tests: 3\n');
    const { code, out, err } = await check([folder]);
    expect(code).toBe(2);
    expect(out).toContain('1 test, all as expected');
    expect(err).toMatch(/b\.yaml:1:8: "tests" should be a list/);
  });

  it('the example of docs/rule-tests.md holds', async () => {
    const [yaml] = blocks(page('docs/rule-tests.md'), 'yaml');
    const path = temp('docs.yaml', yaml!.replace('../config/examples/T-1042.yaml', TRUCK));
    expect(await check([path])).toMatchObject({ code: 0, err: '' });
  });

  it('the example of --help holds', async () => {
    const { out } = await axlepost(['check', '--help']);
    const yaml = out.slice(out.indexOf('  truck: T-1042.yaml')).replace('T-1042.yaml', TRUCK);
    expect(await check([temp('help.yaml', yaml)])).toMatchObject({ code: 0, err: '' });
  }, 60_000);
});

describe('mistakes in tests have their place', () => {
  // ¦ marks it.
  const one = (series: string): string =>
    `tests:\n  - name: a\n    series:\n      - ${series}\n    expect: none\n    for: 1 min\n`;
  const wheel = 'subject: tractor/2/left/outer, quantity: pressure';
  const second = 'subject: ¦tractor/2/left/outer, quantity: pressure';
  it.each<[string, string]>([
    [
      one('{subject: ¦tractor/2/left/outter, quantity: pressure, values: [1 bar]}'),
      '"tractor/2/left/outter" has no pressure here — did you mean tractor/2/left/outer?',
    ],
    [one(`{${wheel}, values: [¦620]}`), '"620" has no unit — write "620 kPa"; accepted: kPa, psi or bar'],
    [one(`{${wheel}, values: [¦620 kPa to none x5]}`), '"620 kPa to none x5" cannot be told value by value'],
    [one(`{${wheel}, values: [¦620 kPa x0]}`), 'x0 is no number of times'],
    [one(`{${wheel}, values: [620 kPa x200000, ¦620 kPa]}`), 'more than 200000 values'],
    [one(`{${wheel}, values: [620 kPa], every: ¦50 ms}`), '"50 ms" is no multiple of 100 ms'],
    [one(`{${wheel}, values: [620 kPa], every: ¦10}`), '"10" is no time within 30 days'],
    [one('{subject: air/primary, quantity: pressure, values: [¦90 %]}'), '"90 %" of what?'],
    [one('{subject: ¦trailer/1/left, quantity: stroke, values: [5 mm]}'), '"trailer/1/left" has no stroke here'],
    [one('{subject: source/main/11, quantity: faultCodes, values: [¦117/99]}'), '"117/99" is no fault code'],
    [one('{subject: truck, quantity: parkingBrake, values: [¦st]}'), '"st" is no parkingBrake — did you mean set?'],
    [
      one(`{${wheel}, values: [1 bar]}\n      - {${second}, values: [2 bar]}`),
      'the pressure of tractor/2/left/outer is told twice',
    ],
    ['given: {speed: ¦80}\ntests: [{name: a, for: 1 min, expect: none}]', '"80" has no unit — write "80 km/h"'],
    ['given: {tires: ¦90}\ntests: [{name: a, for: 1 min, expect: none}]', '"90" has no unit'],
    ['tests: [{name: ¦a, expect: none}]', 'it would end before the first decision'],
    ['tests: [¦{name: a}]', '"expect" is missing — add for example `expect: none`'],
    [
      'tests: [{name: a, expect: [{rule: ¦tire-hott, subject: x}]}]',
      'rule: "tire-hott" is not possible here — did you mean tire-hot?',
    ],
    [
      'tests: [{name: a, expect: [{rule: tire-hot, subject: ¦tractor/9/left/outer, at: 1:00}]}]',
      'this truck has no "tractor/9/left/outer"',
    ],
    ['tests: [{name: a, for: 1 min, expect: [{rule: bus-off, subject: bus/main, ¦within: 3 s}]}]', 'within what time?'],
    ['tests: [{name: a, for: 1 min, expect: none, ¦serie: []}]', 'unknown key "serie" — did you mean series?'],
    ['tests: [{name: a, for: ¦99 d, expect: none}]', '"99 d" is no time within 30 days'],
  ])('%s', async (tests, told) => {
    const before = `truck: ${DEFAULTS}\n${tests}`.split('¦')[0]!.split('\n');
    const path = file(tests.replace('¦', ''));
    const { code, out, err } = await check([path]);
    expect([code, out]).toEqual([2, '']);
    expect(err.split('\n')[0]).toContain(`${path}:${before.length}:${before.at(-1)!.length + 1}: ${told}`);
    // One problem once, however many tires it is about.
    expect(new Set(err.trim().split('\n')).size).toBe(err.trim().split('\n').length);
  });

  it('no truck, a truck file with a mistake, no file', async () => {
    expect((await check([temp('none.yaml', LOW)])).err).toContain('none.yaml:1:1: no truck file is named');
    const broken = temp('broken-truck.yaml', 'fleet: x\n');
    expect((await check([file(LOW, broken)])).err).toContain(`${broken}:1:1: "truck" is missing`);
    expect(await check([join(temp('folder-none'), 'x.yaml')])).toMatchObject({ code: 2 });
  });
});

describe('values', () => {
  it.each<[string, unknown]>([
    ['620 kPa', [620]],
    ['620 kPa x3', [620, 620, 620]],
    ['90 % x2', [720, 720]],
    ['700 kPa to 600 kPa x3', [700, 650, 600]],
    ['none x2', ['none', 'none']],
    ['-', ['none']],
    ['error', ['error']],
    ['absent', ['absent']],
  ])('%s', (text, expected) => {
    expect(parseValues(text, 'pressure', 800)).toEqual({ value: expected });
  });

  it.each([
    ['650 s', 650_000],
    ['10 min', 600_000],
    ['10:50', 650_000],
    ['1:10:50', 4_250_000],
    ['0.5 s', 500],
    ['10', null],
    ['1:70', null],
  ])('%s is %s ms', (text, ms) => expect(parseTime(text)).toBe(ms));

  it('the last one goes on; before the beginning there is none', () => {
    const series = { subject: 's', quantity: 'pressure', values: [1, 2], everyMs: 10, fromMs: 100 } as const;
    const told = [99, 100, 109, 110, 500].map((t) => valueAt({ ...series, values: [...series.values] }, t));
    expect(told).toEqual([null, 1, 1, 2, 2]);
  });
});

describe('what goes on the bus', () => {
  /** `t id#data` of the frames of some groups. */
  function framesOf(tests: string, ...pgns: number[]): string[] {
    const loaded = loadRuleTests(file(tests));
    if (loaded.tests === undefined) throw new Error(JSON.stringify(loaded.problems));
    const [test] = loaded.tests.tests as [RuleTest];
    const lines: string[] = [];
    const add = (t: number, bus: number, id: number, data: Uint8Array): void => {
      if (!pgns.includes((id >>> 8) & 0x3ffff)) return;
      lines.push(`${t} ${bus} ${id.toString(16).toUpperCase()}#${Buffer.from(data).toString('hex').toUpperCase()}`);
    };
    new TestBus(test, loaded.tests.truck, { frame: add, errorFrame: () => {} }).play();
    return lines;
  }
  const story = (series: string, more = ''): string =>
    `tests: [{name: a, for: 2 s, ${more} series: [${series}], expect: none}]`;

  // By hand from SAE J1939-71: 720 kPa / 4 = 180 = B4; (18 + 273) / 0.03125 = 9312 = 2460 hex, low byte first; TIRE2 not used (bits 38, 39: 0).
  it('TIRE1 of a tire, when its series says so, with error and not available', () => {
    const tire =
      '{subject: tractor/2/left/outer, quantity: pressure, every: 500 ms, values: [720 kPa, error, none, absent]}';
    const lines = framesOf(story(tire), 65268).filter((line) => line.includes('#10'));
    expect(lines).toEqual([
      '0 0 18FEF433#10B460243FFFFFFF',
      '500 0 18FEF433#10FE60243FFFFFFF',
      '1500 0 18FEF433#10FF60243FFFFFFF',
    ]);
  });

  // 721 kPa = 02D1 hex.
  it('TIRE2 beside it, in steps of 1 kPa', () => {
    const tire = '{subject: tractor/2/left/outer, quantity: pressure, values: [721 kPa]}';
    const lines = framesOf(story(tire, 'given: {tireMessage: TIRE2},'), 64578).filter((line) => line.includes('#10'));
    expect(lines).toEqual(['0 0 18FC4233#10D102FFFFFFFFFF']);
  });

  // 412 / 4 = 103 = 67 hex; 800 / 4 = 200 = C8 hex.
  it('B1 once a second, with what is given for the rest', () => {
    expect(framesOf(story('{subject: air/secondary, quantity: pressure, values: [412 kPa]}'), 65274)).toEqual([
      '0 0 18FEFA0B#00C867FFFFFFFFFF',
      '1000 0 18FEFA0B#00C867FFFFFFFFFF',
    ]);
  });

  // SPN 117 = 75 00 and FMI 18 = 12; red stop lamp: 10 hex in the first byte.
  it('DM1 with a code', () => {
    const code = '{subject: source/main/48, quantity: faultCodes, values: [117/18 red, none]}';
    expect(framesOf(story(code), 65226)).toEqual(['0 0 18FECA30#10FF75001201FFFF']);
  });

  it('a signal of the truck file, in its place', () => {
    const stroke = '{subject: tractor/2/right, quantity: stroke, values: [50.5 mm]}';
    expect(framesOf(story(stroke), 0xff21)[0]).toBe('0 0 18FF2190#FF65FFFFFFFFFFFF');
  });

  it('nothing at all while there is no traffic', () => {
    const silent = story('{subject: truck, quantity: traffic, values: [off]}');
    expect(framesOf(silent, 65268, 65274, 65265, 61444, 64881)).toEqual([]);
  });
});
