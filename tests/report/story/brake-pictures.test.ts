import { describe, expect, it } from 'vitest';
import type { Measured } from '../../../daemon/alerts/event.js';
import type { BrakeApplicationValues } from '../../../daemon/truck/records.js';
import { type Gathered, seriesKey } from '../../../report/gathered.js';
import { BRAKE_PICTURES } from '../../../report/story/brake-pictures.js';
import type { GatheredAlert, Picture } from '../../../report/story/picture.js';
import { windowsOf } from '../../../report/story/window.js';
import { truckOf } from '../../support/truck-file.js';
import { pressed } from '../support/brakes.js';
import { alertOf, event, run, sample, text } from '../support/by-hand.js';

const LEFT = 'tractor/2/left';
const RIGHT = 'tractor/2/right';
type Wheels = BrakeApplicationValues['wheels'];

const state = (code: number) => ({ code, strokeMm: null });
const stroke = (strokeMm: number) => ({ code: null, strokeMm });
const said: Measured = { code: 2, text: 'over-stroke', of: '2 of 3' };
const measured = (value: number): Measured => ({
  ...{ quantity: 'pushrod stroke', value, limit: 50.8, unit: 'mm', quality: 'good' },
});

/** Applications a minute apart, each with what the wheel ends told in it. */
function truck(all: [peakKpa: number | null, wheels: Wheels][], durationS = 3): Gathered {
  const gathered = run(Math.max(120, all.length + 30), truckOf());
  gathered.records = all.map(([peakKpa, wheels], i) => pressed((i + 1) * 60, { peakKpa, wheels, durationS }));
  return gathered;
}

function depict(gathered: Gathered, alert: GatheredAlert): Picture {
  gathered.events.push(...alert.events);
  return BRAKE_PICTURES[alert.rule]!({ gathered, alert, ...windowsOf(gathered, alert)[0]! });
}

const overstroke = (gathered: Gathered, second: number, m: Measured = said): Picture =>
  depict(gathered, alertOf(gathered, 'brake-overstroke', LEFT, [[second, 'raised', 'next-stop']], { measured: m }));

const hintsOf = (picture: Picture): string[] => picture.hints.map(({ points, words }) => `${points}: ${text(words)}`);
const sawOf = (picture: Picture): string => picture.saw.map(text).join('\n');

describe('brake-overstroke by state', () => {
  it('says which applications counted, how hard they were, and how the other side was', () => {
    const other = { [RIGHT]: state(0) };
    const picture = overstroke(
      truck([
        [300, { [LEFT]: state(2), ...other }],
        [140, { [LEFT]: state(0), ...other }],
        [250, { [LEFT]: state(2), ...other }],
      ]),
      200,
    );
    const saw = sawOf(picture);
    expect(saw).toContain('the last three applications that count showed over-stroke in two cases');
    expect(saw).toContain('at <60> (300 kPa, 3 s) and at <180> (250 kPa, 3 s); not at <120> (140 kPa, 3 s).');
    expect(saw).toContain('over-stroke in 2 of 3 applications that count; tractor axle 2, right brake: 0 of 3.');
    const spans = picture.plots[0]!.spans.filter(({ kind }) => kind === 'application');
    expect(spans.map(({ fromS, label }) => [fromS, label])).toEqual([
      [60, 'counts: over-stroke'],
      [120, 'counts: good'],
      [180, 'counts: over-stroke'],
    ]);
    expect(hintsOf(picture)).toEqual([]);
  });

  it('that got worse more than once is told at its raise and at the first rise to its worst', () => {
    const gathered = truck([1, 2, 3, 4, 5].map(() => [300, { [LEFT]: state(2) }]));
    const changes = [
      [70, 'raised', 'plan'],
      [130, 'worse', 'next-stop'],
      [190, 'better', 'plan'],
      [250, 'worse', 'next-stop'],
    ] as const;
    const saw = sawOf(depict(gathered, alertOf(gathered, 'brake-overstroke', LEFT, [...changes], { measured: said })));
    expect(saw).toContain('the one application that counts showed over-stroke: at <60>');
    expect(saw).toContain('When it got worse, the last two applications that count showed over-stroke in all: at <60>');
    expect(saw.match(/When it got worse/g)).toHaveLength(1);
  });

  it('that the kept readings do not show is not made up', () => {
    const saw = sawOf(overstroke(truck([[300, { [LEFT]: state(0) }]]), 200));
    expect(saw).toContain('Of what was kept, the one application that counts does not show over-stroke: at <60>');
    expect(sawOf(overstroke(truck([[300, { [LEFT]: state(2) }]]), 200))).toContain(
      'the one application that counts showed over-stroke: at <60>',
    );
    expect(sawOf(overstroke(truck([]), 200))).toBe('None of the applications that were kept tells of this brake.');
  });

  it('only in light applications points to the sensor, and from some pressure on to the brake', () => {
    const of = (bad: number[], good: number[]): string[] =>
      hintsOf(
        overstroke(
          truck(
            [...bad, ...good, ...bad].map((kpa, i) => [
              kpa,
              { [LEFT]: state(i < bad.length || i >= bad.length + good.length ? 2 : 0) },
            ]),
          ),
          1000,
        ),
      );
    expect(of([140, 160], [200, 300])).toEqual([
      expect.stringMatching(/^sensor: Only light applications showed it: 4 up to 160 kPa, while all 2 from 200 kPa on/),
    ]);
    expect(of([300, 260], [140, 200])).toEqual([
      expect.stringMatching(/^real: Every application from 260 kPa on showed it \(4\) and none up to 200 kPa \(2\)/),
    ]);
    // Nothing is to be said where they overlap.
    expect(of([140, 260], [200, 300])).toEqual([]);
  });

  it('with the brakes released points to sensor or linkage', () => {
    const of = (readings: number): string[] => {
      const gathered = truck([[300, { [LEFT]: state(2) }]]);
      sample(gathered, LEFT, 'stroke state', 1, (s) => (s >= 500 && s < 500 + readings ? 2 : 0));
      return hintsOf(overstroke(gathered, 200));
    };
    expect(of(10)).toEqual([
      expect.stringMatching(
        /^sensor: Over-stroke was told with the brakes released too: in 10 of \d+ readings, first at <500>/,
      ),
    ]);
    expect(of(9)).toEqual([]);
  });

  it('told in one single reading of each long application points to the sensor', () => {
    const of = (readings: number): string[] => {
      const gathered = truck([
        [300, { [LEFT]: state(2) }],
        [300, { [LEFT]: state(2) }],
      ]);
      sample(gathered, LEFT, 'stroke state', 1, (s) =>
        s % 60 < readings && (s === 60 || s === 61 || s === 120 || s === 121) ? 2 : 0,
      );
      return hintsOf(overstroke(gathered, 200));
    };
    expect(of(1)).toEqual(['sensor: It was one single reading in each of the 2 applications.']);
    expect(of(2)).toEqual([]);
  });

  it('of both sides at once, or of most brakes at once, points to what they share', () => {
    const ends = ['tractor/1/left', 'tractor/1/right', LEFT, RIGHT, 'trailer/1/left', 'trailer/1/right'];
    const of = (bad: readonly string[]): string[] =>
      hintsOf(
        overstroke(
          truck(
            [0, 1, 2].map(() => [300, Object.fromEntries(ends.map((end) => [end, state(bad.includes(end) ? 2 : 0)]))]),
          ),
          300,
        ),
      );
    expect(of([LEFT])).toEqual([]);
    expect(of([LEFT, RIGHT])).toEqual([
      expect.stringMatching(
        /^unclear: The other side of the axle \(tractor axle 2, right brake\) showed the same in 3 of these 3/,
      ),
    ]);
    expect(of(ends.slice(0, 4))).toEqual([
      expect.stringMatching(/^sensor: In the same applications 4 of 6 brakes were told to be over-stroke/),
    ]);
    // In half of them is no habit.
    const half = truck([0, 1, 2, 3].map((i) => [300, { [LEFT]: state(2), [RIGHT]: state(i < 2 ? 2 : 0) }]));
    expect(hintsOf(overstroke(half, 300))).toEqual([]);
    const twice = truck([0, 1, 2].map((i) => [300, { [LEFT]: state(2), [RIGHT]: state(i === 0 ? 0 : 2) }]));
    expect(hintsOf(overstroke(twice, 300))).toEqual([
      expect.stringMatching(/^unclear: .* showed the same in 2 of these 3/),
    ]);
  });
});

describe('brake-overstroke by measured stroke', () => {
  // Type 30, rated 2.5 in: 2 in or 50.8 mm.
  it('says the stroke, the limit of the chamber and its source', () => {
    const picture = overstroke(
      truck([
        [600, { [LEFT]: stroke(52) }],
        [600, { [LEFT]: stroke(50.8) }],
        [600, { [LEFT]: stroke(53.1) }],
      ]),
      200,
      measured(53.1),
    );
    expect(sawOf(picture)).toContain('a stroke beyond the legal limit in two cases');
    expect(sawOf(picture)).toMatch(
      /type 30, rated stroke 63.5 mm may move by 50.8 mm, .*49 CFR 393.47\(e\).* at <180> it moved by 53.1 mm/,
    );
    const [plot] = picture.plots;
    expect(plot!.limits.map(({ value, axis }) => [value, axis])).toEqual([
      [50.8, 0],
      [57.15, 0],
      [550, 1],
      [690, 1],
    ]);
    // Readings were not kept: one point for each application, and none is joined.
    expect(plot!.lines[0]).toMatchObject({ v: [52, 50.8, 53.1], s: [60, 120, 180], gapS: 0.15 });
  });

  const longer = (mm: (i: number) => number): string[] =>
    hintsOf(
      overstroke(
        truck(
          Array.from({ length: 30 }, (_, i) => [
            200 + (i % 7) * 20,
            { [LEFT]: stroke(30 + (i % 7) + mm(i)), [RIGHT]: stroke(30 + (i % 7)) },
          ]),
        ),
        3000,
        measured(53),
      ),
    );

  it('tells a stroke that jumped between two applications from one that grew', () => {
    expect(longer((i) => (i < 15 ? 0 : 18))).toEqual([
      expect.stringMatching(
        /^unclear: Against the other side of the axle its stroke jumped by 18.0 mm between two applications, at <960>/,
      ),
    ]);
    expect(longer((i) => i * 0.5)).toEqual([
      expect.stringMatching(
        /^real: Against the other side of the axle its stroke grew by 13.5 mm over 30 applications/,
      ),
    ]);
    expect(longer(() => 1)).toEqual([]);
    expect(longer((i) => (i === 10 ? 18 : 0))).toEqual([]);
  });
});

describe('brake-not-applying', () => {
  const of = (bad: readonly string[], wheels: (end: string) => Wheels[string], m: Measured): string[] => {
    const gathered = truck(
      [0, 1, 2].map(() => [
        300,
        Object.fromEntries([LEFT, RIGHT].map((end) => [end, wheels(bad.includes(end) ? end : '')])),
      ]),
    );
    return hintsOf(
      depict(gathered, alertOf(gathered, 'brake-not-applying', LEFT, [[300, 'raised', 'next-stop']], { measured: m })),
    );
  };

  it('of both sides points to the air of the axle, of one side to nothing more', () => {
    const dead: Measured = { code: 1, text: 'non-functioning', of: '3 of 3' };
    const code = (end: string) => state(end === '' ? 0 : 1);
    expect(of([LEFT], code, dead)).toEqual([]);
    expect(of([LEFT, RIGHT], code, dead)).toEqual([
      expect.stringMatching(/^real: .*look at what both share, the air to the axle/),
    ]);
  });
});

describe('brake-not-applying, by heat', () => {
  /** Presses the brakes so often in twenty minutes, in which the tires of both sides grow warmer by so much. */
  const of = (own: number, other: number, uses = 10): string[] => {
    const gathered = run(60, truckOf());
    gathered.records = Array.from({ length: uses }, (_, i) => pressed(610 + i * 100, { wheels: { [LEFT]: state(1) } }));
    for (const [end, by] of [
      [LEFT, own],
      [RIGHT, other],
    ] as const)
      for (const place of ['outer', 'inner'])
        sample(
          gathered,
          `${end}/${place}`,
          'temperature',
          10,
          (s) => 40 + Math.min(1, Math.max(0, (s - 600) / 1200)) * by,
        );
    const m: Measured = { code: 1, text: 'non-functioning', of: '2 of 3' };
    const changes = [
      [600, 'raised', 'next-stop'],
      [1800, 'cleared', 'next-stop'],
    ] as const;
    return hintsOf(depict(gathered, alertOf(gathered, 'brake-not-applying', LEFT, [...changes], { measured: m })));
  };

  it('is confirmed where the other side grew warm alone, and doubted where both did', () => {
    expect(of(5, 15)).toEqual([
      expect.stringMatching(
        /^real: In 10 applications the tires of the other side grew 15 °C warmer and those here 5 °C/,
      ),
    ]);
    expect(of(6, 15)).toEqual([]);
    expect(of(12, 15)).toEqual([
      expect.stringMatching(/^sensor: In 10 applications the tires of both sides grew warmer alike/),
    ]);
    expect(of(11, 15)).toEqual([]);
    expect(of(0, 9)).toEqual([]);
    expect(of(5, 15, 9)).toEqual([]);
  });
});

describe('brake-stroke-uneven', () => {
  it('says where it is the other side that does not move', () => {
    const of = (right: number): string[] => {
      const gathered = truck([0, 1, 2].map(() => [300, { [LEFT]: stroke(30), [RIGHT]: stroke(right) }]));
      const m: Measured = {
        quantity: 'stroke beyond the other side',
        value: 30 - right,
        limit: 12.7,
        unit: 'mm',
        quality: 'good',
      };
      return hintsOf(
        depict(gathered, alertOf(gathered, 'brake-stroke-uneven', LEFT, [[300, 'raised', 'plan']], { measured: m })),
      );
    };
    expect(of(2)).toEqual([
      expect.stringMatching(/^real: It is the other side .* that does not move: 2.0 mm at most in these 3/),
    ]);
    expect(of(10)).toEqual([]);
    // That it came at once is told of the brake that does not move, and not of this one.
    const sudden = truck(
      Array.from({ length: 20 }, (_, i) => [300, { [LEFT]: stroke(30), [RIGHT]: stroke(i < 10 ? 30 : 2) }]),
    );
    const picture = depict(sudden, alertOf(sudden, 'brake-stroke-uneven', LEFT, [[1500, 'raised', 'plan']]));
    expect(hintsOf(picture)).toEqual([expect.stringMatching(/^real: It is the other side/)]);
  });
});

describe('brake-dragging', () => {
  /** Drags from second 600 to 1800, at speed; its tires grow warmer by `own`, the others by 5 °C. */
  function dragging(own: number, both = false): Picture {
    const gathered = run(60, truckOf());
    const warm = (by: number) => (s: number) => 40 + Math.min(1, Math.max(0, (s - 600) / 1200)) * by;
    const isOwn = (tire: string): boolean => tire.startsWith(LEFT) || (both && tire.startsWith(RIGHT));
    for (const axle of ['tractor/2', 'tractor/3', 'trailer/1'])
      for (const side of ['left', 'right'])
        for (const place of ['outer', 'inner']) {
          const tire = `${axle}/${side}/${place}`;
          sample(gathered, tire, 'temperature', 10, warm(isOwn(tire) ? own : 5));
        }
    sample(gathered, 'tractor', 'speed', 1, () => 80);
    sample(gathered, LEFT, 'stroke state', 1, (s) => (s >= 600 && s < 1800 ? 3 : 0));
    const changes = [
      [612, 'raised', 'next-stop'],
      [1812, 'cleared', 'next-stop'],
    ] as const;
    const m: Measured = { code: 3, text: 'dragging' };
    if (both) gathered.events.push(event('2', 'brake-dragging', RIGHT, [615, 'raised', 'next-stop'], { measured: m }));
    return depict(gathered, alertOf(gathered, 'brake-dragging', LEFT, [...changes], { measured: m }));
  }

  it('is confirmed by heat, or it is not', () => {
    expect(hintsOf(dragging(15))).toEqual([expect.stringMatching(/^real: The tires here grew 10 °C warmer/)]);
    expect(hintsOf(dragging(14))).toEqual([]);
    expect(hintsOf(dragging(9))).toEqual([]);
    expect(hintsOf(dragging(7))).toEqual([
      expect.stringMatching(/^sensor: After 20 min of driving the tires here were no warmer/),
    ]);
    const saw = sawOf(dragging(60));
    expect(saw).toMatch(/"dragging" was told in 1200 of \d+ readings, from <600> to <1799>/);
    expect(saw).toContain('the truck moved for 20 min');
    expect(saw).toContain('from 40 °C to 100 °C, those of tractor axle 2, right brake from 40 °C to 45 °C');
  });

  it('of both sides at once points to what they share, and its heat is held against other axles', () => {
    const hints = hintsOf(dragging(60, true));
    expect(hints).toEqual([
      expect.stringMatching(/^real: The tires here grew 55 °C warmer/),
      expect.stringMatching(/^real: Tractor axle 2, right brake began to drag at the same moment, at <615>/),
    ]);
  });
});

describe('brake-sensor-fault', () => {
  it('of one sensor is told from that of many', () => {
    const of = (others: string[]): string[] => {
      const gathered = run(60, truckOf());
      sample(gathered, LEFT, 'stroke state', 1, (s) => (s < 600 ? 0 : null));
      sample(gathered, RIGHT, 'stroke state', 1, () => 0);
      gathered.events = others.map((end) => event(end, 'brake-sensor-fault', end, [640, 'raised', 'plan']));
      const picture = depict(
        gathered,
        alertOf(gathered, 'brake-sensor-fault', LEFT, [[630, 'raised', 'plan']], {
          measured: { code: 6, text: 'sensor error' },
        }),
      );
      expect(sawOf(picture)).toContain('Its last good state was told at <599>.');
      return hintsOf(picture);
    };
    expect(of([])).toEqual([
      expect.stringMatching(/^sensor: The same sender went on to tell of tractor axle 2, right brake/),
    ]);
    expect(of(['trailer/1/left', 'trailer/1/right'])).toEqual([
      expect.stringMatching(/^sensor: two other brake sensors failed at the same moment/),
    ]);
  });
});

describe('brake-hot', () => {
  const hot = (pressedS: number): Picture => {
    const gathered = run(60, truckOf());
    gathered.records = Array.from({ length: 10 }, (_, i) => pressed(1200 + i * 60, { durationS: pressedS }));
    sample(gathered, 'trailer/1/left/outer', 'temperature', 10, (s) => 50 + s / 60);
    sample(gathered, 'tractor/2/left/outer', 'temperature', 10, () => 60);
    gathered.events = [event('2', 'brake-dragging', 'trailer/1/left', [1500, 'raised', 'next-stop'])];
    return depict(gathered, alertOf(gathered, 'brake-hot', 'brakes', [[1800, 'raised', 'next-stop']]));
  };

  it('says how much the brakes were used, which tires are hottest, and which brake dragged', () => {
    const picture = hot(12);
    expect(sawOf(picture)).toContain('In the 10 min before, the brakes were pressed for 20 % of the time.');
    expect(sawOf(picture)).toMatch(/trailer axle 1, left outer tire \d+ °C and tractor axle 2, left outer tire 60 °C/);
    expect(hintsOf(picture)).toEqual([
      expect.stringMatching(/^unclear: The brakes were in hard use before/),
      'real: trailer axle 1, left brake: that brake was told to drag, at <1500>.',
    ]);
    expect(hintsOf(hot(11.9))).toHaveLength(1);
  });
});

describe('brake-lining-low', () => {
  it('says what was told of both sides, against the limits', () => {
    const gathered = run(60, truckOf());
    const left = (value: number): Measured => ({
      quantity: 'lining left',
      value,
      limit: 0.2,
      unit: 'share',
      quality: 'good',
    });
    gathered.events = [event('2', 'brake-lining-low', RIGHT, [500, 'raised', 'plan'], { measured: left(0.12) })];
    const { plots, saw } = depict(
      gathered,
      alertOf(gathered, 'brake-lining-low', LEFT, [[600, 'raised', 'plan']], { measured: left(0.18) }),
    );
    expect(saw.map(text)).toEqual([
      'The brake controller said that 18 % of the lining was left, at <600>.',
      'Of tractor axle 2, right brake it said 12 %.',
    ]);
    expect(plots[0]!.lines[0]).toMatchObject({ s: [600], v: [0.18] });
    expect(plots[0]!.limits.map(({ value }) => value)).toEqual([0.2, 0.25, 0.1, 0.15]);
  });
});

describe('brake-stroke-growing', () => {
  it('draws the days before, with the limit ahead', () => {
    const gathered = run(60, truckOf());
    const day = 86_400_000;
    const more = {
      measured: {
        quantity: 'growth of pushrod stroke',
        value: 1,
        low: 0.8,
        high: 1.2,
        unit: 'mm/day',
        quality: 'good',
      } as Measured,
      evidence: {
        quantity: 'pushrod stroke',
        unit: 'mm',
        points: [
          [4 * day, 40],
          [2 * day, 42],
          [0, 44],
        ] as [number, number][],
      },
      forecast: { what: 'limit', inMs: 6 * day, fromMs: 5 * day, toMs: 8 * day },
    };
    const { plots, saw } = depict(
      gathered,
      alertOf(gathered, 'brake-stroke-growing', LEFT, [[600, 'raised', 'plan']], more),
    );
    expect(plots[0]!.lines.map(({ s, v }) => [s.map((x) => Math.round((x - 600) / 86_400)), v])).toEqual([
      [
        [-4, -2, 0],
        [40, 42, 44],
      ],
      [
        [0, 6],
        [44, 50.8],
      ],
    ]);
    expect(saw.map(text).join('\n')).toMatch(
      /grew by 1.00 mm\/day.*\n.*from 40.0 mm to 44.0 mm in four days.*\n.*type 30.*50.8 mm.*\n.*limit in 6 days \(5 days to 8 days\)/,
    );
  });
});

describe('brakes-defective-share', () => {
  it('lists the brakes that were counted then, and draws their share', () => {
    const gathered = run(60, truckOf());
    gathered.events = [
      event('1', 'brake-overstroke', LEFT, [100, 'raised', 'plan']),
      event('1', 'brake-overstroke', LEFT, [200, 'worse', 'next-stop']),
      event('2', 'brake-dragging', 'trailer/1/left', [300, 'raised', 'next-stop']),
      event('3', 'brake-stroke-uneven', RIGHT, [310, 'raised', 'plan']),
      event('2', 'brake-dragging', 'trailer/1/left', [900, 'cleared', 'next-stop']),
    ];
    const m: Measured = {
      quantity: 'brakes with a finding, of those fitted',
      value: 0.2,
      limit: 0.2,
      unit: 'share',
      quality: 'good',
    };
    const { plots, saw } = depict(
      gathered,
      alertOf(gathered, 'brakes-defective-share', 'brakes', [[302, 'raised', 'pull-over']], { measured: m }),
    );
    expect(saw.map(text)).toEqual([
      'When it was raised, 2 of 10 brakes had a finding at next stop or worse: 20 %.',
      'tractor axle 2, left brake: pushrod stroke too long, since <200>.',
      'trailer axle 1, left brake: brake does not release, since <300>.',
    ]);
    expect(plots[0]!.lines[0]!.v).toEqual([0, 0, 0.1, 0.1, 0.2, 0.2, 0.1, 0.1]);
  });
});

it('a state that was told for hours takes a few points, and a gap in it stays open', () => {
  const gathered = run(120, truckOf());
  sample(gathered, LEFT, 'stroke state', 1, (s) => (s > 1000 && s < 1100 ? null : s >= 1500 && s < 1520 ? 2 : 0));
  const { plots } = overstroke(gathered, 1600);
  const [line] = plots[0]!.lines;
  expect(line!.s.length).toBeLessThan(12);
  const gap = line!.s.indexOf(1100);
  expect(line!.s[gap - 1]).toBe(1000);
  expect(line!.breaks).toEqual([gap]);
  expect(gathered.samples.get(seriesKey(LEFT, 'stroke state'))!.atMs.length).toBeGreaterThan(7000);
});
