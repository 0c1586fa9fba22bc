import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { AIR_LOW_KPA, axlesOf, brakeWords, circuitsOf, TIRE_LIMITS } from '../../../office/page/truck/axles.js';
import { plotOf } from '../../../office/page/truck/plot-subjects.js';
import { HEIGHT, postOf, SCALE_X } from '../../../office/page/truck/post-geometry.js';
import { aligned, COLUMN, GAP_MS, pointsOf } from '../../../office/page/truck/series.js';
import { MINUTE, madeUpPage, madeUpTruck } from './support/made-up.js';

const NOW = Date.UTC(2026, 2, 2, 14, 0, 0);
const page = madeUpPage(NOW, madeUpTruck(NOW, { truck: 'T-1042' }));

describe('axles', () => {
  it('come from front to rear, tires as the driver has them from left to right', () => {
    const axles = axlesOf(page);
    expect(axles.map(({ name }) => name)).toEqual([
      'tractor axle 1',
      'tractor axle 2',
      'tractor axle 3',
      'trailer axle 1',
      'trailer axle 2',
    ]);
    expect(axles[0]!.tires.map(({ name }) => name)).toEqual(['left', 'right']);
    expect(axles[1]!.tires.map(({ name }) => name)).toEqual(['left outer', 'left inner', 'right inner', 'right outer']);
    expect(axles[3]!.brakes.map(({ name, state, strokeMm }) => [name, state, strokeMm])).toEqual([
      ['left', 0, null],
      ['right', 2, 52.4],
    ]);
  });

  it('a value is as old as the reading and its own age in it', () => {
    const tire = axlesOf(page)[2]!.tires[2]!;
    expect(tire.subject).toBe('tractor/3/right/inner');
    expect(tire.atMs).toBe(NOW - 2 * MINUTE - 2460_000);
  });

  it('a tire that never told has its place and its target', () => {
    const known = { reading: null, readingMs: null, check: page.check };
    const tire = axlesOf(known)[0]!.tires[0]!;
    expect(tire).toMatchObject({ coldKpa: null, atMs: null, targetKpa: 827.4 });
    expect(axlesOf({ ...known, check: null })).toEqual([]);
    expect(circuitsOf(known)).toEqual([]);
  });

  it('subjects that are no wheels make no axle', () => {
    const r = {
      'air/primary': [868, 1],
      'fault/main/48/117/18': [1, 1],
      'a/b/left/outer': [1, 1],
      '<b>/1/up/outer': [1],
    };
    const only = { ...page, check: null, reading: { v: 1 as const, at: '2026-03-02T13:58:00.000Z', r } };
    expect(axlesOf(only)).toEqual([]);
    expect(circuitsOf(only)).toEqual([
      { subject: 'air/primary', name: 'primary', kpa: 868, atMs: NOW - 2 * MINUTE - 1000 },
    ]);
  });

  it('states that this page does not know are told by their number', () => {
    expect([0, 2, 3, 7, null].map(brakeWords)).toEqual(['ok', 'over-stroke', 'drags', 'state 7', 'not known']);
  });
});

describe('limits that are drawn', () => {
  const defaults = parse(readFileSync('config/defaults.yaml', 'utf8')) as Record<
    string,
    { levels: Record<string, { raise: string }> }
  >;
  const raise = (rule: string, level: string): number => Number.parseFloat(defaults[rule]!.levels[level]!.raise);

  it('are those that Axlepost is shipped with', () => {
    const low = TIRE_LIMITS.filter(({ share }) => share < 1);
    expect(low.map(({ urgency }) => urgency)).toEqual(['plan', 'next-stop', 'pull-over']);
    for (const { share, urgency } of low) expect(share * 100).toBeCloseTo(raise('tire-underinflated', urgency), 9);
    expect(TIRE_LIMITS[0].share * 100).toBe(raise('tire-overinflated', 'plan'));
    expect(AIR_LOW_KPA).toBe(raise('air-low', 'pull-over'));
  });
});

describe('one pressure scale', () => {
  const scale = { lowKpa: 300, highKpa: 900, fromMs: 0, toMs: 60 * MINUTE, gapMs: GAP_MS };

  it('has the mark where the pressure is, and says so where that is beyond its ends', () => {
    const at = (nowKpa: number | null) => postOf({ ...scale, nowKpa, history: [] }).mark;
    expect(at(600)).toEqual({ y: HEIGHT / 2, beyond: null });
    expect(at(950)!.beyond).toBe('above');
    expect(at(100)!.beyond).toBe('below');
    expect(at(950)!.y).toBe(postOf({ ...scale, nowKpa: 900, history: [] }).mark!.y);
    expect(at(null)).toBeNull();
  });

  it('leaves the hours open in which nothing was told', () => {
    const history = [0, 5, 10, 30, 35].map((min): [number, number] => [min * MINUTE, 600]);
    const { lines } = postOf({ ...scale, nowKpa: 600, history });
    expect(lines.map((line) => line.split(' ').length)).toEqual([3, 2]);
    expect(lines[0]!.startsWith(`0,${HEIGHT / 2}`)).toBe(true);
    expect(Number(lines[1]!.split(' ')[0]!.split(',')[0])).toBe(SCALE_X / 2);
  });
});

describe('series', () => {
  it('a sensor that went silent stops in the plot, although it is told again with a growing age', () => {
    const rows: [number, ...number[]][] = [
      [0, 700, 690, 40, 10],
      [5 * MINUTE, 700, 690, 40, 310],
      [10 * MINUTE, 700, 690, 40, 610],
      [15 * MINUTE, 710, 695, 41, 5],
    ];
    expect(pointsOf(rows, COLUMN.cold)).toEqual([
      [-10_000, 690],
      [15 * MINUTE - 5000, 695],
    ]);
    expect(pointsOf([[0, null, 690, 40, 10]], COLUMN.measured)).toEqual([]);
    expect(pointsOf(undefined, COLUMN.cold)).toEqual([]);
  });

  it('lines keep their own instants; a hole is null at the instants of other lines too, elsewhere they are none', () => {
    const [xs, a, b] = aligned(
      [
        [
          [0, 1],
          [GAP_MS + 1, 2],
        ],
        [
          [1000, 3],
          [2000, 4],
        ],
      ],
      GAP_MS,
    );
    expect(xs).toEqual([0, 0.001, 1, 2, (GAP_MS + 1) / 1000]);
    expect(a).toEqual([1, null, null, null, 2]);
    expect(b).toEqual([undefined, undefined, 3, 4, undefined]);
  });

  it('plots a tire beside those of its axle, heat as heat, and air as its circuits', () => {
    const subjects = [...Object.keys(page.reading!.r)];
    const tire = plotOf({ rule: 'tire-losing-air', subject: 'tractor/2/right/outer' }, subjects)!;
    // Its own side first.
    expect(tire.lines.map(({ name }) => name)).toEqual(['right inner', 'right outer', 'left outer', 'left inner']);
    expect(tire).toMatchObject({ unit: 'kPa', title: 'Cold-equivalent pressures of tractor axle 2' });
    expect(plotOf({ rule: 'tire-hot', subject: 'trailer/2/left/outer' }, subjects)).toMatchObject({ unit: '°C' });
    expect(plotOf({ rule: 'air-low', subject: 'air/service' }, subjects)!.lines.map(({ name }) => name)).toEqual([
      'primary',
      'secondary',
    ]);
    expect(plotOf({ rule: 'fault-code', subject: 'fault/main/48/117/18' }, subjects)).toBeNull();
  });
});
