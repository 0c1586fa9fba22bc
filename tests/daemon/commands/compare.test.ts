import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { type CompareOptions, compareCommand } from '../../../daemon/commands/compare.js';
import type { Alert } from '../../../daemon/commands/compare-alerts.js';
import { Alerts, MOST_ALERTS } from '../../../daemon/commands/compare-alerts.js';
import { DIFFERENCES, matchAlerts } from '../../../daemon/commands/compare-match.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { LiveRun, TWO_BUSES, tempFolder } from '../../adapters/recorder/live-run.js';
import { BEFORE, play, SEGMENT_MS, shift } from '../../adapters/recorder/shift.js';
import { section, tableRows, ticked } from '../../docs/pages.js';
import { axlepost, canonical, type Ended, lampLog, SHIFT, START_S, TRUCK, temp, text } from './helpers.js';

/** In this process, as the command line does it. */
async function compare(logs: string[], options: CompareOptions): Promise<Ended> {
  const [out, err]: [string[], string[]] = [[], []];
  const console = { out: { write: (s: string) => out.push(s) }, err: { write: (s: string) => err.push(s) } };
  let code: number;
  try {
    code = await compareCommand(logs, options, console);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

interface Told {
  rule: string;
  subject: string;
  differs: string[];
  beginsS: number | null;
  levelsS: Record<string, number>;
  config: { urgency: string; begins: string; ended: { at: string } | null }[];
  with: Told['config'];
}
interface Json {
  alike: number;
  counts: Record<string, number>;
  alerts: Told[];
}
const json = async (logs: string[], options: CompareOptions): Promise<Json> =>
  JSON.parse((await compare(logs, { ...options, format: 'json' })).out);

/** The demonstration truck with the default limits but for these. */
const limits = (name: string, rules: string): string =>
  temp(name, readFileSync(TRUCK, 'utf8').replace(/^rules:\n(?: .*\n)+/m, `rules:\n${rules}\n`));

const STRICT = `  tire-underinflated: {levels: {plan: {raise: 95 %, clear: 97 %}}}
  tire-hot: {levels: {next-stop: {raise: 60 °C, clear: 55 °C}}}
  tire-sensor-silent: {enabled: no}
  compressor-overworked: {levels: {plan: {raise: 4 %, clear: 2 %}}}
  air-low: {levels: {pull-over: {raise: 430 kPa, clear: 460 kPa}}}`;

/** When and what was raised, by a plain replay. */
async function raisedBy(config: string): Promise<string[]> {
  const { out } = await canonical([SHIFT], { config });
  return out
    .split('\n')
    .filter((line) => line !== '')
    .map((line) => JSON.parse(line) as { at: number; rule: string; subject: string; change: string })
    .filter(({ change }) => change === 'raised')
    .map(({ at, rule, subject }) => `${new Date(START_S * 1000 + at).toISOString()} ${rule} ${subject}`)
    .sort();
}

describe('compare on the demonstration shift', () => {
  const plain = limits('plain.yaml', '  tire-hot: {enabled: yes}');
  const strict = limits('strict.yaml', STRICT);
  let result: Json;
  beforeAll(async () => {
    result = await json([SHIFT], { config: plain, with: strict });
  }, 60_000);

  it('each side has the alerts that a replay with that configuration raises', async () => {
    const both: [string, 'config' | 'with', string][] = [
      [plain, 'config', 'only-config'],
      [strict, 'with', 'only-with'],
    ];
    for (const [config, side] of both) {
      const raised = await raisedBy(config);
      const told = result.alerts
        .flatMap((one) => one[side].map(({ begins }) => `${begins} ${one.rule} ${one.subject}`))
        .sort();
      expect(told.length).toBeGreaterThan(1);
      expect(raised).toEqual(expect.arrayContaining(told));
      expect(raised.length).toBe(told.length + result.alike);
    }
  }, 60_000);

  it('a higher limit tells earlier, by so much as the two replays differ', () => {
    const tire = result.alerts.find(
      ({ differs, rule }) => differs.includes('earlier') && rule === 'tire-underinflated',
    )!;
    expect(tire.beginsS).toBeLessThan(-60);
    expect(tire.beginsS).toBe((Date.parse(tire.with[0]!.begins) - Date.parse(tire.config[0]!.begins)) / 1000);
    for (const what of ['only-config', 'only-with', 'urgency', 'earlier'])
      expect([what, result.counts[what]! > 0]).toEqual([what, true]);
  });

  it('--from leaves out what was over before, --to what begins after; both together the rest', async () => {
    const options = { config: plain, with: strict };
    const moments = result.alerts.flatMap(({ config, with: other }) =>
      [...config, ...other].flatMap(({ begins, ended }) => [begins, ...(ended === null ? [] : [ended.at])]),
    );
    const middle = moments.sort()[Math.floor(moments.length / 2)]!;
    const name = ({ rule, subject, config, with: other }: Told) =>
      `${rule} ${subject} ${(config[0] ?? other[0])!.begins}`;
    const ends = ({ config, with: other }: Told) =>
      [...config, ...other].map(({ ended }) => (ended === null ? Number.POSITIVE_INFINITY : Date.parse(ended.at)));
    const begins = ({ config, with: other }: Told) => [...config, ...other].map((x) => Date.parse(x.begins));
    const later = result.alerts.filter((x) => Math.max(...ends(x)) >= Date.parse(middle));
    expect(later.length).toBeLessThan(result.alerts.length);
    expect((await json([SHIFT], { ...options, from: middle })).alerts.map(name)).toEqual(later.map(name));
    const sinceS = (Date.parse(middle) - START_S * 1000) / 1000;
    expect((await json([SHIFT], { ...options, from: String(sinceS) })).alerts.map(name)).toEqual(later.map(name));
    const before = result.alerts.filter((x) => Math.min(...begins(x)) < Date.parse(middle)).map(name);
    const told = (await json([SHIFT], { ...options, to: middle })).alerts.map(name);
    expect(before).toEqual(expect.arrayContaining(told.filter((one) => before.includes(one))));
    expect(told.length).toBeGreaterThan(0);
    for (const one of told) expect(Date.parse(one.split(' ').at(-1)!)).toBeLessThan(Date.parse(middle));
  }, 90_000);

  it('turned round it says the opposite', async () => {
    const round = await json([SHIFT], { config: strict, with: plain });
    expect(round.alike).toBe(result.alike);
    expect(round.counts).toEqual({
      ...result.counts,
      'only-config': result.counts['only-with'],
      'only-with': result.counts['only-config'],
      earlier: result.counts.later,
      later: result.counts.earlier,
    });
  }, 60_000);

  it('the same file twice differs in nothing, and a note says that they judge alike', async () => {
    const { out, err, code } = await compare([SHIFT], { config: plain, with: plain });
    expect(code).toBe(0);
    expect(err).toContain('note: both configurations judge alike');
    expect(out).toMatch(/\nNo alert differs, \d+ are alike\.\n$/);
  }, 60_000);

  it('the built program prints a table of at most 100 columns and exits with 0', async () => {
    const { out, err, code } = await axlepost(['compare', SHIFT, '--config', plain, '--with', strict]);
    expect(code, err).toBe(0);
    expect(out).toMatch(/\nEarlier with B \(\d+\)\n/);
    expect(out).toMatch(/pressure below target;\n? +\d+ min( \d+ s)?\n? *earlier/);
    expect(out.split('\n').filter((line) => line.length > 100)).toEqual([]);
    expect(err).toMatch(/^3:00:59 of traffic/);
  }, 60_000);

  it('docs/compare.md has every key, and none that is not there', () => {
    const keys = (heading: string): string[] =>
      tableRows(section('docs/compare.md', `## ${heading}`)).flatMap(([cell]) => ticked(cell!));
    expect(keys('The object')).toEqual(Object.keys(result));
    expect(keys('alerts').sort()).toEqual(Object.keys(result.alerts[0]!).sort());
    expect(keys('differs')).toEqual([...DIFFERENCES]);
  });
});

describe('compare of recordings', () => {
  it('without --config the first is what was in force, of a folder as well; both begin from nothing', async () => {
    const live = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS });
    await play(live, shift(437, 11));
    const same = temp('two-buses.yaml', `${TWO_BUSES}rules:\n  tire-hot: {enabled: no}\n`);
    const { out, err, code } = await compare([live.folder], { with: same, format: 'json' });
    expect(code, err).toBe(0);
    expect(err).toContain('for a fair comparison: starts without the recorded state');
    const { alerts, counts, alike } = JSON.parse(out) as Json;
    expect(alerts.filter(({ rule }) => rule === 'tire-hot').map(({ differs }) => differs)).toEqual([['only-config']]);
    expect(counts['only-with']).toBe(0);
    expect(alike).toBeGreaterThan(0);
  });

  it('a foreign log needs --config; what cannot be used is refused with 2, a log that is cut off gives 1', async () => {
    const log = temp('lamp.log', text(lampLog()));
    expect(await compare([log], { with: TRUCK })).toMatchObject({ code: 2, out: '' });
    expect(await compare([log], { config: TRUCK, with: TRUCK, format: 'xml' })).toMatchObject({ code: 2, out: '' });
    for (const option of ['from', 'to'])
      expect(await compare([log], { config: TRUCK, with: TRUCK, [option]: 'noon' })).toMatchObject({
        code: 2,
        err: expect.stringMatching(new RegExp(`^--${option} noon: write seconds`)),
      });
    expect(await compare([log], { config: TRUCK, with: temp('bad.yaml', 'fleet: x\n') })).toMatchObject({ code: 2 });
    expect(await compare([`${tempFolder()}/none.log`], { config: TRUCK, with: TRUCK })).toMatchObject({ code: 1 });
    const cut = temp('cut.log.gz', readFileSync(SHIFT).subarray(0, 200_000));
    expect(await compare([cut], { config: TRUCK, with: TRUCK })).toMatchObject({ code: 1 });
  }, 60_000);

  it('a bus that the second configuration has elsewhere is found by its name', async () => {
    const log = temp('chassis.log', text(lampLog({ iface: 'can1' })));
    const swapped = TWO_BUSES.replace(
      /buses: .*/,
      'buses: [{name: chassis, interface: can9}, {name: main, interface: can8}]',
    );
    const [a, b] = [temp('a.yaml', TWO_BUSES), temp('b.yaml', swapped)];
    const { alike, alerts } = await json([log], { config: a, with: b });
    expect([alike, alerts]).toEqual([1, []]);
  });
});

const alert = (begin: number, end: number | null, more: Partial<Alert> = {}): Alert => {
  const at = (s: number) => ({ s, at: '' });
  return {
    ...{ rule: 'tire-hot', subject: 'tractor/2/left/outer', place: '', urgency: 'next-stop' },
    ...{ reached: { plan: at(begin), 'next-stop': at(begin) }, begin: at(begin) },
    end: end === null ? null : { ...at(end), how: 'cleared', reason: null },
    untilS: end ?? Number.POSITIVE_INFINITY,
    ...more,
  };
};

describe('what belongs together', () => {
  const shapes = (a: Alert[], b: Alert[]): unknown[] =>
    matchAlerts(a, b).map((pair) => [pair.config.length, pair.with.length, ...pair.differs]);

  it.each<[string, Alert[], Alert[], unknown[]]>([
    ['alike', [alert(10, 20)], [alert(10, 20)], [[1, 1]]],
    ['one in two pieces', [alert(10, 90)], [alert(10, 30), alert(60, 90)], [[1, 2, 'pieces']]],
    ['two that a third one links', [alert(10, 30), alert(50, 70)], [alert(20, 60)], [[2, 1, 'later', 'pieces', 'end']]],
    [
      'over before the other begins',
      [alert(10, 20)],
      [alert(21, 30)],
      [
        [1, 0, 'only-config'],
        [0, 1, 'only-with'],
      ],
    ],
    ['touching', [alert(10, 20)], [alert(20, 30)], [[1, 1, 'later', 'end']]],
    ['open at the end in one', [alert(10, null)], [alert(10, 30)], [[1, 1, 'end']]],
    [
      'another tire at the same time',
      [alert(10, 20)],
      [alert(10, 20, { subject: 'tractor/2/left/inner' })],
      [
        [1, 0, 'only-config'],
        [0, 1, 'only-with'],
      ],
    ],
    [
      'another worst, and earlier there',
      [alert(10, 20, { urgency: 'pull-over', reached: { plan: { s: 10, at: '' }, 'pull-over': { s: 15, at: '' } } })],
      [alert(9, 20)],
      [[1, 1, 'urgency', 'earlier']],
    ],
  ])('%s', (_, a, b, expected) => {
    expect(shapes(a, b)).toEqual(expected);
  });

  it('a level reached later by an alert that begins at the same time', () => {
    const worse = (s: number): Alert =>
      alert(10, 90, {
        urgency: 'pull-over',
        reached: { plan: { s: 10, at: '' }, 'next-stop': { s: 10, at: '' }, 'pull-over': { s, at: '' } },
      });
    const first = worse(40);
    first.reached['next-stop'] = first.reached.plan = first.begin;
    const second = worse(70);
    second.reached['next-stop'] = second.reached.plan = second.begin;
    const [pair] = matchAlerts([first], [second]);
    expect(pair).toMatchObject({ differs: ['later'], beginsS: 0, levelsS: { 'pull-over': 30 } });
  });
});

describe('alerts of events', () => {
  const event = (n: number, t: number, change: 'raised' | 'cleared') =>
    ({
      draft: { alert: n, t, change, urgency: 'plan', rule: 'tire-hot', subject: 's', place: '', reason: null },
      run: { zeroWallMs: 0, synced: true },
    }) as never;

  it('are bounded, and what is left out is counted once', () => {
    const alerts = new Alerts();
    for (let n = 0; n < MOST_ALERTS + 3; n++) {
      alerts.take(event(n, 1000, 'raised'), 0);
      alerts.take(event(n, 2000, 'cleared'), 0);
    }
    expect([alerts.all.length, alerts.dropped]).toEqual([MOST_ALERTS, 3]);
  });

  it('one that is open when the program starts from nothing is no part of what comes then', () => {
    const alerts = new Alerts();
    alerts.take(event(1, 1000, 'raised'), 0);
    alerts.startAnew(100);
    alerts.take(event(1, 1000, 'raised'), 100);
    expect(alerts.all.map(({ begin, end, untilS }) => [begin.s, end, untilS])).toEqual([
      [1, null, 99],
      [101, null, Number.POSITIVE_INFINITY],
    ]);
  });
});
