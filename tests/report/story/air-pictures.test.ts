import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { EventDraft, Measured } from '../../../daemon/alerts/event.js';
import type { AirTestValues } from '../../../daemon/truck/records.js';
import type { Gathered, GatheredRecord } from '../../../report/gathered.js';
import { AIR_PICTURES } from '../../../report/story/air-pictures.js';
import type { Picture } from '../../../report/story/picture.js';
import { windowsOf } from '../../../report/story/window.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';
import { pumped, tested } from '../support/air.js';
import { pressed } from '../support/brakes.js';
import { alertOf, run, sample, text } from '../support/by-hand.js';

const [PRIMARY, SECONDARY, SUPPLY] = ['air/primary', 'air/secondary', 'air/supply'];
type Course = (second: number) => number | null;

/** From one pressure to another between two seconds. */
const falls =
  (fromKpa: number, toKpa: number, fromS: number, toS: number): Course =>
  (s) =>
    fromKpa + (toKpa - fromKpa) * Math.min(1, Math.max(0, (s - fromS) / (toS - fromS)));

function air(courses: Partial<Record<string, Course>>, records: GatheredRecord[] = []): Gathered {
  const gathered = run(60, truckOf());
  for (const [subject, course] of Object.entries(courses)) sample(gathered, subject, 'pressure', 1, course!);
  gathered.records = records;
  return gathered;
}

function depict(
  gathered: Gathered,
  rule: RuleName,
  changes: Parameters<typeof alertOf>[3],
  more: Partial<EventDraft> = {},
): Picture {
  const subject = rule === 'air-low' || rule === 'circuits-unequal' ? 'air/service' : 'air/supply';
  const alert = alertOf(gathered, rule, subject, changes, more);
  gathered.events.push(...alert.events);
  return AIR_PICTURES[rule]!({ gathered, alert, ...windowsOf(gathered, alert)[0]! });
}

const kpa = (quantity: string, value: number, limit: number, quality: 'good' | 'disputed' = 'good'): Measured => ({
  ...{ quantity, value, limit, unit: 'kPa', quality },
});
const hintsOf = (picture: Picture): string[] => picture.hints.map(({ points, words }) => `${points}: ${text(words)}`);
const sawOf = (picture: Picture): string => picture.saw.map(text).join('\n');

describe('air-low', () => {
  const low = (
    courses: Partial<Record<string, Course>>,
    records: GatheredRecord[] = [],
    measured = kpa('primary circuit pressure', 412, 414),
  ) => depict(air(courses, records), 'air-low', [[1800, 'raised', 'pull-over']], { measured });

  it('of both circuits alike points to the supply side, of one to that circuit', () => {
    const both = low({ [PRIMARY]: falls(800, 412, 1200, 1800), [SECONDARY]: falls(808, 500, 1200, 1800) });
    expect(hintsOf(both)).toEqual([
      expect.stringMatching(/^real: Both circuits fell alike, by 3[67]\d kPa and 29\d kPa: .*supply side/),
    ]);
    expect(sawOf(both)).toContain('primary circuit pressure was 412 kPa; the limit is 414 kPa.');
    expect(sawOf(both)).toMatch(
      /From <12[23]\d> to <1800> the primary air circuit went from 7[78]\d kPa to 41\d kPa, 38.\d kPa\/min and/,
    );
    const one = low({ [PRIMARY]: falls(800, 412, 1200, 1800), [SECONDARY]: falls(808, 780, 1200, 1800) });
    expect(hintsOf(one)).toEqual([
      expect.stringMatching(/^real: Only the primary air circuit fell, by 3[67]\d kPa, while the other lost 2\d kPa/),
    ]);
    // In between nothing is clear.
    const some = low({ [PRIMARY]: falls(800, 412, 1200, 1800), [SECONDARY]: falls(808, 608, 1200, 1800) });
    expect(hintsOf(some)).toEqual([]);
  });

  it('is told from where the fall began, and not from the ripple before it', () => {
    const wave: Course = (s) => (s < 1700 ? 800 + 8 * Math.sin(s / 40) : falls(800, 412, 1700, 1800)(s));
    expect(sawOf(low({ [PRIMARY]: wave, [SECONDARY]: wave }))).toMatch(
      /From <17[01]\d> to <1800> the primary air circuit went from 7\d\d kPa to 41\d kPa/,
    );
  });

  it('that comes from one reading to the next is no reservoir', () => {
    const sudden = low({ [PRIMARY]: (s) => (s < 1798 ? 800 : 300), [SECONDARY]: () => 800 });
    expect(hintsOf(sudden)).toEqual([
      expect.stringMatching(/^sensor: The primary air circuit fell by 500 kPa from one reading to the next, at <1798>/),
    ]);
    // Nobody saw what it did between two readings that lie further apart.
    const unseen = low({ [PRIMARY]: (s) => (s < 1795 ? 800 : s < 1798 ? null : 300), [SECONDARY]: () => 800 });
    expect(hintsOf(unseen)).toEqual([expect.stringMatching(/^real: Only the primary/)]);
    const steep = low({ [PRIMARY]: falls(800, 300, 1790, 1798), [SECONDARY]: () => 800 });
    expect(hintsOf(steep)).toEqual([expect.stringMatching(/^real: Only the primary/)]);
  });

  it('that comes with applications only is use and no leak', () => {
    const records = Array.from({ length: 10 }, (_, i) => pressed(1200 + i * 60, { durationS: 20 }));
    const stairs: Course = (s) =>
      800 -
      39 * Math.max(0, Math.min(10, Math.floor((s - 1200) / 60) + Math.min(1, ((((s - 1200) % 60) + 60) % 60) / 10)));
    const used = low({ [PRIMARY]: stairs, [SECONDARY]: stairs }, records);
    expect(hintsOf(used)).toEqual([
      expect.stringMatching(/^real: Both circuits fell alike/),
      expect.stringMatching(
        /^unclear: It fell with brake applications, by 3\d\d kPa in all, and by 0 kPa between them/,
      ),
    ]);
    expect(sawOf(used)).toContain('the brakes were pressed 10 times');
    const leak = falls(800, 412, 1200, 1800);
    expect(hintsOf(low({ [PRIMARY]: leak, [SECONDARY]: leak }, records))).toHaveLength(1);
  });

  it('of two senders that disagree points to a sensor', () => {
    const at = (quality: 'good' | 'disputed') =>
      hintsOf(
        low({ [PRIMARY]: () => 412, [SECONDARY]: () => 420 }, [], kpa('primary circuit pressure', 412, 414, quality)),
      );
    expect(at('disputed')).toEqual([expect.stringMatching(/^sensor: The circuit has two senders, and they disagree/)]);
    expect(at('good')).toEqual([]);
  });

  it('that is over when the compressor pumps was real air', () => {
    const up = falls(412, 800, 1900, 2100);
    const steady: Course = (s) => (s < 1900 ? 412 : up(s));
    expect(hintsOf(low({ [PRIMARY]: steady, [SECONDARY]: steady }, [pumped(1900, { pumpingS: 200 })]))).toEqual([
      expect.stringMatching(/^real: Both circuits came back while the compressor pumped, from <1900> on, by 3\d\d kPa/),
    ]);
    expect(hintsOf(low({ [PRIMARY]: steady, [SECONDARY]: () => 420 }, [pumped(2200)]))).toEqual([]);
    const alone = low({ [PRIMARY]: steady, [SECONDARY]: (s) => 420 + (s % 2) }, [pumped(1900, { pumpingS: 200 })]);
    expect(hintsOf(alone)).toEqual([]);
  });

  it('draws circuits and supply against the limits, with pumping, tests, applications and delays', () => {
    const records = [pumped(1900), tested(1300), pressed(1250)];
    const gathered = air({ [PRIMARY]: () => 600, [SECONDARY]: () => 610, [SUPPLY]: () => 650 }, records);
    sample(gathered, 'tractor', 'engine speed', 1, () => 900);
    const { plots } = depict(gathered, 'air-low', [[1800, 'raised', 'pull-over']]);
    expect(plots[0]!.lines.map(({ label, role, axis }) => [label, role, axis])).toEqual([
      ['primary air circuit', 'judged', 0],
      ['secondary air circuit', 'judged', 0],
      ['air supply', 'context', 0],
      ['engine speed', 'context', 1],
    ]);
    expect(plots[0]!.limits.map(({ kind, value }) => [kind, value])).toEqual([
      ['raise', 414],
      ['clear', 448],
    ]);
    const spans = plots[0]!.spans.map(({ kind, fromS, toS }) => [kind, fromS, toS]);
    for (const span of [
      ['raising', 1798, 1800],
      ['pumping', 1900, 1960],
      ['leak-test', 1300, 1420],
      ['application', 1250, 1253],
    ])
      expect(spans).toContainEqual(span);
  });
});

describe('circuits-unequal', () => {
  const unequal = (courses: Partial<Record<string, Course>>, records: GatheredRecord[] = []) =>
    depict(air(courses, records), 'circuits-unequal', [[1800, 'raised', 'next-stop']], {
      measured: kpa('circuit difference, secondary lower', 120, 103),
    });

  it('draws the difference and says how far it went', () => {
    const picture = unequal({ [PRIMARY]: () => 800, [SECONDARY]: falls(790, 600, 1200, 2400) });
    expect(picture.plots[0]!.title).toBe('Difference of the two service circuits');
    expect(Math.max(...picture.plots[0]!.lines[0]!.v)).toBe(200);
    expect(sawOf(picture)).toContain('While it lasted the difference was 200 kPa at most, at <2400>.');
  });

  it('of a circuit that the compressor does not reach points to what feeds it', () => {
    const saw = falls(700, 820, 1500, 1560);
    const of = (secondary: Course) => hintsOf(unequal({ [PRIMARY]: saw, [SECONDARY]: secondary }, [pumped(1500)]));
    expect(of(falls(700, 600, 600, 1800))).toEqual([
      expect.stringMatching(
        /^real: While the compressor pumped, from <1500> on, the primary air circuit rose by 1\d\d kPa and the secondary air circuit did not rise/,
      ),
    ]);
    const fed: Course = (s) =>
      s < 1500 ? falls(700, 600, 600, 1500)(s) : s < 1560 ? 600 + s - 1500 : falls(660, 560, 1560, 1800)(s);
    expect(of(fed).filter((hint) => hint.includes('did not rise'))).toEqual([]);
    expect(of(fed)).toHaveLength(1);
  });

  it('of one that never moves while the other does points to its sensor', () => {
    const wave: Course = (s) => 740 + 60 * Math.sin(s / 100);
    expect(hintsOf(unequal({ [PRIMARY]: wave, [SECONDARY]: () => 600 }))).toEqual([
      expect.stringMatching(
        /^sensor: The secondary air circuit told the same pressure for 30 min while the other circuit moved by 1\d\d kPa/,
      ),
    ]);
    expect(
      hintsOf(unequal({ [PRIMARY]: wave, [SECONDARY]: (s) => 600 + (s % 2) })).filter((h) => h.startsWith('sensor')),
    ).toEqual([]);
  });
});

describe('air-leaking', () => {
  const leaking = (tests: Partial<AirTestValues>[]) => {
    const records = tests.map((more, i) =>
      tested(300 + 150 * Math.floor(i / 2), {
        thirds: Array.from({ length: 3 }, () => more.kpaPerMin ?? 10) as AirTestValues['thirds'],
        ...more,
      }),
    );
    const gathered = air({ [PRIMARY]: () => 700, [SECONDARY]: () => 700 }, records);
    return depict(gathered, 'air-leaking', [[1800, 'raised', 'plan']]);
  };
  const pair = (
    primary: number,
    secondary: number,
    state: AirTestValues['state'] = 'released',
  ): Partial<AirTestValues>[] => [
    { circuit: PRIMARY!, kpaPerMin: primary, state },
    { circuit: SECONDARY!, kpaPerMin: secondary, state },
  ];

  it('tells of the tests with both slopes, and says which circuit loses', () => {
    const picture = leaking([...pair(30, 25), ...pair(32, 27)]);
    expect(picture.plots.filter(({ title }) => title.includes('brakes released'))).toHaveLength(2);
    expect(sawOf(picture)).toContain(
      'From <300> on, for 2 min with the brakes released: the primary air circuit fell by 20 kPa, 30.0 kPa/min (too fast) and the secondary air circuit by 20 kPa, 25.0 kPa/min (too fast); allowed are 20.7 kPa/min.',
    );
    expect(hintsOf(picture)).toEqual([expect.stringMatching(/^real: Both circuits lose air alike/)]);
    expect(hintsOf(leaking(pair(30, 5)))).toEqual([
      expect.stringMatching(/^real: Nearly all of it goes from the primary air circuit/),
    ]);
    expect(hintsOf(leaking(pair(30, 12)))).toEqual([]);
  });

  it('with the brakes applied only is behind the valve', () => {
    expect(hintsOf(leaking([...pair(5, 4), ...pair(30, 28, 'applied')]))).toEqual([
      expect.stringMatching(/with the brakes applied and hardly any with them released/),
    ]);
    expect(hintsOf(leaking([...pair(25, 24), ...pair(15, 14, 'applied')])).slice(1)).toEqual([
      expect.stringMatching(/with the brakes released, and not too much more with them applied/),
    ]);
    expect(hintsOf(leaking([...pair(15, 14), ...pair(30, 28, 'applied')])).slice(1)).toEqual([]);
  });
});

describe('the governor', () => {
  const governed = (rule: 'air-cut-in-low' | 'air-cut-out-high', circuitKpa: number, config = truckOf()) => {
    const gathered = air(
      { [PRIMARY]: () => circuitKpa, [SECONDARY]: () => circuitKpa - 8, [SUPPLY]: () => 1040 },
      [300, 700, 1100].map((s) => pumped(s, { cutInKpa: 640, cutOutKpa: 1040 })),
    );
    gathered.config = config;
    const measured = rule === 'air-cut-in-low' ? kpa('cut-in pressure', 640, 672) : kpa('cut-out pressure', 1040, 1034);
    return depict(gathered, rule, [[1800, 'raised', 'plan']], { measured });
  };

  it('is believed where the circuits agree with its sender, and a supply that stands alone is not', () => {
    expect(hintsOf(governed('air-cut-out-high', 1000))).toEqual([
      expect.stringMatching(/^real: The circuits agree: at each cut-out the fuller one was within 40 kPa/),
    ]);
    expect(hintsOf(governed('air-cut-out-high', 860))).toEqual([
      expect.stringMatching(/^sensor: At each cut-out the supply was 180 kPa or more away/),
    ]);
  });

  it('has its cycles drawn over the whole time, against the limit of its kind of vehicle', () => {
    const { plots, saw } = governed('air-cut-in-low', 1000);
    expect(plots[0]!.lines.map(({ label, role, v }) => [label, role, v])).toEqual([
      ['cut-in', 'judged', [640, 640, 640]],
      ['cut-out', 'context', [1040, 1040, 1040]],
    ]);
    expect(plots[0]!.limits.map(({ value }) => value)).toEqual([672, 680]);
    expect(saw.map(text)).toContain(
      'In three cycles of these data: cut-in 640 kPa to 640 kPa (3), cut-out 1040 kPa to 1040 kPa (3).',
    );
    const bus = governed('air-cut-in-low', 1000, truckOf(`vehicle: bus\n${LAYOUT}`));
    expect(bus.plots[0]!.limits.map(({ value }) => value)).toEqual([570]);
  });
});

describe('what makes the air', () => {
  const share: Measured = {
    quantity: 'pumping, of running time',
    value: 0.6,
    limit: 0.5,
    unit: 'share',
    quality: 'good',
  };

  it('is held against the leak tests, and against how often the brakes were pressed', () => {
    const of = (records: GatheredRecord[], rule: RuleName = 'compressor-overworked') =>
      hintsOf(depict(air({ [PRIMARY]: () => 700 }, records), rule, [[1800, 'raised', 'plan']], { measured: share }));
    expect(of([tested(100), tested(300, { kpaPerMin: 30, thirds: [30, 30, 30] })])).toEqual([
      expect.stringMatching(/^real: 1 of 2 leak tests failed \(at worst 30.0 kPa\/min of 20.7/),
    ]);
    expect(of([tested(100)], 'air-builds-slowly')).toEqual([
      expect.stringMatching(/^real: The one leak test passed .* compressor/),
    ]);
    expect(of([])).toEqual([]);
    const often = (n: number) => of(Array.from({ length: n }, (_, i) => pressed(10 + i * 20)));
    expect(often(30)).toEqual([expect.stringMatching(/^unclear: 60 applications an hour/)]);
    expect(often(29)).toEqual([]);
  });

  it('has its share of the running time drawn against the limit', () => {
    const gathered = air(
      { [PRIMARY]: () => 700 },
      [0, 1200, 2400].map((s) => pumped(s, { pumpingS: 600 })),
    );
    sample(gathered, 'tractor', 'engine speed', 1, () => 900);
    const { plots } = depict(gathered, 'compressor-overworked', [[3500, 'raised', 'plan']], { measured: share });
    const [line] = plots[0]!.lines;
    // Half of each forty minutes; the engine ran all the time.
    expect(line!.v.at(-1)).toBeCloseTo(0.5, 2);
    expect(plots[0]!.limits.map(({ value }) => value)).toEqual([0.5, 0.35]);
    const half = air(
      { [PRIMARY]: () => 700 },
      [0, 1200, 2400].map((s) => pumped(s, { pumpingS: 600 })),
    );
    sample(half, 'tractor', 'engine speed', 1, (s) => (s % 1200 < 600 ? 900 : 0));
    expect(depict(half, 'compressor-overworked', [[3500, 'raised', 'plan']]).plots[0]!.lines[0]!.v.at(-1)).toBeCloseTo(
      1,
      2,
    );
  });
});
