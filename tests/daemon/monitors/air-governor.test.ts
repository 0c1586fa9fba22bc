import { describe, expect, it } from 'vitest';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { type Size, sized } from './air-truck.js';
import { type Drive, randomFrom } from './drive.js';
import { naiveCycles, type RunningSecond } from './naive-air.js';

const LOW = 'air-cut-in-low';
const HIGH = 'air-cut-out-high';

/** On the road, the compressor at rest. */
const road = (size: Size = 'two', rules = ''): Drive => {
  const d = sized(size, rules);
  Object.assign(d.world, { supply: 800, pumping: 0 });
  return d.run(10);
};

/** Pressure sinks to the cut-in within a minute, then the compressor brings it to the cut-out within forty seconds. */
function cycle(d: Drive, cutIn: number, cutOut: number, each: (d: Drive, s: number) => void = () => {}): Drive {
  const from = d.world.supply!;
  d.world.pumping = 0;
  d.run(60, (s) => {
    d.world.supply = from + ((cutIn - from) * Math.min(s, 57)) / 57;
    each(d, s);
  });
  d.run(41, (s) => {
    Object.assign(d.world, { supply: cutIn + ((cutOut - cutIn) * s) / 40, pumping: 1 });
    each(d, 60 + s);
  });
  d.world.pumping = 0;
  return d.run(5, (s) => each(d, 101 + s));
}

const times = (d: Drive, n: number, cutIn: number, cutOut: number): Drive => {
  for (let i = 0; i < n; i++) cycle(d, cutIn, cutOut);
  return d;
};

describe('air-cut-in-low: 49 CFR 571.121 S5.1.1.1, 100 psi (A-09), a bus 85 psi (A-10), less two steps of 8 kPa', () => {
  it.each<[Size, number, boolean]>([
    ['two', 664, true],
    ['two', 672, false],
    ['bus', 568, true],
    ['bus', 576, false],
  ])('%s, %d kPa: %s', (size, kpa, told) => {
    // The first one tells a cut-out only: nobody has seen one before it.
    const d = times(road(size), 4, kpa, 840);
    expect(d.of(LOW)).toEqual(told ? ['raised plan'] : []);
    if (!told) return;
    const [e] = d.list(LOW);
    expect(e).toMatchObject({ subject: 'air/supply', place: 'air supply' });
    expect(e!.measured).toMatchObject({ quantity: 'cut-in pressure', value: kpa, limit: size === 'bus' ? 570 : 672 });
    expect(e!.basis).toContain('571.121 S5.1.1.1');
  });

  it('three of five', () => {
    const d = times(road(), 3, 640, 840);
    expect(d.of(LOW)).toEqual([]);
    times(d, 2, 704, 840);
    expect(d.of(LOW)).toEqual([]);
    times(d, 1, 640, 840);
    expect(d.of(LOW)).toEqual(['raised plan']);
    const e = times(road(), 3, 640, 840);
    times(e, 4, 704, 840);
    times(e, 1, 640, 840);
    expect(e.of(LOW)).toEqual([]);
  });

  it('three good ones in a row (680 kPa) end it, 672 does not', () => {
    const d = times(road(), 4, 640, 840);
    times(d, 4, 672, 840);
    times(d, 2, 680, 840);
    expect(d.of(LOW)).toEqual(['raised plan']);
    times(d, 1, 680, 840);
    expect(d.of(LOW)).toEqual(['raised plan', 'cleared plan']);
  });

  it.each<[string, (d: Drive, s: number) => void]>([
    [
      'an application five seconds before it',
      (d, s) => {
        d.world.pedal = s === 54 ? 30 : 0;
      },
    ],
    [
      'the parking brake',
      (d, s) => {
        d.world.parked = s >= 56 ? 1 : 0;
      },
    ],
    [
      'a start of the engine',
      (d, s) => {
        d.world.rpm = s >= 30 && s < 50 ? 0 : 1200;
      },
    ],
  ])('no cut-in of the governor: %s', (_, each) => {
    const d = road();
    for (let i = 0; i < 6; i++) cycle(d, 600, 840, each);
    expect(d.of(LOW)).toEqual([]);
    expect(d.recordsOf('air-cycle').every(({ values }) => values.cutInKpa === null)).toBe(true);
  });

  it('an application long before it is none of its business', () => {
    const d = road();
    for (let i = 0; i < 4; i++) {
      cycle(d, 600, 840, (x, s) => {
        x.world.pedal = s === 40 ? 30 : 0;
      });
    }
    expect(d.of(LOW)).toEqual(['raised plan']);
  });
});

describe('air-cut-out-high: driver manuals, 140 psi (D-01, 965 kPa), safety valve at 150 psi (D-03, 1034 kPa)', () => {
  it.each([
    [3, 960, []],
    [2, 968, []],
    [3, 968, ['raised plan']],
    [3, 1032, ['raised plan']],
    [1, 1040, []],
    [2, 1040, ['raised next-stop']],
  ])('%d cycles to %d kPa: %j', (n, kpa, told) => {
    const d = times(road(), n, 720, kpa);
    expect(d.of(HIGH)).toEqual(told);
    if (told.length === 0) return;
    const limit = told[0] === 'raised plan' ? 965 : 1034;
    expect(d.list(HIGH)[0]!.measured).toMatchObject({ quantity: 'cut-out pressure', value: kpa, limit, unit: 'kPa' });
  });

  it('ends when as many in a row are good', () => {
    const d = times(road(), 3, 720, 976);
    times(d, 2, 720, 944);
    expect(d.of(HIGH)).toEqual(['raised plan']);
    times(d, 1, 720, 944);
    expect(d.of(HIGH)).toEqual(['raised plan', 'cleared plan']);
  });

  it('one cut-out that is reached slowly is one: 1040 kPa after minutes above 965', () => {
    const d = road();
    d.world.pumping = 1;
    d.run(600, (s) => {
      d.world.supply = Math.min(1040, 800 + 0.4 * s);
    });
    d.world.pumping = 0;
    d.run(60);
    expect(d.of(HIGH)).toEqual([]);
    times(d, 1, 720, 1040);
    expect(d.of(HIGH)).toEqual(['raised next-stop']);
  });

  it.each([
    [36, []],
    [44, ['raised next-stop']],
  ])('a compressor that begins again after %d kPa of fall: %j', (fall, told) => {
    const d = times(road(), 1, 720, 1040);
    for (let i = 0; i < 4; i++) times(d, 1, 1040 - fall, 1040);
    expect(d.of(HIGH)).toEqual(told);
  });

  it('a compressor that stops after it was seen to go on without end is no further cut-out', () => {
    const d = road();
    Object.assign(d.world, { supply: 1040, pumping: 1 });
    d.run(135);
    d.world.pumping = 0;
    d.run(60);
    expect(d.of(HIGH)).toEqual([]);
  });

  it('a compressor that never stops has no peak: each two minutes above count as one', () => {
    const d = road();
    Object.assign(d.world, { supply: 1040, pumping: 1 });
    d.run(235);
    expect(d.of(HIGH)).toEqual([]);
    d.run(15);
    expect(d.of(HIGH)).toEqual(['raised next-stop']);
  });
});

describe('without SPN 1351', () => {
  /** Service circuits of B1 alone; pumping is told by what rises by 8 kPa in 5 s. */
  const silent = (n: number, cutIn: number, cutOut: number, each: (d: Drive, s: number) => void = () => {}): Drive => {
    const d = sized('two').run(10);
    for (let i = 0; i < n; i++) {
      d.run(100, (s) => {
        const from = i === 0 ? 800 : cutOut;
        const kpa = from + ((cutIn - from) * Math.min(s, 97)) / 97;
        Object.assign(d.world, { primary: kpa, secondary: kpa - 8 });
        each(d, s);
      });
      d.run(41, (s) => {
        const kpa = cutIn + ((cutOut - cutIn) * s) / 40;
        Object.assign(d.world, { primary: kpa, secondary: kpa - 8 });
      });
    }
    return d.run(40);
  };

  it('the higher service circuit tells cut-in and cut-out', () => {
    const d = silent(4, 640, 980);
    expect(d.of(LOW)).toEqual(['raised plan']);
    expect(d.of(HIGH)).toEqual(['raised plan']);
    expect(
      d
        .recordsOf('air-cycle')
        .slice(1)
        .map(({ values }) => values.cutInKpa),
    ).toEqual([640, 640, 640]);
  });

  it('a healthy governor is not told', () => {
    const d = silent(6, 696, 860);
    expect([...d.of(LOW), ...d.of(HIGH)]).toEqual([]);
  });

  it('pressure that rises too slowly to be pumping, and then faster, is no cut-in', () => {
    const d = sized('two').run(10);
    for (let i = 0; i < 6; i++) {
      Object.assign(d.world, { primary: 600, secondary: 600, pedal: 30 });
      d.run(3);
      d.world.pedal = 0;
      // At idle 0.8 kPa/s, then 4 kPa/s.
      d.run(60, (s) => Object.assign(d.world, { primary: 600 + 0.8 * s, secondary: 600 + 0.8 * s }));
      d.run(50, (s) => Object.assign(d.world, { primary: 648 + 4 * s, secondary: 648 + 4 * s }));
      d.run(40);
    }
    expect(d.of(LOW)).toEqual([]);
  });
});

it('what was learned before a restart counts after it', () => {
  const d = times(road(), 3, 640, 1000);
  d.restart(null);
  times(d.run(50), 2, 640, 1000);
  expect(d.of(LOW)).toEqual(['raised plan']);
  expect(d.of(HIGH)).toEqual(['raised plan']);
});

it('a marked supply sensor ends all of it, until it says something else for ten minutes', () => {
  const d = times(road(), 3, 640, 1000).mark('air/supply');
  times(d, 3, 640, 1000);
  expect([...d.of(LOW), ...d.of(HIGH)]).toEqual(['raised plan', 'closed plan']);
  const e = road().mark('air/supply');
  e.world.supply = 304;
  e.run(660);
  expect(e.open!.notJudged.map(({ subject }) => subject)).toEqual(['air/supply']);
  e.world.supply = 800;
  e.run(660);
  expect(e.open!.notJudged).toEqual([]);
});

it('each cycle is a record, with what it took', () => {
  const d = times(road(), 2, 720, 840);
  const [first, second] = d.recordsOf('air-cycle');
  expect(first!.values).toMatchObject({ cutInKpa: null, cutOutKpa: 840, pumpingS: 40 });
  expect(second).toMatchObject({ subject: 'air/supply', values: { cutInKpa: 720, cutOutKpa: 840, pumpingS: 40 } });
});

it('a second, naive implementation finds the same cycles in random pumping and braking', () => {
  const seed = printedSeed('governor cycles');
  fc.assert(
    fc.property(fc.integer({ min: 1, max: 2 ** 31 }), (noise) => {
      const random = randomFrom(noise);
      const d = sized('two');
      const log: RunningSecond[] = [];
      let [supply, pumping, pedal] = [800, 0, 0];
      const [cutIn, cutOut] = [640 + 60 * random(), 820 + 100 * random()];
      d.run(2_400, () => {
        supply += pumping === 1 ? 3 : -0.8;
        if (pedal > 0) supply -= 2;
        if (supply <= cutIn || (pumping === 0 && random() < 0.003)) pumping = 1;
        if (supply >= cutOut || (pumping === 1 && random() < 0.01)) pumping = 0;
        pedal = random() < (pedal > 0 ? 0.6 : 0.02) ? 30 : 0;
        Object.assign(d.world, { supply, pumping, pedal });
        log.push({ supply, pumping, pedal });
      });
      const told = d
        .recordsOf('air-cycle')
        .map(({ startAt, values: v }) => [startAt / 1000, v.cutInKpa, v.cutOutKpa, v.pumpingS]);
      expect(told).toEqual(naiveCycles(log));
    }),
    { seed, numRuns: 10 },
  );
}, 60_000);
