import { describe, expect, it } from 'vitest';
import { Drive, SUBJECTS, targetOf, truck } from './monitors/drive.js';

const WHEEL = 'tractor/2/left/outer';
const DAY = 86_400_000;
/** A Monday, 5 o'clock. */
const MONDAY = Date.UTC(2026, 2, 2, 5);

/** One morning's start: 200 s standing, then a short drive, then parked and asleep. */
function morning(d: Drive, day: number, perDay: number): Drive {
  for (const s of SUBJECTS) d.wheel(s).kpa = targetOf(s) - (s === WHEEL ? perDay * day : 0);
  d.world.kmh = 0;
  d.run(200);
  d.world.kmh = 60;
  d.run(150);
  d.world.kmh = 0;
  return d.run(30).rest(20);
}

const startsOf = (d: Drive): number[] => d.stepper.pipeline.state.coldStarts.starts[WHEEL]?.calendarMs ?? [];
const waitingOf = (d: Drive): number => d.stepper.pipeline.state.coldStarts.waiting[WHEEL]?.startedAt.length ?? 0;

/** Five mornings of one run that is never switched off; what `before` does comes before the start of each. */
function week(before: (d: Drive, day: number) => void): Drive {
  const d = new Drive(truck());
  for (let day = 0; day <= 4; day++) {
    if (day > 0) d.rest((day * DAY - d.t) / 1000);
    before(d, day);
    morning(d, day, 8);
  }
  return d;
}

describe('a clock that is set late', () => {
  it('dates the cold starts of its run that came before, and the slow leak shows', () => {
    const d = week(() => {});
    expect([startsOf(d), waitingOf(d)]).toEqual([[], 4]);
    d.stepper.clock(d.t, MONDAY);
    expect(waitingOf(d)).toBe(0);
    const starts = startsOf(d);
    expect(starts.map((ms) => Math.floor((ms - MONDAY) / DAY))).toEqual([1, 2, 3, 4]);
    d.run(2);
    expect(d.of('tire-losing-air', WHEEL)).toEqual(['raised plan']);
  });

  it('gives the same dates as one that was right from the start', () => {
    const late = week((d, day) => {
      if (day === 3) d.stepper.clock(d.t, MONDAY);
    });
    const early = week((d, day) => {
      if (day === 0) d.stepper.clock(0, MONDAY);
    });
    expect(startsOf(late)).toEqual(startsOf(early));
    expect(startsOf(late)).toHaveLength(4);
    expect(late.of('tire-losing-air', WHEEL)).toEqual(early.of('tire-losing-air', WHEEL));
  });

  it('never: the cold starts of the run are dropped at the restart', () => {
    const d = week(() => {});
    d.restart(DAY, MONDAY + 6 * DAY);
    expect([startsOf(d), waitingOf(d)]).toEqual([[], 0]);
  });

  it('set once more later: what has its date keeps it', () => {
    const d = week((d, day) => {
      if (day === 2) d.stepper.clock(d.t, MONDAY);
      if (day === 3) d.stepper.clock(d.t, MONDAY + 600_000);
    });
    expect(startsOf(d).map((ms) => Math.round((ms - MONDAY) / 60_000) % 1440)).toEqual([3, 3, 13, 13]);
  });

  it('is known after a reload and in a saved state of the same run, and not in the next run', () => {
    const d = new Drive(truck());
    d.run(5).stepper.clock(5000, MONDAY);
    d.stepper.reload(6000, truck());
    expect(d.stepper.pipeline.zeroCalendarMs).toBe(MONDAY);
    d.pipeline = d.stepper.pipeline;
    d.restart(1000);
    expect(d.pipeline.zeroCalendarMs).toBeNull();
    d.restart(1000, MONDAY);
    expect(d.pipeline.zeroCalendarMs).toBe(MONDAY);
  });
});
