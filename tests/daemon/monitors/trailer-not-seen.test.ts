import { describe, expect, it } from 'vitest';
import { Drive, SUBJECTS, targetOf, truck } from './drive.js';

const TRAILER = SUBJECTS.filter((s) => s.startsWith('trailer'));
const TRACTOR = SUBJECTS.filter((s) => s.startsWith('tractor'));
/** Address of a sender on the trailer. */
const OWN = 61;

const quiet = (d: Drive, subjects: readonly string[], speaks = false): void => {
  for (const s of subjects) d.wheel(s).speaks = speaks;
};
const told = (d: Drive) => d.of('trailer-not-seen');

/** The receiver on the tractor told of the trailer, and then does not any more. */
function dropped(seconds: number): Drive {
  const d = new Drive();
  d.run(120);
  quiet(d, TRAILER);
  return d.run(seconds);
}

describe('trailer-not-seen: 15 min of moving', () => {
  it('both sides, and not one line for each of its sensors', () => {
    expect(told(dropped(898))).toEqual([]);
    const d = dropped(915);
    expect(d.story).toEqual(['trailer-not-seen raised plan trailer']);
    const [e] = d.list('trailer-not-seen');
    expect(e).toMatchObject({ kind: 'system', subject: 'trailer' });
    expect((e!.measured as { silentS: number }).silentS).toBe(900);
  });

  it('a stop does not count', () => {
    const d = dropped(600);
    d.world.kmh = 0;
    d.run(1200);
    expect(told(d)).toEqual([]);
    d.world.kmh = 60;
    expect(told(d.run(315))).toEqual(['raised plan']);
  });

  it('one that was never heard is missed where the tractor is', () => {
    const never = (seconds: number): Drive => {
      const d = new Drive();
      quiet(d, TRAILER);
      return d.run(seconds);
    };
    expect(never(895).story).toEqual([]);
    expect(never(915).story).toEqual(['trailer-not-seen raised plan trailer']);
  });

  it('one tire that speaks is a trailer: the others are told each by itself', () => {
    const d = new Drive();
    d.run(120);
    quiet(d, TRAILER.slice(1));
    d.run(1000);
    expect(told(d)).toEqual([]);
    expect(d.list('tire-sensor-silent').map((e) => e.subject)).toEqual(TRAILER.slice(1));
  });

  it('brakes that tell their state are a trailer too', () => {
    const d = new Drive();
    // The trailer's first axle, left and right.
    d.world.strokes = { 3795: 0, 3796: 0 };
    d.run(120);
    quiet(d, TRAILER);
    d.run(1000);
    expect(told(d)).toEqual([]);
    expect(d.list('tire-sensor-silent').map((e) => e.subject)).toEqual(TRAILER);
  });
});

describe('where it could not be heard it is not missed', () => {
  it('the receiver is silent altogether', () => {
    const d = new Drive();
    d.run(120);
    quiet(d, SUBJECTS);
    d.run(1100);
    expect(told(d)).toEqual([]);
    expect(d.of('source-silent')).toEqual(['raised plan']);
  });

  it('no tire of the truck was ever heard', () => {
    const d = new Drive();
    quiet(d, SUBJECTS);
    expect(told(d.run(1200))).toEqual([]);
  });

  it('its own sender is all that is silent: it is missed', () => {
    const d = new Drive();
    quiet(d, TRAILER);
    d.run(120, (s) => {
      if (s % 10 === 0) for (const tire of TRAILER) d.tire(tire, {}, OWN);
    });
    d.run(915);
    expect(told(d)).toEqual(['raised plan']);
  });
});

describe('a trailer asleep', () => {
  it('sensors that sleep at a stand and wake a minute and a half after it moves', () => {
    const d = new Drive();
    d.run(300);
    d.world.kmh = 0;
    quiet(d, SUBJECTS);
    d.run(3 * 3600);
    d.world.kmh = 50;
    d.run(90);
    quiet(d, SUBJECTS, true);
    d.run(600);
    expect(d.story).toEqual([]);
  });

  it('the trailer wakes ten minutes after the tractor: nothing is told', () => {
    const d = new Drive();
    d.run(300);
    d.world.kmh = 0;
    d.run(10);
    d.rest(8 * 3600);
    quiet(d, TRAILER);
    d.world.kmh = 50;
    d.run(600);
    quiet(d, TRAILER, true);
    d.run(300);
    expect(d.story).toEqual([]);
  });
});

describe('a trailer that comes back, or another one', () => {
  it('clears, and what was learned of the one before is forgotten', () => {
    const d = dropped(930);
    expect(d.pipeline.state.tires[TRAILER[0]!]!.readingSource).toBe(-1);
    expect(d.pipeline.state.tires[TRACTOR[0]!]!.readingSource).toBe(51);
    for (const s of TRAILER) Object.assign(d.wheel(s), { speaks: true, kpa: 0.95 * targetOf(s) });
    d.run(30);
    expect(told(d)).toEqual(['raised plan', 'cleared plan']);
    d.run(300);
    expect(d.list('tire-losing-air')).toEqual([]);
  });

  it('open alerts of its wheels are closed as gone when it is given up, not cleared', () => {
    const d = new Drive();
    d.wheel(TRAILER[2]!).kpa = 0.7 * targetOf(TRAILER[2]!);
    d.run(200);
    quiet(d, TRAILER);
    d.run(930);
    const of = d.list('tire-underinflated', TRAILER[2]).map((e) => [e.change, e.reason]);
    expect(of).toEqual([
      ['raised', null],
      ['unsure', null],
      ['closed', 'unit-gone'],
    ]);
  });

  it('swapped at a stop of 20 min for one that stands 4 % lower: no leak, nothing is low', () => {
    const d = new Drive();
    d.run(300);
    d.world.kmh = 0;
    quiet(d, TRAILER);
    d.run(1200);
    for (const s of TRAILER) Object.assign(d.wheel(s), { speaks: true, kpa: 0.96 * targetOf(s) });
    d.run(60);
    d.world.kmh = 60;
    d.run(900);
    expect(d.story).toEqual([]);
  });

  it('the rule off: the unit is given up all the same', () => {
    const d = new Drive(truck('rules: {trailer-not-seen: {enabled: no}}'));
    d.run(120);
    quiet(d, TRAILER);
    d.run(930);
    expect(told(d)).toEqual([]);
    expect(d.pipeline.state.tires[TRAILER[0]!]!.readingSource).toBe(-1);
  });
});
