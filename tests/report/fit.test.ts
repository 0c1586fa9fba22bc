import { describe, expect, it } from 'vitest';
import type { AlertStory, Line, ReportData } from '../../report/data.js';
import { fitReport } from '../../report/fit.js';
import { thinLine } from '../../report/thin-line.js';
import fc from '../support/property.js';
import { madeUpReport } from './page/fixture.js';

const bytesOf = (part: unknown): number => Buffer.byteLength(JSON.stringify(part));

const lineOf = (values: number[], steps: number[], breaks: number[] = []): Line => {
  const s: number[] = [];
  for (const [i] of values.entries()) s.push((s.at(-1) ?? 0) + (i === 0 ? 0 : steps[i % steps.length]!));
  return { label: 'pressure', role: 'judged', axis: 0, s, v: values, gapS: 5, ...(breaks.length > 0 && { breaks }) };
};

/** Pairs of points that a page joins, by their instants. */
function joined({ s, gapS, breaks = [] }: Line): [from: number, to: number][] {
  return s.flatMap((at, i): [number, number][] =>
    i > 0 && at - s[i - 1]! <= gapS && !breaks.includes(i) ? [[s[i - 1]!, at]] : [],
  );
}

describe('a line with fewer points', () => {
  it('keeps its extremes, joins nothing that was not joined, and has about as many points as were asked for', () => {
    const values = fc.array(fc.integer({ min: 0, max: 900 }), { minLength: 2, maxLength: 400 });
    const steps = fc.array(fc.constantFrom(1, 1, 1, 1, 2, 4.9, 6, 30), { minLength: 1, maxLength: 40 });
    fc.assert(
      fc.property(values, steps, fc.integer({ min: 4, max: 60 }), fc.nat(400), (v, gaps, most, cut) => {
        const line = lineOf(v, gaps, cut > 0 && cut < v.length ? [cut] : []);
        const thin = thinLine(line, most);
        expect(Math.min(...thin.v)).toBe(Math.min(...v));
        expect(Math.max(...thin.v)).toBe(Math.max(...v));
        expect([thin.s[0], thin.s.at(-1)]).toEqual([line.s[0], line.s.at(-1)]);
        const holes = line.s.length - 1 - joined(line).length;
        expect(thin.s.length).toBeLessThanOrEqual(Math.max(most, 4) + 4 * (holes + 1));
        // Each step of the whole line lies within one of the thin line, unless it is a hole: then within none.
        const spans = joined(thin);
        for (let i = 1; i < line.s.length; i++) {
          const [from, to] = [line.s[i - 1]!, line.s[i]!];
          const isJoined = joined(line).some(([a, b]) => a === from && b === to);
          expect(spans.some(([a, b]) => a <= from && to <= b)).toBe(isJoined);
        }
      }),
    );
  });

  it('with a least and a greatest of each point keeps the least and the greatest of all', () => {
    const v = Array.from({ length: 300 }, (_, i) => 500 + (i % 7));
    const line = {
      ...lineOf(v, [1]),
      low: v.map((x, i) => x - (i === 123 ? 50 : 1)),
      high: v.map((x, i) => x + (i === 77 ? 60 : 1)),
    };
    const thin = thinLine(line, 20);
    expect([Math.min(...thin.low!), Math.max(...thin.high!)]).toEqual([Math.min(...line.low), Math.max(...line.high)]);
    expect([thin.low!.length, thin.high!.length]).toEqual([thin.s.length, thin.s.length]);
  });
});

describe('a report that is too large', () => {
  const wave = (n: number, seed: number): Line =>
    lineOf(
      Array.from({ length: n }, (_, i) => Math.round(500 + 200 * Math.sin((i * seed) / 97))),
      [1],
    );

  function large(alerts: number, points: number): ReportData {
    const data = madeUpReport();
    const [model] = data.alerts as [AlertStory];
    const [plot] = model.plots;
    const stories = Array.from({ length: alerts }, (_, n): AlertStory => {
      const worst = (['plan', 'next-stop', 'pull-over'] as const)[n % 3]!;
      return {
        ...model,
        id: `T-1042.replay.${n}`,
        fromS: n * 100,
        worst,
        plots: [{ ...plot!, lines: [wave(points, n + 1)] }],
      };
    });
    return { ...data, alerts: stories };
  }

  it('stays as it is where it fits', () => {
    const data = madeUpReport();
    expect(fitReport(data, bytesOf(data), bytesOf)).toBe(data);
  });

  it('has fewer points first, and says how many', () => {
    const data = large(20, 5_000);
    const most = Math.round(bytesOf(data) / 4);
    const fitted = fitReport(data, most, bytesOf);
    expect(bytesOf(fitted)).toBeLessThanOrEqual(most);
    expect(fitted.alerts).toHaveLength(20);
    for (const [n, { plots }] of fitted.alerts.entries()) {
      const [before, after] = [data.alerts[n]!.plots[0]!.lines[0]!, plots[0]!.lines[0]!];
      expect(after.s.length).toBeLessThan(before.s.length);
      expect([Math.min(...after.v), Math.max(...after.v)]).toEqual([Math.min(...before.v), Math.max(...before.v)]);
    }
    expect(fitted.notes.at(-1)).toMatch(/^The report would be too large for one file: .*about 250 points each/);
  });

  it('then leaves out plots of the least urgent alerts, then their stories; what counts most goes last', () => {
    const data = large(60, 5_000);
    const rank = ({ worst }: AlertStory): number => ['plan', 'next-stop', 'pull-over'].indexOf(worst);
    const seen = { bare: 0, gone: 0 };
    const smallest = bytesOf({ ...data, alerts: [] });
    for (const most of [1.6, 1.4, 1.2, 1, 0.9, 0.8].map((share) => Math.round(smallest * share))) {
      const fitted = fitReport(data, most, bytesOf);
      expect(bytesOf(fitted)).toBeLessThanOrEqual(most);
      const plotted = fitted.alerts.filter(({ plots }) => plots.length > 0);
      const bare = fitted.alerts.filter(({ plots }) => plots.length === 0);
      expect(Math.max(-1, ...bare.map(rank))).toBeLessThanOrEqual(Math.min(2, ...plotted.map(rank)));
      const kept = new Set(fitted.alerts.map(({ id }) => id));
      const gone = data.alerts.filter(({ id }) => !kept.has(id));
      expect(Math.max(-1, ...gone.map(rank))).toBeLessThanOrEqual(Math.min(2, ...fitted.alerts.map(rank)));
      expect(fitted.alertsLeftOut).toBe(gone.length);
      if (bare.length > 0) expect(fitted.notes.at(-1)).toContain('have no plots');
      seen.bare += bare.length;
      seen.gone += gone.length;
    }
    expect(seen.bare).toBeGreaterThan(0);
    expect(seen.gone).toBeGreaterThan(0);
  });

  it('then soft brake applications and long lists, until it fits', () => {
    const data = madeUpReport();
    const brakes = data.brakes!;
    const times = Math.ceil(20_000 / brakes.applications.s.length);
    const repeat = <T>(list: readonly T[]): T[] => Array.from({ length: times }, () => list).flat();
    const columns = Object.entries(brakes.applications).map(([name, column]) => [name, repeat(column as unknown[])]);
    const wheels = brakes.wheels.map((wheel) => ({
      ...wheel,
      strokeMm: repeat(wheel.strokeMm),
      code: repeat(wheel.code),
    }));
    const gaps = Array.from({ length: 5_000 }, (_, i) => ({ fromS: i, toS: i + 1, what: 'nothing was heard' }));
    const applications = Object.fromEntries(columns) as typeof brakes.applications;
    const huge: ReportData = { ...data, alerts: [], gaps, brakes: { ...brakes, applications, wheels } };
    const fitted = fitReport(huge, 150_000, bytesOf);
    expect(bytesOf(fitted)).toBeLessThanOrEqual(150_000);
    const { s, peakKpa } = fitted.brakes!.applications;
    expect(fitted.brakes!.leftOut).toBe(brakes.leftOut + applications.s.length - s.length);
    expect(Math.max(...peakKpa.map(Number))).toBe(Math.max(...applications.peakKpa.map(Number)));
    for (const { strokeMm, code } of fitted.brakes!.wheels)
      expect([strokeMm.length, code.length]).toEqual([s.length, s.length]);
    expect(fitted.gaps).toHaveLength(500);
  });
});
