import { describe, expect, it } from 'vitest';
import { ALL_OK, apply, driving, LEFT as END, type How, LEFT2, TRAILER, TRAILER_END } from './brake-bench.js';
import { Drive, SUBJECTS, truck } from './drive.js';

describe('brake-overstroke by stroke status', () => {
  it('plan at 1 of 3, next-stop at 2 of 3, left when none of the last three shows it', () => {
    const d = driving();
    apply(d, {});
    apply(d, { [LEFT2]: 2 });
    expect(d.of('brake-overstroke')).toEqual(['raised plan']);
    expect(d.list('brake-overstroke')[0]).toMatchObject({
      subject: END,
      place: 'tractor axle 2, left brake',
      measured: { code: 2, text: 'over-stroke', of: '1 of 2' },
    });
    apply(d, {});
    apply(d, { [LEFT2]: 2 });
    expect(d.of('brake-overstroke')).toEqual(['raised plan', 'worse next-stop']);
    expect(d.list('brake-overstroke')[1]!.measured).toMatchObject({ of: '2 of 3' });
    apply(d, {});
    apply(d, {});
    expect(d.of('brake-overstroke')).toEqual(['raised plan', 'worse next-stop']);
    apply(d, {});
    expect(d.of('brake-overstroke')).toEqual(['raised plan', 'worse next-stop', 'cleared next-stop']);
  });

  it('each wheel end by itself, trailer too', () => {
    const d = driving();
    apply(d, { [LEFT2]: 2, [TRAILER]: 2 });
    expect(d.list('brake-overstroke').map((e) => e.subject)).toEqual([END, TRAILER_END]);
  });

  it('a single frame of code 2 counts in an application of up to 3 s, not in a longer one; two do', () => {
    for (const [seconds, frames, told] of [
      // At one B1 a second the end is seen up to a second late.
      [2, 1, true],
      [6, 1, false],
      [6, 2, true],
    ] as const) {
      const d = driving();
      Object.assign(d.world, { brakeKpa: 300, pedal: null, brakeSwitch: null });
      d.run(seconds, (s) => {
        d.world.strokes = { ...ALL_OK, [LEFT2]: s >= 1 && s < 1 + frames ? 2 : 0 };
      });
      Object.assign(d.world, { brakeKpa: 0, strokes: ALL_OK });
      d.run(8);
      expect(d.of('brake-overstroke')).toEqual(told ? ['raised plan'] : []);
    }
  });

  it.each([
    [3, 1, true],
    [3.1, 1, false],
    [3.1, 2, true],
  ])('pressed for %d s, the pedal tells it in tenths: %d frames of code 2 count: %s', (seconds, frames, told) => {
    const d = new Drive();
    d.isFine = true;
    d.world.strokes = { ...ALL_OK };
    d.run(2);
    Object.assign(d.world, { pedal: 30, brakeKpa: 300 });
    d.run(seconds, (s) => {
      d.world.strokes = { ...ALL_OK, [LEFT2]: s < frames ? 2 : 0 };
    });
    Object.assign(d.world, { pedal: 0, brakeKpa: 0, strokes: { ...ALL_OK } });
    d.run(8);
    expect(d.of('brake-overstroke')).toEqual(told ? ['raised plan'] : []);
  });

  it.each([
    ['136 kPa', { kpa: 136 }, false],
    ['140 kPa', { kpa: 140 }, true],
    ['140 kPa for one second', { kpa: 140, seconds: 1 }, true],
    // Pressure is known, so the time of the switch does not make it count.
    ['5 s of switch at 100 kPa', { kpa: 100, seconds: 5, brakeSwitch: 1 }, false],
    ['1.4 s of switch without pressure', { kpa: null, seconds: 1.4, brakeSwitch: 1 }, false],
    ['1.6 s of switch without pressure', { kpa: null, seconds: 1.6, brakeSwitch: 1 }, true],
    ['2 s of pedal at 5 %', { kpa: null, seconds: 2, pedal: 5 }, true],
    ['2 s of pedal at 4 %', { kpa: null, seconds: 2, pedal: 4 }, false],
  ])('an application of %s qualifies: %s', (_, how: How, told) => {
    const d = new Drive();
    d.isFine = true;
    const no = how.kpa === null ? null : 0;
    Object.assign(d.world, { strokes: { ...ALL_OK }, brakeKpa: no, pedal: null, brakeSwitch: null });
    d.run(5);
    apply(d, { [LEFT2]: 2 }, how);
    expect(d.of('brake-overstroke')).toEqual(told ? ['raised plan'] : []);
  });

  it('code 2 with brakes released is none of its business', () => {
    const d = driving();
    d.world.strokes = { ...ALL_OK, [LEFT2]: 2 };
    d.run(60);
    d.world.strokes = { ...ALL_OK };
    apply(d, {});
    expect(d.of('brake-overstroke')).toEqual([]);
  });

  it('is judged until 1.5 s after the end, not later', () => {
    for (const [afterMs, told] of [
      [1200, true],
      [2500, false],
    ] as const) {
      const d = new Drive();
      d.isFine = true;
      Object.assign(d.world, { brakeKpa: null, pedal: null, brakeSwitch: 0 });
      d.run(2);
      d.world.brakeSwitch = 1;
      d.run(2);
      d.world.brakeSwitch = 0;
      d.run(0.1);
      d.send(64881, 11, { [LEFT2]: 2 }, d.t - 100 + afterMs);
      d.t += 3000;
      d.run(5);
      expect(d.of('brake-overstroke')).toEqual(told ? ['raised plan'] : []);
    }
  });

  it('states that are no reading (error 6, not fitted 7, reserved) give no result', () => {
    const d = driving();
    apply(d, { [LEFT2]: 2 });
    for (const code of [4, 5, 6, 7]) {
      d.world.strokes = { ...ALL_OK, [LEFT2]: code };
      for (let i = 0; i < 2; i++) apply(d, { [LEFT2]: code });
    }
    // Nor do they clear it: after a minute nobody knows.
    expect(d.of('brake-overstroke')).toEqual(['raised plan', 'unsure plan']);
  });

  it('a second sender is not heard while the first is fresh', () => {
    const d = driving();
    Object.assign(d.world, { brakeKpa: 300 });
    d.run(3, () => d.send(64881, 99, { [LEFT2]: 2 }));
    d.world.brakeKpa = 0;
    d.run(5);
    expect(d.of('brake-overstroke')).toEqual([]);
  });
});

describe('applications', () => {
  const peak = (d: Drive): number[] => {
    const seen: number[] = [];
    let last = 0;
    const { application } = d.pipeline.state;
    d.run(0.1);
    if (application.peakKpa !== last) seen.push(application.peakKpa);
    last = application.peakKpa;
    return seen;
  };

  it('begin at 20 kPa, not at 16; end below 10 kPa for half a second', () => {
    const d = new Drive();
    const { application } = d.pipeline.state;
    Object.assign(d.world, { pedal: null, brakeSwitch: null, brakeKpa: 16 });
    d.run(3);
    expect(application.beganAt).toBeLessThan(0);
    d.world.brakeKpa = 20;
    d.run(2);
    expect(application.beganAt).toBe(3000);
    d.world.brakeKpa = 12;
    d.run(5);
    expect(application.endedAt).toBeLessThan(0);
    d.world.brakeKpa = 8;
    d.run(2);
    expect(application.endedAt).toBeGreaterThanOrEqual(10_500);
    expect(application.endedAt).toBeLessThanOrEqual(11_000);
  });

  it('where a pedal is told it sets begin and end, whatever the pressure', () => {
    const d = new Drive();
    d.isFine = true;
    d.run(2);
    d.world.pedal = 20;
    d.run(1);
    d.world.pedal = 0;
    d.world.brakeKpa = 200;
    d.run(0.2);
    expect(d.pipeline.state.application).toMatchObject({ beganAt: 2000, endedAt: 3000, from: 'pedal' });
  });

  it('140 kPa with the foot off the pedal is one too: a hand valve, or a driver assistance system', () => {
    for (const [kpa, told] of [
      [136, false],
      [140, true],
    ] as const) {
      const d = driving();
      Object.assign(d.world, { pedal: 0, brakeSwitch: 0, brakeKpa: 0 });
      d.run(10);
      apply(d, { [LEFT2]: 2 }, { kpa, seconds: 5, pedal: 0, brakeSwitch: 0 });
      expect(d.of('brake-overstroke')).toEqual(told ? ['raised plan'] : []);
      const [record] = d.recordsOf('brake-application');
      expect(record?.values).toEqual(told ? expect.objectContaining({ from: 'pressure', peakKpa: kpa }) : undefined);
    }
  });

  it('pressure that falls late after the pedal is not another one', () => {
    const d = new Drive();
    d.isFine = true;
    d.run(2);
    Object.assign(d.world, { pedal: 30, brakeKpa: 300 });
    d.run(3);
    d.world.pedal = 0;
    d.run(2.9);
    d.world.brakeKpa = 0;
    d.run(10);
    expect(d.recordsOf('brake-application').map((r) => r.values.from)).toEqual(['pedal']);
  });

  it('the pressure of one application is not that of the next', () => {
    const d = new Drive();
    d.isFine = true;
    Object.assign(d.world, { pedal: 20, brakeKpa: 300 });
    d.run(3);
    d.world.pedal = 0;
    d.run(0.2);
    d.world.pedal = 10;
    d.world.brakeKpa = 60;
    expect(peak(d)).toEqual([]);
    d.run(2);
    expect(d.pipeline.state.application.peakKpa).toBe(60);
  });

  it('pressure from SPN 8484 and EBC3 where SPN 116 is absent', () => {
    for (const [pgn, values] of [
      [61712, { 8484: 300 }],
      [65197, { 1091: 300, 1092: 280 }],
    ] as const) {
      const d = new Drive();
      Object.assign(d.world, { pedal: null, brakeSwitch: null, brakeKpa: null });
      d.run(3, () => d.send(pgn, 11, values));
      expect(d.pipeline.state.application.beganAt).toBe(0);
      expect(d.pipeline.state.application.peakKpa).toBeGreaterThan(295);
    }
  });
});

describe('brake-not-applying', () => {
  it('next-stop at 2 of 3, not at 1; left when none of three', () => {
    const d = driving();
    apply(d, { [LEFT2]: 1 });
    apply(d, {});
    expect(d.of('brake-not-applying')).toEqual([]);
    apply(d, { [LEFT2]: 1 });
    expect(d.of('brake-not-applying')).toEqual(['raised next-stop']);
    expect(d.list('brake-not-applying')[0]).toMatchObject({
      subject: END,
      measured: { code: 1, text: 'non-functioning', of: '2 of 3' },
    });
    for (let i = 0; i < 3; i++) apply(d, {});
    expect(d.of('brake-not-applying')).toEqual(['raised next-stop', 'cleared next-stop']);
  });
});

describe('brake-dragging', () => {
  const dragging = (seconds: number, change: (d: Drive) => void = () => {}): Drive => {
    const d = driving();
    d.world.strokes = { ...ALL_OK, [LEFT2]: 3 };
    change(d);
    return d.run(seconds);
  };

  it('10 s moving with everything released: next-stop, not after 9; gone 10 s after the last', () => {
    expect(dragging(9).of('brake-dragging')).toEqual([]);
    const d = dragging(13);
    expect(d.of('brake-dragging')).toEqual(['raised next-stop']);
    expect(d.list('brake-dragging')[0]).toMatchObject({ subject: END, measured: { code: 3, text: 'dragging' } });
    d.world.strokes = { ...ALL_OK };
    d.run(9);
    expect(d.of('brake-dragging')).toEqual(['raised next-stop']);
    d.run(4);
    expect(d.of('brake-dragging')).toEqual(['raised next-stop', 'cleared next-stop']);
  });

  it.each([
    ['braking', (d: Drive) => Object.assign(d.world, { brakeKpa: 100, pedal: 20 })],
    ['something else than the pedal brakes', (d: Drive) => Object.assign(d.world, { brakeKpa: 36 })],
    ['standing', (d: Drive) => Object.assign(d.world, { kmh: 0 })],
    ['the parking brake is on', (d: Drive) => Object.assign(d.world, { parked: 1 })],
    ['nobody tells of the parking brake', (d: Drive) => Object.assign(d.world, { parked: null })],
    [
      'nobody tells of the brakes',
      (d: Drive) => Object.assign(d.world, { pedal: null, brakeSwitch: null, brakeKpa: null }),
    ],
    ['the speed is unknown', (d: Drive) => Object.assign(d.world, { kmh: null })],
  ])('not while %s', (_, change) => {
    const d = new Drive();
    change(d);
    d.world.strokes = { ...ALL_OK };
    d.run(5);
    d.world.strokes = { ...ALL_OK, [LEFT2]: 3 };
    d.run(60);
    expect(d.of('brake-dragging')).toEqual([]);
  });

  it('what is left of pressure below 35 kPa holds no brake', () => {
    expect(dragging(13, (d) => Object.assign(d.world, { pedal: 0, brakeKpa: 32 })).of('brake-dragging')).toEqual([
      'raised next-stop',
    ]);
  });

  it('with a hot tire on the same wheel end: pull-over; on another, not', () => {
    for (const [tire, urgency] of [
      ['tractor/2/left/inner', 'pull-over'],
      ['tractor/2/right/inner', 'next-stop'],
    ] as const) {
      const d = driving();
      d.wheel(tire).celsius = 80;
      d.run(20);
      d.world.strokes = { ...ALL_OK, [LEFT2]: 3 };
      d.run(30);
      expect(d.list('brake-dragging').map((e) => e.urgency)).toContain(urgency);
      expect(d.list('brake-dragging').at(-1)!.urgency).toBe(urgency);
    }
  });
});

describe('measured stroke (extra signals of the truck file)', () => {
  const SIGNAL = `signals: [{pgn: 65401, source: 33, byte: 1, length: 16, scale: 0.01 mm, quantity: stroke, subject: ${END}}]`;

  /** The drive axle 1 of a truck with this chamber; the stroke is sent ten times a second. */
  function measuring(type = '30', ratedIn = 2.5): Drive {
    const chamber = `{type: ${type}, ratedStroke: ${ratedIn} in}`;
    const d = new Drive(truck(SIGNAL, (yaml) => yaml.replace(/(name: drive 1.*chamber: )\{.*?\}/, `$1${chamber}`)));
    d.isFine = true;
    Object.assign(d.world, { pedal: null, brakeSwitch: null });
    for (const s of SUBJECTS) d.wheel(s).speaks = false;
    d.run(2, () => stroke(d, 5));
    return d;
  }
  const stroke = (d: Drive, mm: number): void => {
    const raw = Math.round(mm * 100);
    d.send(65401, 33, Uint8Array.of(raw & 0xff, raw >> 8, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff));
  };
  function press(d: Drive, mm: number, kpa = 600): Drive {
    d.world.brakeKpa = kpa;
    d.run(2, () => stroke(d, mm));
    d.world.brakeKpa = 0;
    return d.run(4, () => stroke(d, 5));
  }

  it('W-15: 1.75 in is legal for a 24, 4.80 − 3.00 in is not', () => {
    for (const [inches, over] of [
      [1.75, false],
      [1.8, true],
    ] as const) {
      const d = measuring('24', 2.25);
      press(d, inches * 25.4);
      press(d, inches * 25.4);
      expect(d.of('brake-overstroke')).toEqual(over ? ['raised next-stop'] : []);
    }
  });

  it.each([
    [540, false],
    [552, true],
    [688, true],
    [692, false],
  ])('at %d kPa it is judged: %s (550 to 690 kPa, 80 to 100 psi)', (kpa, judged) => {
    const d = measuring();
    press(d, 53, kpa);
    press(d, 53, kpa);
    expect(d.of('brake-overstroke')).toEqual(judged ? ['raised next-stop'] : []);
  });

  it('stays sure while the stroke is told, though no stroke status is', () => {
    const d = measuring();
    press(d, 53);
    press(d, 53);
    d.run(120, () => stroke(d, 5));
    expect(d.of('brake-overstroke')).toEqual(['raised next-stop']);
    d.run(120);
    expect(d.of('brake-overstroke')).toEqual(['raised next-stop', 'unsure next-stop']);
  });
});
