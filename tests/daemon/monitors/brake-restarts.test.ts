import { describe, expect, it } from 'vitest';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { ALL_OK, apply, driving, LEFT, LEFT2, RIGHT, StrokeDrive, strokeTruck } from './brake-bench.js';
import type { Drive } from './drive.js';

const MINUTE = 60_000;
const NIGHT = 10 * 3_600_000;
/** How long nobody listened; null: no clock can tell. */
const DOWN = [0, MINUTE, NIGHT, null] as const;

function restarted<T extends Drive>(d: T, downMs: number | null): T {
  d.restart(downMs);
  d.run(3);
  return d;
}

/** Parked with the key off, asleep, and on the road again. */
function slept<T extends Drive>(d: T): T {
  d.world.kmh = 0;
  d.run(2);
  d.rest(NIGHT / 1000);
  d.world.kmh = 80;
  d.run(3);
  return d;
}

/** The foot on the brake with these codes for so many seconds; nothing is released. */
function hold(d: Drive, codes: Record<number, number>, seconds: number): Drive {
  Object.assign(d.world, { brakeKpa: 300, strokes: { ...ALL_OK, ...codes } });
  return d.run(seconds);
}

function release(d: Drive): Drive {
  Object.assign(d.world, { brakeKpa: 0, strokes: { ...ALL_OK } });
  return d.run(8);
}

describe('a restart in the middle of an application', () => {
  it.each(DOWN)('down for %s ms: what was seen before it is no result, the rest of it is one', (downMs) => {
    const before = hold(driving(), { [LEFT2]: 2 }, 3);
    before.restart(downMs);
    hold(before, {}, 3);
    expect(release(before).of('brake-overstroke')).toEqual([]);
    const through = hold(driving(), { [LEFT2]: 2 }, 3);
    through.restart(downMs);
    hold(through, { [LEFT2]: 2 }, 3);
    // One application, one result: not two of three.
    expect(release(through).of('brake-overstroke')).toEqual(['raised plan']);
    expect(through.recordsOf('brake-application')).toHaveLength(1);
  });

  it('a stroke that was measured before it is no result of the rest', () => {
    const d = new StrokeDrive().go(2);
    d.world.brakeKpa = 600;
    d.strokes = [60];
    d.go(2);
    d.restart(1000);
    d.strokes = [40];
    d.go(2);
    d.world.brakeKpa = 0;
    d.strokes = [5];
    expect(d.go(6).of('brake-overstroke')).toEqual([]);
  });
});

describe('the key turned with the foot on the brake', () => {
  it('ends the application where something was told last, and it counts', () => {
    const d = hold(driving(), { [LEFT2]: 2 }, 2);
    d.world.kmh = 0;
    hold(d, { [LEFT2]: 2 }, 3);
    d.rest(30);
    expect(d.of('brake-overstroke')).toEqual(['raised plan']);
    const [record] = d.recordsOf('brake-application');
    // The last frame came a second before the end of the fifth second.
    expect(record).toMatchObject({ startAt: 5000, endAt: 9000, values: { durationS: 4, qualifying: true } });
  });

  it('silence makes no short application a long one: its single frame counts', () => {
    const d = driving();
    d.world.kmh = 0;
    d.run(3);
    hold(d, { [LEFT2]: 2 }, 1);
    hold(d, {}, 2);
    d.rest(30);
    expect(d.of('brake-overstroke')).toEqual(['raised plan']);
  });

  it('asleep and awake again with the foot still on it: two applications', () => {
    const d = driving();
    d.world.kmh = 0;
    d.run(3);
    hold(d, { [LEFT2]: 2 }, 3);
    d.rest(3600);
    hold(d, { [LEFT2]: 2 }, 3);
    expect(release(d).of('brake-overstroke')).toEqual(['raised plan', 'worse next-stop']);
    expect(d.recordsOf('brake-application')).toHaveLength(2);
  });
});

describe('what is counted goes on over restarts and sleep', () => {
  const breaks: [name: string, between: <T extends Drive>(d: T) => T][] = [
    ...DOWN.map((ms): [string, <T extends Drive>(d: T) => T] => [`down for ${ms} ms`, (d) => restarted(d, ms)]),
    ['asleep', slept],
  ];

  it.each(breaks)('%s: over-stroke 2 of 3, not applying 2 of 3', (_, between) => {
    const d = between(apply(driving(), { [LEFT2]: 2 }));
    expect(between(apply(d, {})).of('brake-overstroke')).toEqual(['raised plan']);
    expect(apply(d, { [LEFT2]: 2 }).of('brake-overstroke')).toEqual(['raised plan', 'worse next-stop']);
    const dead = between(apply(driving(), { [LEFT2]: 1 }));
    expect(dead.of('brake-not-applying')).toEqual([]);
    expect(apply(dead, { [LEFT2]: 1 }).of('brake-not-applying')).toEqual(['raised next-stop']);
  });

  it.each(breaks)('%s: measured, over the limit 2 of 3, still 3 of 3, uneven 3 of 5', (_, between) => {
    const over = between(new StrokeDrive().go(2).press(52)).go(2);
    expect(over.press(52).of('brake-overstroke')).toEqual(['raised next-stop']);
    const still = between(new StrokeDrive().go(3).press(8, 300).press(8, 300)).go(3);
    expect(still.of('brake-not-applying')).toEqual([]);
    expect(still.press(8, 300).of('brake-not-applying')).toEqual(['raised next-stop']);
    const both = new StrokeDrive(strokeTruck(undefined, [LEFT, RIGHT]), [5, 5]).go(3);
    between(both.press([40, 20], 300).press([40, 20], 300)).go(3);
    expect(both.of('brake-stroke-uneven')).toEqual([]);
    expect(both.press([40, 20], 300).of('brake-stroke-uneven')).toEqual(['raised plan']);
  });

  it.each(breaks)('%s: the learned rest', (_, between) => {
    const d = new StrokeDrive().go(4);
    for (let i = 0; i < 3; i++) d.press(38, 300, 6);
    between(d);
    d.restMm = [20];
    d.strokes = [20];
    // Two seconds until it counts as rest, ten of dragging, and one until the next tick.
    expect(d.go(14).of('brake-dragging')).toEqual(['raised next-stop']);
  });
});

describe('ten seconds of dragging', () => {
  const dragged = (seconds: number): Drive => {
    const d = driving();
    d.world.strokes = { ...ALL_OK, [LEFT2]: 3 };
    return d.run(seconds);
  };

  it('go on after a moment, and begin anew after ten age limits, where nobody can tell, and after sleep', () => {
    const moment = dragged(6);
    moment.restart(1000);
    expect(moment.run(4).of('brake-dragging')).toEqual([]);
    expect(moment.run(2).of('brake-dragging')).toEqual(['raised next-stop']);
    for (const downMs of [MINUTE, null]) {
      const d = dragged(6);
      d.restart(downMs);
      expect(d.run(10).of('brake-dragging')).toEqual([]);
      expect(d.run(2).of('brake-dragging')).toEqual(['raised next-stop']);
    }
    const asleep = dragged(6);
    asleep.world.kmh = 0;
    asleep.run(1).rest(600);
    asleep.world.kmh = 80;
    expect(asleep.run(10).of('brake-dragging')).toEqual([]);
    expect(asleep.run(2).of('brake-dragging')).toEqual(['raised next-stop']);
  });

  it('an application between them stops the count, and takes nothing away', () => {
    const d = dragged(6);
    d.world.brakeKpa = 100;
    d.run(5);
    expect(d.of('brake-dragging')).toEqual([]);
    d.world.brakeKpa = 0;
    expect(d.run(7).of('brake-dragging')).toEqual(['raised next-stop']);
  });
});

describe('over-stroke, n of the last m, against a second, naive count', () => {
  const seed = printedSeed('over-stroke over restarts');

  const one = fc.record({
    /** Frames of code 2 in four seconds of application. */
    frames: fc.constantFrom(0, 0, 1, 3),
    kpa: fc.constantFrom(136, 140, 300),
    after: fc.constantFrom('nothing', 'nothing', 'restart', 'sleep'),
  });

  /** Level after each application: from the whole list of qualifying ones. */
  function naive(list: readonly { frames: number; kpa: number }[]): string[] {
    const results: boolean[] = [];
    let [plan, next] = [false, false];
    return list.map(({ frames, kpa }) => {
      if (kpa >= 140) {
        // Four seconds are longer than three: a single frame does not count.
        results.push(frames >= 2);
        const last = results.slice(-3);
        const n = last.filter((x) => x).length;
        plan = n >= 1 || (plan && last.length === 3 && n === 0 ? false : plan);
        next = n >= 2 || (next && last.length === 3 && n === 0 ? false : next);
      }
      return next ? 'next-stop' : plan ? 'plan' : 'none';
    });
  }

  it('the same level after each', () => {
    const seen = new Set<string>();
    fc.assert(
      fc.property(fc.array(one, { minLength: 3, maxLength: 8 }), (list) => {
        const d = driving();
        const levels = list.map(({ frames, kpa, after }) => {
          d.world.brakeKpa = kpa;
          d.run(4, (s) => {
            d.world.strokes = { ...ALL_OK, [LEFT2]: s < frames ? 2 : 0 };
          });
          release(d);
          if (after === 'restart') restarted(d, MINUTE);
          if (after === 'sleep') slept(d);
          const last = d.list('brake-overstroke').at(-1);
          return last === undefined || last.change === 'cleared' ? 'none' : last.urgency;
        });
        expect(levels).toEqual(naive(list));
        for (const level of levels) seen.add(level);
      }),
      { seed, numRuns: 25 },
    );
    expect([...seen].sort()).toEqual(['next-stop', 'none', 'plan']);
  });
});
