import { describe, expect, it } from 'vitest';
import { Drive, gauge, SUBJECTS, TARGET_KPA, targetOf } from './drive.js';

const WHEEL = 'tractor/2/left/outer';

/** One tire at a share of its target for so long, then at another; in steps of 1 kPa. celsius null: no temperatures at all. */
function filled(share: number, seconds: number, then = share, after = 0, celsius: number | null = 18): Drive {
  const d = new Drive();
  const at = (of: number) => Math.round(celsius === null ? of * TARGET_KPA : gauge(of * TARGET_KPA, celsius));
  for (const s of SUBJECTS) Object.assign(d.wheel(s), { celsius, kpa: gauge(targetOf(s), celsius ?? 18) });
  Object.assign(d.wheel(WHEEL), { fine: true, kpa: at(share) });
  d.run(seconds);
  d.wheel(WHEEL).kpa = at(then);
  return d.run(after);
}

describe('tire-overinflated: 125 % for 10 min, cleared at 118 % for 10 min (common practice)', () => {
  it.each([
    ['125 % for 10 min', filled(1.25, 620), ['raised plan']],
    ['125 % for less', filled(1.25, 590), []],
    ['124.5 %', filled(1.245, 900), []],
    ['118 % for 10 min', filled(1.25, 620, 1.18, 630), ['raised plan', 'cleared plan']],
    ['118 % for less', filled(1.25, 620, 1.18, 590), ['raised plan']],
    ['119 %', filled(1.25, 620, 1.19, 900), ['raised plan']],
  ])('%s', (_, d, expected) => {
    expect(d.of('tire-overinflated')).toEqual(expected);
    expect(d.list('tire-overinflated').every((e) => e.subject === WHEEL)).toBe(true);
  });

  it('says by how much, and never to let air out of a hot tire (T-43)', () => {
    const [e] = filled(1.3, 620).list('tire-overinflated');
    expect(e).toMatchObject({ kind: 'equipment', urgency: 'plan' });
    expect(e!.measured).toMatchObject({ quantity: 'cold pressure', unit: 'kPa', quality: 'good' });
    const m = e!.measured as { value: number; limit: number };
    expect(m.value).toBeCloseTo(1.3 * TARGET_KPA, -0.5);
    expect(m.limit).toBeCloseTo(1.25 * TARGET_KPA, 6);
    expect(e!.advice).toContain('Never let air out of a hot tire');
  });
});

describe('what a warm tire shows is no overinflation (T-42: 10 to 20 % over cold on the highway)', () => {
  it('a right one at 60 °C, at 116 % by the gauge', () => {
    const d = filled(1, 900, 1, 0, 60);
    expect(d.wheel(WHEEL).kpa / TARGET_KPA).toBeGreaterThan(1.15);
    expect(d.of('tire-overinflated')).toEqual([]);
  });

  it('without a temperature nobody can tell: 130 % may be heat', () => {
    expect(filled(1.3, 900, 1.3, 0, null).of('tire-overinflated')).toEqual([]);
  });

  it('where the shop filled all tires 6 % high, one at 128 % stands 21 % over the others', () => {
    const d = new Drive();
    for (const s of SUBJECTS) d.wheel(s).kpa = 1.06 * targetOf(s);
    d.wheel(WHEEL).kpa = 1.28 * TARGET_KPA;
    d.run(700);
    expect(d.of('tire-overinflated')).toEqual([]);
    d.wheel(WHEEL).kpa = 1.34 * TARGET_KPA;
    d.run(700);
    expect(d.of('tire-overinflated')).toEqual(['raised plan']);
  });

  it('silence clears nothing', () => {
    const d = filled(1.25, 620);
    d.wheel(WHEEL).speaks = false;
    d.run(900);
    expect(d.of('tire-overinflated')).toEqual(['raised plan', 'unsure plan']);
  });
});
