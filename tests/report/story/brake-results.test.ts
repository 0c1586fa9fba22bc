import { describe, expect, it } from 'vitest';
import type { BrakeApplicationValues } from '../../../daemon/truck/records.js';
import { type Gathered, seriesKey } from '../../../report/gathered.js';
import { type CountingRule, resultsOf, type Way } from '../../../report/story/brake-results.js';
import { truckOf } from '../../support/truck-file.js';
import { pressed } from '../support/brakes.js';
import { run, sample } from '../support/by-hand.js';
import { cityShift, driveShift } from '../support/drive-shift.js';

const LEFT = 'tractor/2/left';
const RIGHT = 'tractor/2/right';
type Wheel = BrakeApplicationValues['wheels'][string];

/** Applications a minute apart. */
function minutely(
  wheels: (Record<string, Partial<Wheel>> & object)[],
  more: Partial<BrakeApplicationValues> = {},
): Gathered {
  const gathered = run(60, truckOf());
  gathered.records = wheels.map((told, i) =>
    pressed((i + 1) * 60, {
      wheels: Object.fromEntries(
        Object.entries(told).map(([subject, w]) => [subject, { code: null, strokeMm: null, ...w }]),
      ),
      ...more,
    }),
  );
  return gathered;
}

const holding = (gathered: Gathered, rule: CountingRule, way: Way, subject = LEFT): boolean[] =>
  resultsOf(gathered, rule, subject, way).map(({ holds }) => holds);

describe('by the state that the sender gives', () => {
  it('only applications that count and in which the brake told something are results', () => {
    const gathered = minutely([{ [LEFT]: { code: 2 } }, { [RIGHT]: { code: 2 } }, { [LEFT]: { code: 0 } }]);
    gathered.records.push(pressed(600, { qualifying: false, wheels: { [LEFT]: { code: 2, strokeMm: null } } }));
    expect(holding(gathered, 'brake-overstroke', 'state')).toEqual([true, false]);
    expect(holding(gathered, 'brake-overstroke', 'state', RIGHT)).toEqual([true]);
    expect(
      holding(minutely([{ [LEFT]: { code: 1 } }, { [LEFT]: { code: 2 } }]), 'brake-not-applying', 'state'),
    ).toEqual([true, false]);
  });

  it('a single reading of over-stroke does not count in an application longer than three seconds', () => {
    const lasting = (durationS: number, saying: number): boolean[] => {
      const gathered = minutely([{ [LEFT]: { code: 2 } }], { durationS });
      sample(gathered, LEFT, 'stroke state', 1, (s) => (s >= 61 && s < 61 + saying ? 2 : 0));
      return holding(gathered, 'brake-overstroke', 'state');
    };
    expect(lasting(3, 1)).toEqual([true]);
    expect(lasting(3.1, 1)).toEqual([false]);
    expect(lasting(3.1, 2)).toEqual([true]);
  });

  it('where readings were thinned, or kept by the minute only, the worst state of the record says it', () => {
    const gathered = minutely([{ [LEFT]: { code: 2 } }], { durationS: 20 });
    sample(gathered, LEFT, 'stroke state', 4, (s) => (s === 64 ? 2 : 0));
    expect(holding(gathered, 'brake-overstroke', 'state')).toEqual([false]);
    gathered.samples.get(seriesKey(LEFT, 'stroke state'))!.joinMs = 8_000;
    expect(holding(structuredClone(gathered), 'brake-overstroke', 'state')).toEqual([true]);
    expect(holding(minutely([{ [LEFT]: { code: 2 } }], { durationS: 20 }), 'brake-overstroke', 'state')).toEqual([
      true,
    ]);
  });
});

describe('by measured stroke', () => {
  // The chamber of this axle is type 30, rated 2.5 in: 2 in or 50.8 mm.
  const strokes = (peakKpa: number | null, ...mm: number[]) =>
    holding(
      minutely(
        mm.map((strokeMm) => ({ [LEFT]: { strokeMm } })),
        { peakKpa },
      ),
      'brake-overstroke',
      'stroke',
    );

  it('equal to the limit is legal, and more is not', () => {
    expect(strokes(600, 50.7, 50.8, 50.9)).toEqual([false, false, true]);
  });

  it('is judged from 550 to 690 kPa only', () => {
    expect([549, 550, 690].map((kpa) => strokes(kpa, 60))).toEqual([[], [true], [true]]);
    expect(strokes(null, 60)).toEqual([]);
    expect(strokes(691, 60)).toEqual([]);
  });

  it('of a harder application is taken while its pressure passed through the band', () => {
    const gathered = minutely([{ [LEFT]: { strokeMm: 55 } }], { peakKpa: 760, durationS: 5 });
    const pressures = [200, 600, 600, 760, 760];
    const at = (list: number[], s: number) => list[s - 60] ?? 0;
    sample(gathered, 'brakes', 'application pressure', 1, (s) => at(pressures, s));
    sample(gathered, LEFT, 'stroke', 1, (s) => at([30, 45, 51, 55, 55], s));
    // The reading before the pressure left the band may be of a pressure above it.
    expect(resultsOf(gathered, 'brake-overstroke', LEFT, 'stroke')).toMatchObject([{ holds: false, strokeMm: 45 }]);
  });

  it('a rod moves from where it lay before: less than 5 mm is no movement', () => {
    const of = (strokeMm: number, restMm: number) => {
      const gathered = minutely([{ [LEFT]: { strokeMm } }]);
      sample(gathered, LEFT, 'stroke', 1, (s) => (s >= 60 && s <= 63 ? strokeMm : restMm));
      return holding(gathered, 'brake-not-applying', 'stroke');
    };
    expect([of(14.9, 10), of(15, 10), of(4.9, 0), of(5, 0)]).toEqual([[true], [false], [true], [false]]);
  });

  it('strokes of one axle differ by more than 12.7 mm on the longer side only', () => {
    const of = (left: number, right: number, subject: string) =>
      holding(
        minutely([{ [LEFT]: { strokeMm: left }, [RIGHT]: { strokeMm: right } }]),
        'brake-stroke-uneven',
        'stroke',
        subject,
      );
    expect([of(42.7, 30, LEFT), of(42.8, 30, LEFT), of(42.8, 30, RIGHT)]).toEqual([[false], [true], [false]]);
  });
});

describe('against what the monitors counted', () => {
  it('each raise and rise of a driven shift has as many cases as its event says', async () => {
    const { gathered } = await driveShift(
      cityShift(
        ['mode: key, until: "0:00:20"', 'mode: idle, until: "0:03:00", idleRpm: 1100', 'mode: city, until: "0:20:00"'],
        [
          'kind: brake-overstroke, wheelEnd: tractor/2/left, from: "0:07:00", to: "0:20:00", aboveKpa: 120, extraMm: 18',
          'kind: brake-not-applying, wheelEnd: tractor/1/right, from: "0:09:00", to: "0:20:00"',
        ],
      ),
    );
    const told = gathered.events.flatMap(({ atMs, draft: { rule, subject, measured } }) => {
      if (rule !== 'brake-overstroke' && rule !== 'brake-not-applying') return [];
      if (measured === null || !('code' in measured) || measured.of === undefined) return [];
      const [n, m] = measured.of.split(' of ').map(Number) as [number, number];
      const before = resultsOf(gathered, rule, subject, 'state').filter((r) => r.application.endMs <= atMs);
      return [{ rule, subject, said: n, counted: before.slice(-m).filter(({ holds }) => holds).length }];
    });
    expect(new Set(told.map(({ rule, subject }) => `${rule} ${subject}`)).size).toBe(2);
    for (const { said, counted } of told) expect(counted).toBe(said);
  });
});
