import { describe, expect, it } from 'vitest';
import { judgementsOf } from '../../../daemon/alerts/judgements.js';
import { StrokeGrowth } from '../../../daemon/monitors/brake-growth.js';
import { wheelEndOf } from '../../../daemon/monitors/brake-state.js';
import type { Workbench } from '../../../daemon/monitors/monitor.js';
import { buildLayout } from '../../../daemon/truck/layout.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { LEFT, StrokeDrive, strokeTruck } from './brake-bench.js';
import { truck } from './drive.js';
import { naiveEarlyDays, type Pressed } from './naive-growth.js';

const RULE = 'brake-stroke-growing';
const DAY = 86_400_000;
/** 2 March 2026, 06:00 UTC. */
const MORNING = Date.UTC(2026, 2, 2, 6);
/** Chamber 30 with 2.5 in: 2 in. */
const LIMIT = 50.8;

const synced = (): StrokeDrive => new StrokeDrive(strokeTruck(), [5], MORNING);

/** One day on the road with these strokes, then parked until the same time tomorrow. */
function day(d: StrokeDrive, ...strokes: number[]): StrokeDrive {
  const from = d.t;
  d.world.kmh = 80;
  d.go(1);
  for (const mm of strokes) d.press(mm, 600, 2, 1.5);
  d.world.kmh = 0;
  d.go(2);
  d.rest((from + DAY - d.t) / 1000);
  return d;
}

const five = (mm: number): number[] => [mm, mm, mm, mm, mm];

describe('brake-stroke-growing (B-39: an automatic adjuster holds the stroke; one that grows has a cause)', () => {
  it.each([
    // 5 days at 1 mm a day: on the last one the limit is 14.0 days away, or 14.1.
    [32.8, ['raised plan']],
    [32.7, []],
  ] as const)('from %d mm on, a millimetre a day', (first, events) => {
    const d = synced();
    for (let k = 0; k < 5; k++) day(d, ...five(first + k));
    expect(d.of(RULE)).toEqual(events);
    expect(day(d, ...five(first + 5)).of(RULE)).toEqual(['raised plan']);
  });

  it('tells how fast, until when, and what the strokes were', () => {
    const d = synced();
    for (let k = 0; k < 5; k++) day(d, ...five(32.8 + k));
    const [event] = d.list(RULE);
    expect(event).toMatchObject({
      subject: LEFT,
      measured: { quantity: 'growth of pushrod stroke', unit: 'mm/day', value: expect.closeTo(1, 6) },
      forecast: { what: 'stroke limit of 50.8 mm (2 in)' },
      evidence: { quantity: 'pushrod stroke', unit: 'mm' },
    });
    expect(event!.basis).toMatch(/find the cause, do not just readjust/);
    expect(event!.advice).toMatch(/do not just readjust/);
    expect(event!.evidence!.points.map(([, mm]) => mm)).toEqual([32.8, 33.8, 34.8, 35.8, 36.8]);
    const { inMs, fromMs, toMs } = event!.forecast!;
    // From the first application of the day on which it is told.
    for (const ms of [inMs, fromMs, toMs]) expect(Math.abs(ms - 14 * DAY)).toBeLessThan(60_000);
  });

  it('20 applications, not 19; 4 days, not 3; 3 applications in a day, not 2; 4 mm, not 3.9', () => {
    const d = synced();
    for (let k = 0; k < 3; k++) day(d, ...five(30 + 2 * k));
    d.world.kmh = 80;
    d.go(1);
    for (let k = 0; k < 4; k++) d.press(36, 600, 2, 1.5);
    expect(d.of(RULE)).toEqual([]);
    d.press(36, 600, 5);
    expect(d.of(RULE)).toEqual(['raised plan']);
    const short = synced();
    for (let k = 0; k < 3; k++) day(short, ...five(30 + 3 * k), ...five(30 + 3 * k));
    expect(short.of(RULE)).toEqual([]);
    day(short, 39, 39);
    expect(short.of(RULE)).toEqual([]);
    day(short, 40, 40, 40);
    expect(short.of(RULE)).toEqual(['raised plan']);
    for (const [perDay, told] of [
      [0.97, false],
      [1, true],
    ] as const) {
      const slow = synced();
      for (let k = 0; k < 5; k++) day(slow, ...five(44 + perDay * k));
      expect(slow.of(RULE)).toEqual(told ? ['raised plan'] : []);
    }
  });

  it('a stroke that stays, or that only heat makes longer for a part of the day, is not told', () => {
    const d = synced();
    for (let k = 0; k < 8; k++) day(d, 40, 44, 49, 50, 47);
    expect(d.of(RULE)).toEqual([]);
  });

  it('adjusted (6.35 mm shorter than on all of the last three days; 6.3 mm is not): begins anew, and is cleared when it stays', () => {
    const grown = (): StrokeDrive => {
      const d = synced();
      for (let k = 0; k < 5; k++) day(d, ...five(40 + k));
      return d;
    };
    const strokes = (d: StrokeDrive): number[] => d.pipeline.state.wheelEnds[LEFT]!.growth.strokeMm;
    expect(strokes(day(grown(), 35.7))).toEqual([40, 41, 42, 43, 44, 35.7]);
    const d = day(grown(), 35.6);
    expect(strokes(d)).toEqual([35.6]);
    for (let k = 0; k < 3; k++) day(d, ...five(35.6));
    expect(d.of(RULE)).toEqual(['raised plan']);
    // The twentieth application since.
    day(d, ...five(35.6));
    expect(d.of(RULE)).toEqual(['raised plan', 'cleared plan']);
  });

  it('outside of 550 to 690 kPa, with the parking brake on, or while marked bad: not counted', () => {
    const count = (change: (d: StrokeDrive) => void, kpa = 600): number => {
      const d = synced().go(1);
      change(d);
      d.go(1).press(40, kpa, 3);
      return d.pipeline.state.wheelEnds[LEFT]!.growth.strokeMm.length;
    };
    expect(count(() => {})).toBe(1);
    expect(count(() => {}, 540)).toBe(0);
    expect(count(() => {}, 692)).toBe(0);
    expect(count((d) => Object.assign(d.world, { parked: 1, kmh: 0 }))).toBe(0);
    expect(count((d) => d.mark(LEFT))).toBe(0);
  });

  it('a run per day: what was seen goes on over restarts, and with the clock found late', () => {
    const d = synced();
    for (let k = 0; k < 5; k++) {
      // Each morning the program starts without knowing what time it is.
      if (k > 0) d.restart(null, null);
      d.world.kmh = 80;
      d.go(1);
      for (const mm of five(40 + k)) d.press(mm, 600, 2, 1.5);
      expect(d.of(RULE)).toEqual([]);
      d.stepper.clock(d.t, MORNING + k * DAY);
      d.world.kmh = 0;
      d.go(2);
    }
    expect(d.of(RULE)).toEqual(['raised plan']);
  });

  it('days of a run that never learned the time are not counted', () => {
    const d = new StrokeDrive();
    for (let k = 0; k < 6; k++) day(d, ...five(40 + k));
    expect(d.of(RULE)).toEqual([]);
    d.restart(null, MORNING + 6 * DAY);
    day(d, ...five(46));
    expect(d.of(RULE)).toEqual([]);
    expect(d.pipeline.state.wheelEnds[LEFT]!.growth).toMatchObject({ strokeMm: [46], waitingMm: [] });
  });

  it('a clock that was set back leaves nothing of the future', () => {
    const d = synced();
    for (let k = 0; k < 3; k++) day(d, ...five(40 + k));
    d.restart(null, MORNING + DAY);
    day(d, 50);
    expect(d.pipeline.state.wheelEnds[LEFT]!.growth.strokeMm).toEqual([40, 41]);
  });
});

describe('brake-stroke-growing against a second, naive implementation', () => {
  const config = truck();
  const layout = buildLayout(config);
  const i = layout.wheelEnds.findIndex((end) => end.subject === LEFT);
  const seed = printedSeed('growing strokes');

  /** After each application: raised, cleared, or as it was. */
  function judged(pressed: readonly Pressed[]): boolean[] {
    const judgement = judgementsOf(config.rules, {}, () => true).find((j) => j.rule.name === RULE)!;
    const saved = {};
    const states = layout.wheelEnds.map(({ subject }) => wheelEndOf(saved, subject));
    const growth = new StrokeGrowth({ layout } as Workbench, judgement, states);
    return pressed.map(({ ms, mm }) => {
      const t = ms - MORNING;
      growth.tick(t, ms);
      growth.applied(i, t, mm);
      judgement.settle(t);
      return judgement.level(judgement.subjects[i]!) > 0;
    });
  }

  function expected(pressed: readonly Pressed[]): { up: boolean[]; close: boolean } {
    let up = false;
    let close = false;
    const list = pressed.map((_, k) => {
      const early = naiveEarlyDays(pressed.slice(0, k + 1), LIMIT);
      if (early === null) return up;
      // Digits of the two differ: what lies on the limit itself is not compared.
      if (Math.abs(early - 14) < 1e-6 || Math.abs(early - 21) < 1e-6) close = true;
      if (early <= 14) up = true;
      if (early >= 21) up = false;
      return up;
    });
    return { up: list, close };
  }

  const drift = fc.record({
    first: fc.integer({ min: 250, max: 480 }),
    perDay: fc.integer({ min: -5, max: 20 }),
    days: fc.array(
      fc.record({
        hours: fc.integer({ min: 12, max: 60 }),
        noise: fc.array(fc.integer({ min: 0, max: 60 }), { minLength: 1, maxLength: 9 }),
        adjusted: fc.boolean().chain((a) => (a ? fc.integer({ min: -12, max: 9 }) : fc.constant(0))),
      }),
      { minLength: 3, maxLength: 30 },
    ),
  });

  it('the same verdict after every application', () => {
    let raised = 0;
    let cleared = 0;
    fc.assert(
      fc.property(drift, ({ first, perDay, days }) => {
        const pressed: Pressed[] = [];
        let ms = MORNING;
        let mm10 = first;
        for (const { hours, noise, adjusted } of days) {
          mm10 += perDay * 0.5 + (adjusted < -9 ? -80 : 0);
          for (const [k, n] of noise.entries())
            pressed.push({ ms: ms + k * 600_000, mm: (Math.max(0, mm10) + n) / 10 });
          ms += hours * 3_600_000;
        }
        const { up, close } = expected(pressed);
        fc.pre(!close);
        expect(judged(pressed)).toEqual(up);
        raised += up.includes(true) ? 1 : 0;
        cleared += up.lastIndexOf(true) >= 0 && up.at(-1) === false ? 1 : 0;
      }),
      { seed, numRuns: 100 },
    );
    // Both must have been seen, or nothing was compared.
    expect(Math.min(raised, cleared)).toBeGreaterThan(0);
  });
});
