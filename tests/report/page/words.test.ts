import { describe, expect, it } from 'vitest';
import type { AlertStory, Glance } from '../../../report/data.js';
import { anchorOf, toldOf } from '../../../report/page/alert/order.js';
import { barOf, pathsOf, stepsOf, urgencyAt } from '../../../report/page/glance/geometry.js';
import { glanceWords } from '../../../report/page/glance/glance-words.js';
import { isOver, sorted, strokeCloud, topKpa, topMm } from '../../../report/page/points/brake-clouds.js';
import { nearestPoint, roundTop } from '../../../report/page/points/cloud.js';
import { clockOf, span, tickWords, timeTicks } from '../../../report/page/words/time.js';
import { cell, distance, inUnits, rateInUnits, readingOf } from '../../../report/page/words/units.js';
import { madeUpReport } from './fixture.js';
import { losingAir } from './support/alerts.js';
import { madeUpBrakes } from './support/sections.js';

/* Times, units, and the places of things on the page. */

const FROM_MS = Date.UTC(2026, 2, 2, 13, 0, 0);
const US = { pressure: 'psi', temperature: '°F' } as const;
const SI = { pressure: 'kPa', temperature: '°C' } as const;

describe('instants', () => {
  const clock = clockOf(FROM_MS, 7200, 'utc');

  it('are told in UTC, with the day where there is more than one', () => {
    expect(clock.moment(3661.4)).toBe('14:01:01');
    expect(clock.day(0)).toBe('Mon 2 Mar 2026');
    expect(clockOf(FROM_MS, 80_000, 'utc').moment(50_000)).toBe('Tue 3 Mar, 02:53:20');
    expect(clockOf(FROM_MS, 80_000, 'utc').moment(0)).toBe('Mon 2 Mar, 13:00:00');
  });

  it('on the clock of this computer they are what its calendar says', () => {
    const local = clockOf(FROM_MS, 7200, 'local');
    const there = new Date(FROM_MS + 3661_000);
    expect(local.hms(3661)).toBe(there.toTimeString().slice(0, 8));
    expect(local.name).toBe(Intl.DateTimeFormat().resolvedOptions().timeZone);
  });

  it('ticks lie on round times, also where the report does not begin at one', () => {
    const odd = clockOf(FROM_MS + 17_000, 7200, 'utc');
    const { stepS, at } = timeTicks(0, 600, 6, odd);
    expect(stepS).toBe(120);
    expect(at.map((s) => odd.hms(s))).toEqual(['13:02:00', '13:04:00', '13:06:00', '13:08:00', '13:10:00']);
    expect(tickWords(at[0]!, stepS, odd)).toBe('13:02');
    expect(tickWords(3, 1, odd)).toBe('13:00:20');
    expect(tickWords(0, 86_400, odd)).toBe('2 Mar');
    const long = clockOf(FROM_MS, 80_000, 'utc');
    expect(timeTicks(0, 80_000, 5, long).at.map((s) => tickWords(s, 21_600, long))).toEqual([
      '18:00',
      '3 Mar',
      '06:00',
    ]);
  });

  it('ticks are few for any length', () => {
    for (const length of [0, 1, 59, 4000, 40_000, 400_000, 90_000_000]) {
      expect(timeTicks(0, length, 6, clock).at.length).toBeLessThanOrEqual(8);
    }
  });

  it('spans are told as people say them', () => {
    expect([0, 59.6, 119, 150, 3599, 3661, 90_000].map(span)).toEqual([
      '0 s',
      '60 s',
      '119 s',
      '3 min',
      '60 min',
      '1 h 01 min',
      '1 d 1 h',
    ]);
  });
});

describe('units', () => {
  it('follow the truck file: inches and miles go with psi', () => {
    expect([
      inUnits(690, 'kPa', US),
      inUnits(50.8, 'mm', US),
      inUnits(100, 'km/h', US),
      inUnits(100, '°C', US),
    ]).toEqual(['100.1 psi', '2.00 in', '62 mph', '212 °F']);
    expect([
      inUnits(690, 'kPa', SI),
      inUnits(50.8, 'mm', SI),
      inUnits(100, 'km/h', SI),
      inUnits(100, '°C', SI),
    ]).toEqual(['690 kPa', '50.8 mm', '100 km/h', '100 °C']);
    expect(inUnits(690, 'kPa', { ...SI, pressure: 'bar' })).toBe('6.90 bar');
    expect(distance(160.9344, US)).toBe('100.0 mi');
    expect(rateInUnits(20.7, US)).toBe('3.0 psi/min');
  });

  it('shares are per cent, states are words, nothing is a dash', () => {
    expect([inUnits(0.5, 'share', US), inUnits(2, 'state', US), inUnits(7, 'state', US)]).toEqual([
      '50 %',
      'over-stroke',
      'code 7',
    ]);
    expect([cell(null, 'kPa', US), cell(3, 'state', US)]).toEqual(['–', 'dragging']);
    expect(readingOf('rpm', US).unit).toBe('rpm');
  });
});

describe('the time axis', () => {
  const bar: Glance['alerts'][number] = {
    id: 'a',
    rule: 'air-low',
    place: 'service air',
    fromS: 10,
    toS: null,
    steps: [
      { s: 10, urgency: 'plan' },
      { s: 40, urgency: 'pull-over' },
    ],
  };

  it('an alert that is open reaches to the end, and has the urgency of its time', () => {
    expect(stepsOf(bar, 100)).toEqual([
      { fromS: 10, toS: 40, urgency: 'plan' },
      { fromS: 40, toS: 100, urgency: 'pull-over' },
    ]);
    expect([5, 20, 99].map((s) => urgencyAt(bar, s, 100))).toEqual([null, 'plan', 'pull-over']);
    expect(urgencyAt({ ...bar, toS: 60 }, 70, 100)).toBeNull();
  });

  it('bars are cut to what is seen', () => {
    expect(barOf(10, 40, [0, 100])).toEqual({ left: 10, width: 30 });
    expect(barOf(10, 40, [20, 30])).toEqual({ left: 0, width: 100 });
    expect(barOf(10, 40, [50, 60])).toBeNull();
  });

  it('the line of speed is open where nothing was heard', () => {
    const line = {
      label: '',
      role: 'context',
      axis: 0,
      s: [0, 10, 90],
      v: [0, 50, 100],
      low: [0, 40, 100],
      high: [0, 60, 100],
      gapS: 20,
    } as const;
    const paths = pathsOf(
      { ...line, s: [...line.s], v: [...line.v], low: [...line.low], high: [...line.high] },
      [0, 100],
      100,
    );
    expect(paths.line).toBe('M0.0 100.0L100.0 50.0M900.0 0.0h1');
    expect(paths.band).toBe('M0.0 100.0L100.0 40.0L100.0 60.0L0.0 100.0ZM900.0 0.0L900.0 0.0Z');
  });

  it('reads out what was the case', () => {
    const clock = clockOf(FROM_MS, 10_860, 'utc');
    expect(glanceWords(madeUpReport(), 5500, clock, US)).toBe(
      '14:31:40 · asleep · key off · pull over: tractor axle 2 left outer, losing air · next stop: trailer axle 1 right, pushrod stroke too long',
    );
  });
});

describe('alerts', () => {
  const alert = (id: string, cause: string | null): AlertStory => ({ ...losingAir(), id, cause });

  it('consequences stand under the alert at the bottom of it, in the order of time', () => {
    const told = toldOf([alert('a', null), alert('b', 'a'), alert('c', null), alert('d', 'b')]);
    expect(told.map(({ alert: { id }, consequences }) => [id, consequences.map((each) => each.id)])).toEqual([
      ['a', ['b', 'd']],
      ['c', []],
    ]);
  });

  it('none is lost: with a cause that is not told, or causes in a circle', () => {
    const told = toldOf([alert('a', 'gone'), alert('b', 'c'), alert('c', 'b')]);
    expect(
      told.flatMap(({ alert: { id }, consequences }) => [id, ...consequences.map((each) => each.id)]).sort(),
    ).toEqual(['a', 'b', 'c']);
    expect(told.every(({ hasUntoldCause }) => hasUntoldCause)).toBe(true);
  });

  it('have a place that an address can name', () => {
    expect(anchorOf('T-1042.~k3v9/1 "x"')).toBe('alert-T-1042._k3v9_1__x_');
  });
});

describe('brake applications', () => {
  const brakes = madeUpBrakes();

  it('wheels with alerts come first; those that were ok throughout or told nothing are set apart', () => {
    const steady = { ...brakes.wheels[4]!, place: 'steady', code: brakes.wheels[4]!.code.map(() => 0) };
    const { measured, stated, ok, silent } = sorted([...brakes.wheels, steady]);
    expect(ok.map(({ place }) => place)).toEqual(['steady']);
    expect(measured.map(({ place }) => place)).toEqual(brakes.wheels.slice(0, 4).map(({ place }) => place));
    expect(stated.map(({ place }) => place)).toEqual(['trailer axle 1 right', 'trailer axle 1 left']);
    expect(silent.map(({ place }) => place)).toEqual(['trailer axle 2 left']);
  });

  it('equal to the limit is legal, greater is not, and only within the band', () => {
    const one = (strokeMm: number, peakKpa: number) => {
      const { applications } = brakes;
      const wheel = { ...brakes.wheels[0]!, limitMm: 44.5, strokeMm: [strokeMm] };
      return isOver({ ...brakes, applications: { ...applications, peakKpa: [peakKpa] } }, wheel, 0);
    };
    expect([one(44.5, 600), one(44.6, 600), one(44.6, 549), one(44.6, 550), one(44.6, 690), one(44.6, 691)]).toEqual([
      false,
      true,
      false,
      true,
      true,
      false,
    ]);
  });

  it('all wheels share their axes, which hold every point', () => {
    const cloud = strokeCloud(brakes, brakes.wheels[2]!, 'limit');
    expect(cloud.x.range).toEqual([0, topKpa(brakes)]);
    expect(cloud.y.range).toEqual([0, topMm(brakes)]);
    expect(cloud.points.every(({ x, y }) => x <= topKpa(brakes) && y <= topMm(brakes))).toBe(true);
    expect(cloud.points.length).toBe(190);
    expect([roundTop(0, 100), roundTop(690, 100), roundTop(48, 10)]).toEqual([100, 800, 60]);
  });

  it('the nearest point is read, none that is far', () => {
    const points = [0, 10, 20].map((x, row) => ({ x, y: x, shape: 'dot' as const, isFull: true, urgency: null, row }));
    const at = ({ x, y }: { x: number; y: number }): [number, number] => [x, y];
    expect(nearestPoint(points, at, [12, 9], 5)).toBe(1);
    expect(nearestPoint(points, at, [40, 40], 5)).toBeNull();
  });
});
