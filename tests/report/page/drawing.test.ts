import { describe, expect, it } from 'vitest';
import type { Line, Plot } from '../../../report/data.js';
import { aligned, nearest, pointAt, runsOf } from '../../../report/page/plot/align.js';
import { PlotGroup } from '../../../report/page/plot/group.js';
import { clearest, placeInRows, spread } from '../../../report/page/plot/labels.js';
import { plotWords, readOut } from '../../../report/page/plot/plot-words.js';
import { decimalsOf, valueRange, zoomBy, zoomTo } from '../../../report/page/plot/range.js';
import { valueRows } from '../../../report/page/plot/rows.js';
import { lanesOf, spansAt } from '../../../report/page/plot/spans.js';
import { stepFrom } from '../../../report/page/plot/step.js';
import { lineStyles } from '../../../report/page/plot/style.js';
import { clockOf } from '../../../report/page/words/time.js';
import fc from '../../support/property.js';
import { losingAir } from './support/alerts.js';

/* What plots are made of, before anything is drawn. */

const lineOf = (s: number[], v: number[], more: Partial<Line> = {}): Line => ({
  label: 'a line',
  role: 'judged',
  axis: 0,
  s,
  v,
  gapS: 10,
  ...more,
});

const plotOf = (lines: Line[], more: Partial<Plot> = {}): Plot => ({
  title: 'Pressure',
  fromS: 0,
  toS: 100,
  axes: [
    { unit: 'kPa', label: 'pressure' },
    { unit: '°C', label: 'temperature' },
  ],
  lines,
  limits: [],
  spans: [],
  marks: [],
  ...more,
});

const same = (v: number): number => v;

describe('lines on one axis', () => {
  it('keep their own instants, and are open where nothing was heard, whatever the others tell meanwhile', () => {
    const a = lineOf([0, 5, 40, 45], [1, 2, 3, 4]);
    const b = lineOf([2, 12, 22, 32], [6, 7, 8, 9]);
    expect(aligned([a, b], same)).toEqual([
      [0, 2, 5, 12, 22, 22.5, 32, 40, 45],
      [1, undefined, 2, null, null, null, null, 3, 4],
      [undefined, 6, undefined, 7, 8, undefined, 9, undefined, undefined],
    ]);
  });

  it('are open where they say so, though the points are near', () => {
    const a = lineOf([0, 5, 10], [1, 2, 3], { breaks: [2] });
    expect(aligned([a], same)).toEqual([
      [0, 5, 7.5, 10],
      [1, 2, null, 3],
    ]);
    expect(runsOf(a)).toEqual([
      [0, 1],
      [2, 2],
    ]);
    expect(runsOf(lineOf([], []))).toEqual([]);
  });

  it('between two points of a gap there is a null at every instant, and nowhere else', () => {
    const instants = fc
      .uniqueArray(fc.integer({ min: 0, max: 300 }), { maxLength: 40 })
      .map((s) => s.sort((x, y) => x - y));
    fc.assert(
      fc.property(instants, instants, (s, t) => {
        const lines = [lineOf(s, s), lineOf(t, t)];
        const [xs, ...rows] = aligned(lines, same);
        lines.forEach((line, n) => {
          xs.forEach((x, i) => {
            const next = line.s.findIndex((at) => at >= x);
            const expected =
              line.s[next] === x ? x : next > 0 && line.s[next]! - line.s[next - 1]! > line.gapS ? null : undefined;
            expect(rows[n]![i]).toBe(expected);
          });
        });
      }),
    );
  });

  it('are read at their nearest point, and not where nothing was heard', () => {
    const a = lineOf([0, 8, 40], [1, 2, 3]);
    expect([-4, 0, 3, 5, 12, 14, 24, 36, 44, 46].map((s) => pointAt(a, s))).toEqual([
      0,
      0,
      0,
      1,
      1,
      null,
      null,
      2,
      2,
      null,
    ]);
    expect(nearest([], 5)).toBe(-1);
    expect(pointAt(lineOf([], []), 5)).toBeNull();
  });

  it('no two of eight look the same, and what is judged comes first', () => {
    const lines = [...Array(7).fill('mate'), 'judged'].map((role) => lineOf([], [], { role }));
    const styles = lineStyles(lines);
    expect(new Set(styles.map(({ dash }) => dash.join())).size).toBe(8);
    expect(new Set(styles.map(({ colour }) => colour)).size).toBe(8);
    expect(styles[7]).toEqual({ colour: '--line-1', width: 2.25, dash: [] });
  });
});

describe('what an axis spans', () => {
  const line = lineOf([0, 50, 100], [700, 690, 600], { low: [695, 690, 590], high: [705, 690, 600] });
  const limits: Plot['limits'] = [{ label: 'low', kind: 'raise', urgency: 'plan', axis: 0, value: 400 }];

  it('all of its lines with their bands, and its limits', () => {
    const [low, high] = valueRange(plotOf([line], { limits }), 0, null);
    expect(low).toBeLessThan(400);
    expect(high).toBeGreaterThan(705);
    expect(high).toBeLessThan(740);
  });

  it('a close look leaves out limits that are far from what is seen', () => {
    const [low, high] = valueRange(plotOf([line], { limits }), 0, [0, 60]);
    expect(low).toBeGreaterThan(600);
    expect(high).toBeLessThan(720);
    expect(valueRange(plotOf([line], { limits }), 0, [60, 100])[0]).toBeGreaterThan(400);
  });

  it('is never so small that noise looks like news, and pressure does not go below zero', () => {
    const [low, high] = valueRange(plotOf([lineOf([0, 10], [700, 700.2])]), 0, null);
    expect(high - low).toBeGreaterThanOrEqual(14);
    expect(valueRange(plotOf([lineOf([0, 10], [0, 2])]), 0, null)[0]).toBe(0);
  });

  it('an axis without a line has its limits, or something at least', () => {
    expect(valueRange(plotOf([], { limits }), 0, null)[1]).toBeGreaterThan(400);
    expect(valueRange(plotOf([]), 1, null)[1]).toBeGreaterThan(0);
  });

  it('ticks have the decimals that they need', () => {
    expect([1, 5, 2.5, 0.25, 0.05, 1000].map(decimalsOf)).toEqual([0, 0, 1, 2, 2, 0]);
  });
});

describe('a part of the time', () => {
  it('lies inside of the whole, and all of it is no part', () => {
    expect(zoomTo([0, 100], 20, -5)).toEqual([0, 20]);
    expect(zoomTo([0, 100], 80, 500)).toEqual([80, 100]);
    expect(zoomTo([0, 100], -1, 101)).toBeNull();
    expect(zoomTo([0, 100], 50, 50.5)).toBeNull();
  });

  it('grows and shrinks around the instant that is read, down to a few seconds', () => {
    expect(zoomBy([0, 100], [0, 100], 0.5, 20)).toEqual([10, 60]);
    expect(zoomBy([0, 100], [10, 60], 2, 20)).toBeNull();
    expect(zoomBy([0, 100], [10, 14], 0.5, 12)).toEqual([10, 14]);
  });

  it('is shared by the plots of a group; one that has nothing of it shows its whole', () => {
    const group = new PlotGroup();
    const told: string[] = [];
    const end = group.subscribe((what) => told.push(what));
    group.setCursor(5);
    group.setCursor(5);
    group.setRange([10, 20]);
    end();
    group.setCursor(6);
    expect(told).toEqual(['cursor', 'range']);
    expect(group.seenOf(0, 100)).toEqual([10, 20]);
    expect(group.seenOf(15, 100)).toEqual([15, 20]);
    expect(group.seenOf(30, 100)).toBeNull();
  });

  it('arrow keys go from point to point of what is judged, and stay inside of what is seen', () => {
    const plot = plotOf([lineOf([1, 2, 3], [0, 0, 0], { role: 'mate' }), lineOf([0, 10, 20, 30], [1, 2, 3, 4])]);
    const seen: [number, number] = [0, 20];
    expect(stepFrom(plot, null, 1, seen)).toBe(0);
    expect(stepFrom(plot, null, -1, seen)).toBe(20);
    expect(stepFrom(plot, 11, 1, seen)).toBe(20);
    expect(stepFrom(plot, 20, 1, seen)).toBe(20);
    expect(stepFrom(plotOf([]), 20, 1, seen)).toBeNull();
  });
});

describe('words in a plot', () => {
  it('do not lie on each other: another row, the other side, or none', () => {
    const items = [
      { x: 10, width: 50 },
      { x: 30, width: 50 },
      { x: 95, width: 30 },
      { x: 40, width: 50 },
    ];
    expect(placeInRows(items, 2, 0, 100)).toEqual([
      { row: 0, align: 'left' },
      { row: 1, align: 'left' },
      { row: 0, align: 'right' },
      null,
    ]);
  });

  it('stand as near to their lines as their height allows', () => {
    expect(spread([50, 52, 90], 12, 0, 100)).toEqual([50, 62, 90]);
    expect(spread([98, 99], 12, 0, 100)).toEqual([88, 100]);
    expect(spread([-5], 12, 12, 100)).toEqual([12]);
  });

  it('stand where the fewest lines run through them', () => {
    const box = (left: number) => ({ left, right: left + 20, top: 40, bottom: 52 });
    const flat = [0, 45, 50, 45];
    const steep = [50, 0, 60, 100];
    expect(clearest([box(30), box(45), box(75)], [flat, steep])).toBe(2);
    expect(clearest([box(20), box(75)], [steep])).toBe(0);
    expect(clearest([box(55), box(75)], [steep])).toBe(1);
  });

  it('tell who cannot see it what is in it', () => {
    const [plot] = losingAir().plots;
    const clock = clockOf(Date.UTC(2026, 2, 2, 13), 10_000, 'utc');
    const words = plotWords(plot!, clock, { pressure: 'kPa', temperature: '°C' });
    expect(words).toMatch(/^Cold-equivalent pressure against its limits, 13:35:00 to 14:30:00\. left outer/);
    expect(words).toContain('limits: target 110 psi; plan: raise at 99 psi');
    const read = readOut(plot!, 2800, clock, { pressure: 'kPa', temperature: '°C' });
    expect(read.values).toEqual([null, null, null, null]);
    expect(read.words).toBe(
      '13:46:40, left outer, cold-equivalent nothing, left inner nothing, right outer nothing, right inner nothing, nothing heard for 5 min',
    );
  });

  it('spans have lanes in one order, and are told by their instant', () => {
    const [plot] = losingAir().plots;
    expect(lanesOf(plot!)).toEqual(['open', 'unsure', 'muted']);
    expect(spansAt(plot!, 5200)).toEqual(['alert open', 'data too old to tell']);
    expect(spansAt(plot!, 2200)).toEqual([]);
  });
});

describe('the table behind a plot', () => {
  it('has a row for each second, and holes where a line has nothing', () => {
    const { rows, every } = valueRows(plotOf([lineOf([0, 1.2], [7, 8]), lineOf([1, 2], [9, 10])]));
    expect(every).toBe(1);
    expect(rows).toEqual([
      { s: 0, v: [7, null] },
      { s: 1, v: [8, 9] },
      { s: 2, v: [null, 10] },
    ]);
  });

  it('of many rows keeps the least and the greatest value', () => {
    const s = Array.from({ length: 3000 }, (_, i) => i);
    const v = s.map((at) => (at === 1234 ? 1 : at === 777 ? 99 : 50));
    const { rows, every } = valueRows(plotOf([lineOf(s, v)]));
    expect(every).toBe(8);
    expect(rows.length).toBeLessThan(400);
    expect(rows.map(({ v: [value] }) => value)).toEqual(expect.arrayContaining([1, 99]));
  });
});
