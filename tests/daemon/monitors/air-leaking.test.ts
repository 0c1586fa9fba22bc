import { describe, expect, it } from 'vitest';
import { assess } from '../../../daemon/monitors/air-piece.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { leak, refill, type Size, sized, standing } from './air-truck.js';
import { type Drive, PSI, randomFrom } from './drive.js';
import { naiveLeakTests, type StandingSecond } from './naive-air.js';

const RULE = 'air-leaking';
/** Settling, two pieces of five minutes, and the seconds in which the last point is seen. s */
const TWO_PIECES_S = 90 + 2 * 300 + 3;
const THREE_PIECES_S = TWO_PIECES_S + 300;

/** Held with 640 kPa (93 psi). */
const HELD = { pedal: 60, brakeKpa: 640 };

describe('driver manuals: psi per minute, brakes released (D-06) and applied (D-07); 0.2 psi on both sides, the sensor has steps', () => {
  it.each<[Size, 'released' | 'applied', number, string[]]>([
    ['one', 'released', 1.8, []],
    ['one', 'released', 2.2, ['raised plan']],
    ['two', 'released', 2.8, []],
    ['two', 'released', 3.2, ['raised plan']],
    ['three', 'released', 4.8, []],
    ['three', 'released', 5.2, ['raised plan']],
    ['one', 'applied', 2.8, []],
    ['one', 'applied', 3.2, ['raised plan']],
    ['two', 'applied', 3.8, []],
    ['two', 'applied', 4.2, ['raised plan']],
    ['three', 'applied', 5.8, []],
    ['three', 'applied', 6.2, ['raised plan']],
    // Twice the figure, common practice.
    ['one', 'released', 3.8, ['raised plan']],
    ['one', 'released', 4.2, ['raised next-stop']],
    ['two', 'applied', 7.8, ['raised plan']],
    ['two', 'applied', 8.2, ['raised next-stop']],
  ])('%s, %s, %d psi/min: %j', (size, brakes, psi, told) => {
    for (const circuit of ['primary', 'secondary'] as const) {
      const d = standing(size, brakes === 'applied' ? HELD : {});
      leak(d, TWO_PIECES_S, circuit === 'primary' ? psi * PSI : 0, circuit === 'secondary' ? psi * PSI : 0);
      expect(d.of(RULE)).toEqual(told);
      if (told.length === 0) continue;
      const [e] = d.list(RULE);
      expect(e).toMatchObject({ subject: 'air/supply', place: 'air supply', kind: 'equipment' });
      const measured = e!.measured as { quantity: string; value: number; low: number; high: number; limit: number };
      expect(measured.quantity).toBe(`leak rate, ${circuit} circuit, brakes ${brakes}`);
      expect(Math.abs(measured.value / PSI - psi)).toBeLessThan(0.15);
      expect(measured.low).toBeLessThanOrEqual(measured.value);
      expect(measured.high).toBeGreaterThanOrEqual(measured.value);
      expect(e!.basis).toMatch(told[0] === 'raised plan' ? /driver manuals/ : /common practice/);
      expect(e!.evidence!.points.length).toBeLessThanOrEqual(12);
    }
  });

  it('W-24, a truck alone: 120 psi to 118.1 in a minute holds, 117.9 does not; W-25: 10 psi in five minutes are 2 psi/min', () => {
    const fall = (psi: number, seconds: number): number[] =>
      Array.from({ length: seconds / 5 + 1 }, (_, i) => (120 - (psi * 5 * i) / seconds) * PSI);
    expect(assess(fall(1.9, 60), 4)).toMatchObject({ seconds: 60, isLeak: true });
    expect(assess(fall(1.9, 60), 4).kpaPerMin).toBeLessThan(13.8);
    expect(assess(fall(2.1, 60), 4).kpaPerMin).toBeGreaterThan(13.8);
    expect(assess(fall(10, 300), 4).kpaPerMin).toBeCloseTo(2 * PSI, 9);
    expect(assess(fall(15, 300), 4).kpaPerMin).toBeCloseTo(3 * PSI, 9);
  });
});

describe('a piece', () => {
  const even = (points: number, perPoint: number): number[] =>
    Array.from({ length: points }, (_, i) => 800 - perPoint * i);

  it('needs three steps of fall', () => {
    expect(assess(even(13, 1), 4).isLeak).toBe(true);
    expect(assess(even(13, 0.99), 4).isLeak).toBe(false);
    expect(assess(even(13, 2), 8).isLeak).toBe(true);
    expect(assess(even(13, 1.99), 8).isLeak).toBe(false);
  });

  it('needs three thirds that agree within a factor of two', () => {
    const thirds = (a: number, b: number, c: number): number[] => {
      const falls = [...Array(4).fill(a), ...Array(4).fill(b), ...Array(4).fill(c)] as number[];
      const points = [800];
      for (const fall of falls) points.push(points.at(-1)! - fall);
      return points;
    };
    expect(assess(thirds(4, 2, 2), 4)).toMatchObject({ isLeak: true, thirds: [48, 24, 24] });
    expect(assess(thirds(4.1, 2, 2), 4).isLeak).toBe(false);
    expect(assess(thirds(2, 4, 3), 4).isLeak).toBe(true);
    expect(assess(thirds(2, 4.1, 3), 4).isLeak).toBe(false);
    expect(assess(thirds(6, 6, 0), 4).isLeak).toBe(false);
    expect(assess(thirds(6, 6, -1), 4).isLeak).toBe(false);
  });

  it('lasts a minute after a minute and a half: two short ones are enough, shorter ones are none', () => {
    for (const [seconds, told] of [
      // The last tick of a piece is seen one second after its frame.
      [90 + 60 + 2, ['raised next-stop']],
      [90 + 60 - 2, []],
    ] as const) {
      const d = standing('two');
      for (let i = 0; i < 2; i++) {
        leak(d, seconds, 60);
        refill(d);
      }
      expect([seconds, d.of(RULE)]).toEqual([seconds, told]);
    }
  });

  it('one alone tells nothing, and a good one between is a new beginning', () => {
    const d = standing('two');
    for (const kpaPerMin of [60, 0, 60, 0]) {
      leak(d, 90 + 120, kpaPerMin);
      refill(d);
    }
    expect(d.of(RULE)).toEqual([]);
  });

  it('two good ones end it', () => {
    const d = standing('two');
    for (let i = 0; i < 2; i++) refill(leak(d, 90 + 120, 30));
    refill(leak(d, 90 + 120, 0));
    expect(d.of(RULE)).toEqual(['raised plan']);
    refill(leak(d, 90 + 120, 0));
    expect(d.of(RULE)).toEqual(['raised plan', 'cleared plan']);
  });

  it('with the brakes released says nothing about a leak with the brakes applied', () => {
    const d = standing('two', HELD);
    leak(d, TWO_PIECES_S, 40);
    Object.assign(d.world, { pedal: 0, brakeKpa: 0, primary: 860 });
    leak(d, TWO_PIECES_S, 0);
    expect(d.of(RULE)).toEqual(['raised plan']);
  });

  it('of a bus: three in a row', () => {
    expect(leak(standing('bus'), TWO_PIECES_S, 20).of(RULE)).toEqual([]);
    expect(leak(standing('bus'), THREE_PIECES_S, 20).of(RULE)).toEqual(['raised plan']);
  });

  it('is kept as a record, for each circuit', () => {
    const d = leak(standing('two'), TWO_PIECES_S, 30, 6);
    const tests = d.recordsOf('air-test');
    expect(tests.map(({ values: { circuit, state, seconds, units, limit } }) => [circuit, state, seconds, units, limit]))
      // biome-ignore format: a table
      .toEqual(
      Array.from({ length: 4 }, (_, i) => [i % 2 ? 'air/secondary' : 'air/primary', 'released', 300, 2, 20.7]),
    );
    const [first] = tests;
    expect(first!.endAt - first!.startAt).toBe(300_000);
    expect(Math.abs(first!.values.kpaPerMin - 30)).toBeLessThan(1);
    expect(first!.values.thirds).toHaveLength(3);
  });

  it('tells when the low-air limit will be reached, from when to when', () => {
    const d = leak(standing('two'), TWO_PIECES_S, 30);
    const { forecast, t } = d.list(RULE)[0]!;
    expect(forecast!.what).toBe('low air in the primary circuit with the compressor at rest');
    // 860 kPa less 30 a minute is 414 after 14.87 min.
    const inMs = (446 / 30) * 60_000 - t;
    expect(Math.abs(forecast!.inMs - inMs)).toBeLessThan(20_000);
    expect(forecast!.fromMs).toBeLessThanOrEqual(forecast!.inMs);
    expect(forecast!.toMs).toBeGreaterThanOrEqual(forecast!.inMs);
  });
});

describe('what makes a piece void', () => {
  /** Every two minutes something happens: no piece ever settles and lasts a minute. */
  const disturbed = (happens: (d: Drive, isOdd: boolean) => void, start: Partial<Drive['world']> = {}): Drive => {
    const d = standing('two', start);
    for (let i = 0; i < 6; i++) {
      leak(d, 120, 40);
      happens(d, i % 2 === 1);
      Object.assign(d.world, { primary: 860 });
    }
    return d;
  };

  it.each<[string, (d: Drive, isOdd: boolean) => void, Partial<Drive['world']>]>([
    ['an application', (d) => refill(d), {}],
    ['the parking brake', (d, isOdd) => Object.assign(d.world, { parked: isOdd ? 1 : 0 }), {}],
    [
      'suspension pressure',
      (d, isOdd) => Object.assign(d.world, { suspension: isOdd ? 560 : 500 }),
      { suspension: 560 },
    ],
    ['a harder application', (d, isOdd) => Object.assign(d.world, { brakeKpa: isOdd ? 640 : 700 }), HELD],
    ['silence', (d) => d.rest(15), {}],
    ['a restart', (d) => d.restart(2_000), {}],
  ])('%s', (_, happens, start) => {
    const d = disturbed(happens, start);
    expect([d.of(RULE), d.recordsOf('air-test')]).toEqual([[], []]);
  });

  it('nothing at all, for comparison: the same leak without anything that happens is found', () => {
    expect(disturbed(() => {}).of(RULE)).toEqual([]);
    expect(leak(standing('two'), TWO_PIECES_S, 40).of(RULE)).toEqual(['raised plan']);
  });

  it.each<[string, Partial<Drive['world']>]>([
    ['moving', { kmh: 20 }],
    ['nobody knows the speed', { kmh: null }],
    ['nobody knows of the parking brake', { parked: null }],
    ['the brakes half applied', { pedal: 20, brakeKpa: 300 }],
    ['nobody knows of the brakes', { pedal: null, brakeSwitch: null, brakeKpa: null }],
    ['the compressor pumps', { rpm: 700, pumping: 1 }],
    ['the engine runs and the parking brake is released', { rpm: 700, pumping: 0, parked: 0 }],
    ['the same with the brakes held: a truck that only stops', { rpm: 700, pumping: 0, parked: 0, ...HELD }],
  ])('no test: %s', (_, world) => {
    const d = leak(standing('two', world), TWO_PIECES_S, 40);
    expect([d.of(RULE), d.recordsOf('air-test')]).toEqual([[], []]);
  });

  it.each<[string, Partial<Drive['world']>]>([
    ['engine running, compressor at rest', { rpm: 700, pumping: 0 }],
    // Driver manuals 5.3 (D-06, D-07): chocked, parking brake released.
    ["the driver's test, engine off and parking brake released", { parked: 0 }],
    ['the same with the brakes held', { parked: 0, ...HELD }],
    ['nobody knows the engine speed, as with the key off', { rpm: null, pumping: 0 }],
  ])('a test: %s', (_, world) => {
    // Above the low-air limit to the end: that would explain the leak.
    expect(leak(standing('two', world), TWO_PIECES_S, 30).of(RULE)).toEqual(['raised plan']);
  });

  it('an application pressure and a suspension that sink with the leak are no change', () => {
    const d = standing('two', { ...HELD, suspension: 800 });
    d.world.brakeKpa = 860;
    d.run(90 + 300 + 3, (s) => {
      const kpa = 860 - (30 * s) / 60;
      Object.assign(d.world, { primary: kpa, secondary: kpa, brakeKpa: kpa, suspension: 800 - (30 * s) / 60 });
    });
    expect(d.recordsOf('air-test').map(({ values }) => [values.state, values.seconds])).toEqual([
      ['applied', 300],
      ['applied', 300],
    ]);
  });
});

it('what was counted before a restart counts after it', () => {
  const d = standing('two');
  refill(leak(d, 90 + 120, 30));
  d.restart(60_000);
  refill(leak(d, 90 + 120, 30));
  expect(d.of(RULE)).toEqual(['raised plan']);
});

it('a marked circuit is not judged, the other one is', () => {
  const d = standing('two').mark('air/primary');
  expect(leak(d, TWO_PIECES_S, 40).of(RULE)).toEqual([]);
  const e = standing('two').mark('air/primary');
  expect(leak(e, TWO_PIECES_S, 0, 40).of(RULE)).toEqual(['raised plan']);
});

describe('a second, naive implementation', () => {
  it('finds the same tests in random falls, applications, parking brakes and suspension', () => {
    const seed = printedSeed('leak tests');
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 2 ** 31 }), (noise) => {
        const random = randomFrom(noise);
        const d = sized('two');
        const seconds = 1_800;
        const [falls, rates] = [random() * 40, random() * 40];
        let [primary, secondary, pedal, parked, suspension] = [900, 900, 0, 1, 560];
        Object.assign(d.world, { rpm: 0, kmh: 0, pumping: 0 });
        const log: StandingSecond[] = [];
        d.run(seconds, () => {
          primary -= falls / 60;
          secondary -= (rates / 60) * (random() < 0.5 ? 2 : 0);
          if (random() < 0.003) pedal = pedal === 0 ? 30 : 0;
          else if (pedal > 0 && random() < 0.3) pedal = 0;
          if (random() < 0.002) parked = 1 - parked;
          if (random() < 0.002) suspension = suspension === 560 ? 400 : 560;
          Object.assign(d.world, { primary, secondary, pedal, parked, suspension, brakeKpa: pedal > 0 ? 200 : 0 });
          log.push({ primary, secondary, pedal, parked, suspension });
        });
        const told = d
          .recordsOf('air-test')
          .map(({ endAt, values: v }) => [endAt / 1000, v.circuit, v.seconds, v.fallKpa, v.kpaPerMin]);
        expect(told).toEqual(naiveLeakTests(log));
      }),
      { seed, numRuns: 12 },
    );
  }, 60_000);
});
