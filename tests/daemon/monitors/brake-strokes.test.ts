import { describe, expect, it } from 'vitest';
import { CHAMBERS, LEFT, RIGHT, StrokeDrive, strokeTruck } from './brake-bench.js';

/** With the larger of the two figures that the regulation prints: they differ by rounding, and what is legal by either is legal. */
const ROWS = CHAMBERS.map(([type, ratedIn, limitIn, printedMm, status]) => {
  const chamber = ratedIn === null ? `{type: ${type}}` : `{type: ${type}, ratedStroke: ${ratedIn} in}`;
  return [chamber, Math.round(Math.max(limitIn * 25.4, printedMm) * 1000) / 1000, status] as const;
});

describe('brake-overstroke by measured stroke', () => {
  it.each(ROWS)(
    '%s: B-05, legal at the limit of %d mm and 0.1 mm below it, not 0.1 mm above (%s)',
    (chamber, limit) => {
      const config = strokeTruck(chamber);
      for (const [mm, over] of [
        [limit - 0.1, false],
        [limit, false],
        [limit + 0.1, true],
      ] as const) {
        const d = new StrokeDrive(config).go(2).press(mm);
        expect(d.of('brake-overstroke')).toEqual([]);
        d.press(mm);
        expect(d.of('brake-overstroke')).toEqual(over ? ['raised next-stop'] : []);
        if (!over) continue;
        const measured = {
          quantity: 'pushrod stroke',
          value: expect.closeTo(mm, 3),
          limit,
          unit: 'mm',
          quality: 'good',
        };
        expect(d.list('brake-overstroke')[0]).toMatchObject({ subject: LEFT, measured });
      }
    },
  );

  it.each(ROWS)('%s: B-21, 6.35 mm beyond %d mm is pull-over at once, 0.1 mm less is not (%s)', (chamber, limit) => {
    const config = strokeTruck(chamber);
    for (const [mm, far] of [
      [limit + 6.25, false],
      [limit + 6.35, true],
      [limit + 6.45, true],
    ] as const) {
      const d = new StrokeDrive(config).go(2).press(mm);
      expect(d.of('brake-overstroke')).toEqual(far ? ['raised pull-over'] : []);
    }
  });

  it.each([
    // Far: 1/4 in beyond the limit is no clause of the regulation, but the limit itself is of it.
    ['{type: 30, ratedStroke: 2.5 in}', 51, /^49 CFR 393\.47\(e\); 49 CFR 396 App\. A 1\.a\(5\)$/],
    ['{type: 30, ratedStroke: 2.5 in}', 58, /^roadside practice: [^;]*; limit of this chamber: 49 CFR 393\.47\(e\)$/],
    ['{type: 9}', 36, /; limit of this chamber: 49 CFR 393\.47\(e\) \(figure from memory\)$/],
    ['{type: 27, ratedStroke: 64 mm}', 52, /: 49 CFR 396 App\. A 1\.a\(5\)\(b\): 80 % of rated stroke$/],
    ['{type: 27}', 46, /: common practice: unknown chamber, shorter standard limit$/],
  ] as const)('%s at %d mm: who says so', (chamber, mm, basis) => {
    const d = new StrokeDrive(strokeTruck(chamber)).go(2).press(mm).press(mm);
    const [event] = d.list('brake-overstroke');
    expect(event!.basis).toMatch(basis);
    expect(event!.basis.length).toBeLessThanOrEqual(200);
  });

  it('2 of 3 applications: one over, one legal, one over; and not one of three', () => {
    const d = new StrokeDrive().go(2).press(52).press(45);
    expect(d.of('brake-overstroke')).toEqual([]);
    d.press(52);
    expect(d.of('brake-overstroke')).toEqual(['raised next-stop']);
    expect(new StrokeDrive().go(2).press(52).press(45).press(45).press(52).of('brake-overstroke')).toEqual([]);
  });

  it('B-08: not with the parking brake on, when spring brakes push the rod as well', () => {
    for (const [parked, kmh, judged] of [
      [0, 0, true],
      [1, 0, false],
      [null, 80, true],
      [null, 0, false],
    ] as const) {
      const d = new StrokeDrive();
      Object.assign(d.world, { parked, kmh });
      d.go(2).press(53).press(53);
      expect(d.of('brake-overstroke')).toEqual(judged ? ['raised next-stop'] : []);
    }
  });

  it('a stroke is not judged when the next pressure is above the band: it may belong to that one', () => {
    const hard = (kpaAfter: number): StrokeDrive => {
      const d = new StrokeDrive().go(2);
      for (let i = 0; i < 2; i++) {
        d.world.brakeKpa = 600;
        d.strokes = [45];
        d.go(0.5);
        d.strokes = [52];
        d.go(0.5);
        d.world.brakeKpa = kpaAfter;
        d.go(1);
        d.world.brakeKpa = 0;
        d.strokes = [5];
        d.go(4);
      }
      return d;
    };
    expect(hard(720).of('brake-overstroke')).toEqual([]);
    expect(hard(680).of('brake-overstroke')).toEqual(['raised next-stop']);
  });
});

describe('brake-not-applying by measured stroke (B-13)', () => {
  it('3 of 3 with a change below 5 mm, not at 5 mm, not 2 of 3', () => {
    expect(new StrokeDrive().go(3).press(9.9, 300).press(9.9, 300).press(9.9, 300).of('brake-not-applying')).toEqual([
      'raised next-stop',
    ]);
    expect(new StrokeDrive().go(3).press(10, 300).press(10, 300).press(10, 300).of('brake-not-applying')).toEqual([]);
    const d = new StrokeDrive().go(3).press(9, 300).press(9, 300).press(30, 300).press(9, 300).press(9, 300);
    expect(d.of('brake-not-applying')).toEqual([]);
    expect(d.press(9, 300).of('brake-not-applying')).toEqual(['raised next-stop']);
  });

  it.each([
    [136, false],
    [140, true],
  ])('at %d kPa it is judged: %s', (kpa, judged) => {
    const d = new StrokeDrive().go(3);
    for (let i = 0; i < 3; i++) d.press(6, kpa);
    expect(d.of('brake-not-applying')).toEqual(judged ? ['raised next-stop'] : []);
  });

  it('not where pressure is told a second late, after the rod has moved', () => {
    const d = new StrokeDrive().go(3);
    for (let i = 0; i < 4; i++) {
      // The stroke comes with the foot; B1 tells of it 0.9 s later.
      d.strokes = [38];
      d.go(0.9);
      d.world.brakeKpa = 300;
      d.go(2.1);
      d.world.brakeKpa = 0;
      d.strokes = [5];
      d.go(5);
    }
    expect(d.of('brake-not-applying')).toEqual([]);
  });

  it('not with the parking brake on: the rod is out already', () => {
    const d = new StrokeDrive(strokeTruck(), [40]);
    Object.assign(d.world, { parked: 1, kmh: 0 });
    d.go(3);
    for (let i = 0; i < 4; i++) d.press(41, 300);
    expect(d.of('brake-not-applying')).toEqual([]);
  });
});

describe('brake-dragging by measured stroke (A-14)', () => {
  /** Rest is learned in three pauses; then it comes back to `mm` only. */
  function dragging(mm: number, change: (d: StrokeDrive) => void = () => {}): StrokeDrive {
    const d = new StrokeDrive().go(4);
    for (let i = 0; i < 3; i++) d.press(38, 300, 6);
    d.restMm = [mm];
    change(d);
    return d.press(38, 300, 0);
  }

  it('10 mm above its learned rest, 2 s after the release, for 10 s moving: next-stop; 9.9 mm: not', () => {
    expect(dragging(14.9).go(40).of('brake-dragging')).toEqual([]);
    const d = dragging(15);
    // 2 s until a stroke counts as rest, after up to a second until B1 tells of the release.
    expect(d.go(11.9).of('brake-dragging')).toEqual([]);
    expect(d.go(3).of('brake-dragging')).toEqual(['raised next-stop']);
    expect(d.list('brake-dragging')[0]).toMatchObject({
      subject: LEFT,
      measured: { quantity: 'pushrod stroke, brakes released', value: 15, limit: 15, unit: 'mm' },
    });
  });

  it('gone when it has come back for 10 s', () => {
    const d = dragging(20).go(16);
    d.strokes = [14];
    expect(d.go(9).of('brake-dragging')).toEqual(['raised next-stop']);
    expect(d.go(3).of('brake-dragging')).toEqual(['raised next-stop', 'cleared next-stop']);
  });

  it('a brake that goes on dragging teaches no other rest', () => {
    const d = dragging(20).go(16);
    for (let i = 0; i < 12; i++) d.press(38, 300, 6);
    expect(d.of('brake-dragging')).toEqual(['raised next-stop']);
    expect(d.pipeline.state.wheelEnds[LEFT]!.learnedRestMm).toBe(5);
  });

  it.each([
    ['36 kPa left in the chamber', (d: StrokeDrive) => Object.assign(d.world, { brakeKpa: 36 })],
    ['the parking brake on', (d: StrokeDrive) => Object.assign(d.world, { parked: 1 })],
    ['nobody telling of the parking brake', (d: StrokeDrive) => Object.assign(d.world, { parked: null })],
    ['standing', (d: StrokeDrive) => Object.assign(d.world, { kmh: 0 })],
  ])('not with %s', (_, change) => {
    const d = dragging(25);
    change(d);
    expect(d.go(60).of('brake-dragging')).toEqual([]);
  });

  it('pull-over with a hot tire on the same wheel end, next-stop with one on another', () => {
    for (const [tire, urgency] of [
      ['tractor/2/left/inner', 'pull-over'],
      ['tractor/2/right/inner', 'next-stop'],
    ] as const) {
      const d = dragging(20, (x) => {
        for (const s of Object.keys(x.wheels)) x.wheel(s).speaks = true;
        x.wheel(tire).celsius = 80;
        x.go(20);
      });
      d.go(30);
      expect(d.list('brake-dragging').at(-1)!.urgency).toBe(urgency);
    }
  });

  it('said to be repaired: the rest is learned anew', () => {
    const d = dragging(20).go(16);
    const { alert } = d.list('brake-dragging')[0]!;
    d.world.kmh = 0;
    d.go(2);
    const decision = { rev: 1, alert, do: 'close', who: 'workshop', note: null, minutes: null } as const;
    d.stepper.answer(d.t, { trailer: null, decisions: [decision] });
    d.go(2);
    d.world.kmh = 80;
    for (let i = 0; i < 5; i++) d.press(38, 300, 6);
    expect(d.go(30).of('brake-dragging')).toEqual(['raised next-stop', 'closed next-stop']);
    expect(d.pipeline.state.wheelEnds[LEFT]!.learnedRestMm).toBe(20);
  });
});

describe('brake-stroke-uneven', () => {
  const both = (): StrokeDrive => new StrokeDrive(strokeTruck(undefined, [LEFT, RIGHT]), [5, 5]).go(3);

  it('more than 12.7 mm (1/2 in) in 3 of 5 applications: plan, of the longer one; 12.7 mm: nothing', () => {
    const d = both();
    for (const right of [27.2, 38, 27.2, 38]) d.press([40, right], 300);
    expect(d.story).toEqual([]);
    d.press([40, 27.2], 300);
    expect(d.list('brake-stroke-uneven').map((e) => [e.subject, e.change, e.urgency])).toEqual([
      [LEFT, 'raised', 'plan'],
    ]);
    expect(d.list('brake-stroke-uneven')[0]!.measured).toMatchObject({ value: 12.8, limit: 12.7, unit: 'mm' });
    const less = both();
    for (let i = 0; i < 5; i++) less.press([40, 27.3], 300);
    expect(less.of('brake-stroke-uneven')).toEqual([]);
  });

  it('is compared to a thousandth of a millimetre, without the dust of binary fractions', () => {
    for (const [left, right, told] of [
      // 40.1 - 27.4 is 12.700000000000003 in binary.
      [40.1, 27.4, false],
      [40.101, 27.4, true],
    ] as const) {
      const d = both();
      for (let i = 0; i < 3; i++) d.press([left, right], 300);
      expect(d.of('brake-stroke-uneven')).toEqual(told ? ['raised plan'] : []);
    }
  });

  it('left when none of the last five shows it', () => {
    const d = both();
    for (let i = 0; i < 3; i++) d.press([25, 40], 300);
    for (let i = 0; i < 4; i++) d.press([38, 40], 300);
    expect(d.of('brake-stroke-uneven', RIGHT)).toEqual(['raised plan']);
    d.press([38, 40], 300);
    expect(d.of('brake-stroke-uneven', RIGHT)).toEqual(['raised plan', 'cleared plan']);
  });

  it('not below 140 kPa, not with one side silent, not while one of the two sensors is marked bad', () => {
    const weak = both();
    for (let i = 0; i < 5; i++) weak.press([40, 20], 120);
    const silent = both();
    silent.restMm = [5, null];
    silent.strokes = [5, null];
    for (let i = 0; i < 5; i++) silent.press([40, null], 300);
    const marked = both().mark(RIGHT);
    for (let i = 0; i < 5; i++) marked.press([40, 20], 300);
    for (const d of [weak, silent, marked]) expect(d.of('brake-stroke-uneven')).toEqual([]);
  });

  it('a mark on the other side closes what is open', () => {
    const d = both();
    for (let i = 0; i < 3; i++) d.press([40, 20], 300);
    d.mark(RIGHT).go(2);
    expect(d.of('brake-stroke-uneven', LEFT)).toEqual(['raised plan', 'closed plan']);
  });
});
