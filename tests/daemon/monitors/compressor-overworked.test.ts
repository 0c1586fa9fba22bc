import { describe, expect, it } from 'vitest';
import { type Size, sized } from './air-truck.js';
import type { Drive } from './drive.js';

const RULE = 'compressor-overworked';

/** So many minutes of driving; in each the compressor pumps for so many seconds. */
function minutes(d: Drive, n: number, pumpingS: number): Drive {
  return d.run(n * 60, (s) => {
    d.world.pumping = s % 60 < pumpingS ? 1 : 0;
  });
}

const road = (size: Size = 'two', rules = '', world = {}): Drive => {
  const d = sized(size, rules);
  Object.assign(d.world, { pumping: 0, ...world });
  return d;
};

describe('share of running time, common practice: 50 and 35 %', () => {
  it.each([
    [29, []],
    [30, ['raised plan']],
    [60, ['raised plan']],
  ])('%d s of each minute: %j', (pumpingS, told) => {
    const d = minutes(road(), 32, pumpingS);
    expect(d.of(RULE)).toEqual(told);
    if (told.length === 0) return;
    const [e] = d.list(RULE);
    expect(e).toMatchObject({ subject: 'air/supply', basis: 'common practice' });
    expect(e!.measured).toMatchObject({ quantity: 'pumping, of running time', limit: 0.5, unit: 'share' });
  });

  it('not before half an hour', () => {
    const d = minutes(road(), 29, 60);
    expect(d.of(RULE)).toEqual([]);
    minutes(d, 2, 60);
    expect(d.of(RULE)).toEqual(['raised plan']);
  });

  it('is over when it is 35 % of the last hour, not at 36', () => {
    const d = minutes(road(), 60, 30);
    minutes(d, 62, 22);
    expect(d.of(RULE)).toEqual(['raised plan']);
    minutes(d, 62, 21);
    expect(d.of(RULE)).toEqual(['raised plan', 'cleared plan']);
  });

  it('the hour is of running time: a night counts for nothing', () => {
    const d = minutes(road(), 20, 60);
    d.world.rpm = 0;
    d.run(7_200);
    d.world.rpm = 1200;
    minutes(d, 9, 60);
    expect(d.of(RULE)).toEqual([]);
    minutes(d, 3, 60);
    expect(d.of(RULE)).toEqual(['raised plan']);
  });

  it('goes on over a restart', () => {
    const d = minutes(road(), 20, 60);
    d.restart(null);
    minutes(d, 12, 60);
    expect(d.of(RULE)).toEqual(['raised plan']);
  });
});

describe('not judged', () => {
  it('a bus, unless its truck file gives a limit', () => {
    expect(minutes(road('bus'), 40, 60).of(RULE)).toEqual([]);
    const own = 'compressor-overworked: {constants: {busShare: 70 %}}';
    expect(minutes(road('bus', own), 40, 41).of(RULE)).toEqual([]);
    expect(minutes(road('bus', own), 40, 43).of(RULE)).toEqual(['raised plan']);
  });

  it('a truck of which nothing tells pumping, or the engine', () => {
    const unknown = { pumping: null, primary: null, secondary: null };
    const d = sized('two');
    Object.assign(d.world, unknown);
    expect(d.run(2_400).of(RULE)).toEqual([]);
    expect(minutes(road('two', '', { rpm: null }), 40, 60).of(RULE)).toEqual([]);
  });
});
