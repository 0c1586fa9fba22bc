import { describe, expect, it } from 'vitest';
import { pointsOf, seriesOf, valueBefore } from '../../../report/story/series.js';
import { truckOf } from '../../support/truck-file.js';
import { byMinute, run, sample, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';

describe('a series', () => {
  it('is told one by one where it was kept so, even if minutes are there too', () => {
    const gathered = run(10);
    sample(gathered, TIRE, 'pressure', 10, () => 690);
    byMinute(gathered, TIRE, 'pressure', () => [600, 700, 650]);
    const points = seriesOf(gathered, TIRE, 'pressure')!;
    expect(points.atMs).toHaveLength(61);
    expect(points.low).toBeUndefined();
  });

  it('is told by the minute where only that was kept: the last of each in its middle, with least and greatest', () => {
    const gathered = run(3);
    byMinute(gathered, TIRE, 'pressure', (minute) => [600 + minute, 700 + minute, 650 + minute]);
    expect(seriesOf(gathered, TIRE, 'pressure')).toEqual({
      atMs: [30_000, 90_000, 150_000].map((ms) => ZERO_MS + ms),
      value: [650, 651, 652],
      low: [600, 601, 602],
      high: [700, 701, 702],
      gapMs: 90_000,
    });
  });

  it('has a gap where three readings in a row are missing, and never below five seconds', () => {
    const gathered = run(10);
    sample(gathered, TIRE, 'pressure', 10, () => 690);
    sample(gathered, 'tractor', 'speed', 1, () => 80);
    expect(seriesOf(gathered, TIRE, 'pressure')!.gapMs).toBe(30_500);
    expect(seriesOf(gathered, 'tractor', 'speed')!.gapMs).toBe(5_000);
  });

  it('has a gap in each minute without a row', () => {
    const gathered = run(10);
    byMinute(gathered, TIRE, 'pressure', (minute) => (minute === 4 ? null : [1, 1, 1]));
    const { atMs, gapMs } = seriesOf(gathered, TIRE, 'pressure')!;
    expect(atMs.filter((at, i) => i > 0 && at - atMs[i - 1]! > gapMs)).toHaveLength(1);
  });

  it('joins what was left out on the way as far as that says', () => {
    const gathered = run(10);
    sample(gathered, TIRE, 'pressure', 10, () => 690);
    gathered.samples.get(`${TIRE} pressure`)!.joinMs = 44_000;
    expect(seriesOf(gathered, TIRE, 'pressure')!.gapMs).toBe(44_000);
  });

  it('says nothing of what was not heard', () => {
    const gathered = run(10);
    expect(seriesOf(gathered, TIRE, 'pressure')).toBeNull();
    sample(gathered, TIRE, 'pressure', 10, (s) => (s < 60 ? 690 : null));
    expect(pointsOf(gathered, TIRE, 'pressure', ZERO_MS + 120_000, ZERO_MS + 240_000)).toBeNull();
  });

  it('tells the last value, but not over a gap', () => {
    const gathered = run(10);
    sample(gathered, TIRE, 'pressure', 10, (s) => (s < 60 ? s : null));
    const points = seriesOf(gathered, TIRE, 'pressure')!;
    expect(valueBefore(points, ZERO_MS + 55_000)).toBe(50);
    expect(valueBefore(points, ZERO_MS + 80_500)).toBe(50);
    expect(valueBefore(points, ZERO_MS + 80_501)).toBeNaN();
  });
});

/*
 * 690 kPa gauge at 18 °C is its own cold-equivalent. At 65 °C the same air has (690 + 101.325) · 338.15 / 291.15 − 101.325 =
 * 817.7 kPa: gas law at constant volume, by hand.
 */
describe('cold-equivalent pressure that was not kept', () => {
  it('is worked out of the temperature that belongs to each pressure', () => {
    const gathered = run(10, truckOf());
    sample(gathered, TIRE, 'pressure', 10, (s) => (s < 300 ? 690 : 817.7));
    sample(gathered, TIRE, 'temperature', 10, (s) => (s < 300 ? 18 : 65));
    const { value } = seriesOf(gathered, TIRE, 'cold pressure')!;
    expect(value).toHaveLength(61);
    for (const kpa of value) expect(kpa).toBeCloseTo(690, 0);
  });

  it('is not worked out of a temperature that is two minutes old', () => {
    const gathered = run(10, truckOf());
    sample(gathered, TIRE, 'pressure', 10, () => 690);
    sample(gathered, TIRE, 'temperature', 10, (s) => (s <= 100 ? 18 : null));
    expect(seriesOf(gathered, TIRE, 'cold pressure')!.atMs.at(-1)).toBe(ZERO_MS + 220_000);
  });

  it('has its least where the pressure was least and the tire hottest', () => {
    const gathered = run(1, truckOf());
    byMinute(gathered, TIRE, 'pressure', () => [690, 817.7, 700]);
    byMinute(gathered, TIRE, 'temperature', () => [18, 65, 20]);
    const { low, high } = seriesOf(gathered, TIRE, 'cold pressure')!;
    // (690 + 101.325) · 291.15 / 338.15 − 101.325, and (817.7 + 101.325) − 101.325
    expect(low![0]).toBeCloseTo(580, 0);
    expect(high![0]).toBeCloseTo(817.7, 1);
  });

  it('of a sender that tells absolute pressure less a constant is worked out with that constant, wherever the depot lies', () => {
    const high = { ...truckOf(), depotAirKpa: 83.5 };
    const cold = (config: typeof high): number => {
      const gathered = run(1, config);
      byMinute(gathered, TIRE, 'pressure', () => [784, 784, 784]);
      byMinute(gathered, TIRE, 'temperature', () => [37, 37, 37]);
      return seriesOf(gathered, TIRE, 'cold pressure')!.value[0]!;
    };
    // (784 + 101.325) · 291.15 / 310.15 − 83.5; and of a gauge sender (784 + 83.5) · 291.15 / 310.15 − 83.5
    expect(cold({ ...high, fixedGaugeSources: [{ bus: 'main', source: 51 }] })).toBeCloseTo(747.6, 0);
    expect(cold(high)).toBeCloseTo(730.9, 0);
  });

  it('is not known of a sensor without a temperature', () => {
    const gathered = run(10, truckOf());
    sample(gathered, TIRE, 'pressure', 10, () => 690);
    expect(seriesOf(gathered, TIRE, 'cold pressure')).toBeNull();
  });
});
