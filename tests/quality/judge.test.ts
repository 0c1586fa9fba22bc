import { describe, expect, it } from 'vitest';
import type { RuleName, Urgency } from '../../config/resolved.js';
import type { Change, EventDraft } from '../../daemon/alerts/event.js';
import { type Driven, driveThrough } from '../../quality/drive.js';
import { goalsOf } from '../../quality/goals.js';
import { judge } from '../../quality/judge.js';
import { scenarioOfJob } from '../../quality/plan.js';
import { tallyOf } from '../../quality/tally.js';
import { type ExpectLine, randomScenario, type Truth } from '../../simulator/index.js';

const TIRE = 'tractor/2/left/outer';
const OTHER = 'tractor/2/right/outer';

interface Planted {
  rule?: RuleName;
  subject?: string;
  urgency?: Urgency;
  alert?: number;
}

/** An event at a second, as the book would give it. */
function event(s: number, change: Change, planted: Planted = {}): EventDraft {
  const { rule = 'tire-underinflated', subject = TIRE, urgency = 'next-stop', alert = 1 } = planted;
  return {
    ...{ t: s * 1000, alert, cause: null, rule, kind: 'equipment', subject, place: '', change, reason: null },
    ...{ urgency, was: null, sinceAgoMs: 0, trailer: null, measured: null, evidence: null, forecast: null },
    ...{ advice: '', basis: '', vehicle: { speed: null, lat: null, lon: null, ageS: null } },
  };
}

/** A tire under 80 % from second 1000 to 2000 that must be told; the truck moves in every other second. */
function driven(events: EventDraft[], more: Partial<Driven> = {}, line: Partial<ExpectLine> = {}): Driven {
  const expected: ExpectLine = {
    ...{ expect: 'tire-underinflated', subject: TIRE, urgency: 'next-stop', from: 1_000_000, to: 2_000_000 },
    ...{ visibleFrom: 1_010_000, held: 900, of: 'seconds', must: true, because: 'tire-leak' },
    ...line,
  };
  const truth: Truth = { faults: [], expected: [expected], allowed: [] };
  const movedS = Uint32Array.from({ length: 4000 }, (_, s) => s >> 1);
  return { truth, events, muted: [], hours: 1, movedS, applications: [], ...more };
}

const told = (events: EventDraft[], more?: Partial<Driven>, line?: Partial<ExpectLine>) =>
  judge('fault/planted/0', driven(events, more, line)).detections[0]!;

describe('a condition that must be told', () => {
  it('is told: delay from when it could be seen, in seconds, driving and applications', () => {
    const applications = [900_000, 1_020_000, 1_100_000, 1_200_000];
    const found = told([event(1110, 'raised')], { applications });
    expect(found).toMatchObject({ toldAt: 1_110_000, delayS: 100, movingS: 50, sinceBeginS: 110, applications: 2 });
  });

  it.each([
    ['nothing came', []],
    ['another tire', [event(1100, 'raised', { subject: OTHER })]],
    ['another rule', [event(1100, 'raised', { rule: 'tire-hot' })]],
    ['not urgent enough', [event(1100, 'raised', { urgency: 'plan' })]],
    ['over before it began', [event(900, 'raised'), event(999, 'cleared')]],
    ['long after it was over', [event(2601, 'raised')]],
  ])('is missed: %s', (_, events) => {
    expect(told(events)).toMatchObject({ toldAt: null, delayS: null });
  });

  it.each([
    ['more urgent', [event(1100, 'raised', { urgency: 'pull-over' })], 1100],
    ['once it grew so urgent', [event(1100, 'raised', { urgency: 'plan' }), event(1300, 'worse')], 1300],
    ['just after it was over', [event(2599, 'raised')], 2599],
    ['at the second time', [event(900, 'raised'), event(950, 'cleared'), event(1200, 'reopened')], 1200],
  ])('is told: %s', (_, events, s) => {
    expect(told(events).toldAt).toBe(s * 1000);
  });

  it('has no delay where the alert already stood', () => {
    expect(told([event(800, 'raised')])).toMatchObject({ toldAt: 800_000, delayS: 0, movingS: 0, applications: 0 });
  });

  it('counts as told where it is listed under a worse alert, and says so', () => {
    const muted = [{ t: 1_050_000, rule: 'tire-underinflated' as const, subject: TIRE }];
    expect(told([], { muted })).toMatchObject({ toldAt: 1_050_000, under: true });
    expect(told([event(1020, 'raised')], { muted })).toMatchObject({ toldAt: 1_020_000, under: false });
  });
});

describe('what a rule must see several times', () => {
  const early = (s: number, of: ExpectLine['of']) => told([event(s, 'raised')], {}, { of }).earlyS;

  it('is early where it is told well before it had happened so often', () => {
    expect(early(900, 'occurrences')).toBe(100);
    expect(early(990, 'occurrences')).toBe(null);
    expect(early(1100, 'occurrences')).toBe(null);
    expect(early(900, 'seconds')).toBe(null);
    const worse = [event(900, 'raised', { urgency: 'pull-over' })];
    expect(told(worse, {}, { of: 'occurrences' }).earlyS).toBe(null);
  });
});

describe('an alert', () => {
  const alerts = (events: EventDraft[]) => judge('healthy/0', driven(events)).alerts;

  it('is false where nothing of the kind was there, or not yet', () => {
    expect(alerts([event(1100, 'raised', { subject: OTHER })])).toMatchObject([{ verdict: 'false' }]);
    expect(alerts([event(999, 'raised')])).toMatchObject([{ verdict: 'false' }]);
    expect(alerts([event(1001, 'raised')])).toMatchObject([{ verdict: 'right' }]);
  });

  it('is too urgent where it was not so bad', () => {
    const rising = [event(1100, 'raised'), event(1200, 'worse', { urgency: 'pull-over' })];
    expect(alerts(rising)).toMatchObject([{ verdict: 'too-urgent', urgency: 'pull-over', t: 1_200_000 }]);
  });

  it('counts once, however often it changes', () => {
    const many = [event(1100, 'raised'), event(1200, 'unsure'), event(1300, 'sure'), event(1400, 'cleared')];
    expect(alerts(many)).toHaveLength(1);
  });

  it('comes again when it is raised or opened within half an hour of its end', () => {
    const again = (s: number, change: Change) =>
      judge('healthy/0', driven([event(1100, 'raised'), event(1200, 'cleared'), event(s, change, { alert: 2 })])).again;
    expect(again(3000, 'raised')).toEqual({ 'tire-underinflated': 1 });
    expect(again(1300, 'reopened')).toEqual({ 'tire-underinflated': 1 });
    expect(again(3001, 'raised')).toEqual({});
  });
});

describe('goals', () => {
  const results = (id: string, made: Driven) => goalsOf(tallyOf([judge(id, made)]));
  const goal = (id: string, made: Driven, words: RegExp) => results(id, made).find((one) => words.test(one.words))!.met;

  it('a loss of 20 % counts driving time: 10 min and not more', () => {
    const long = (s: number) => driven([event(s, 'raised')], {}, { to: 3_000_000 });
    expect(goal('fault/x/0', long(1010 + 1200), /20 %/)).toBe(true);
    expect(goal('fault/x/0', long(1010 + 1202), /20 %/)).toBe(false);
  });

  it('a rapid leak counts from its begin, and a slower one is not held to it', () => {
    const leak = (kpaPerMin: number, s: number) => {
      const expect = 'tire-losing-air' as const;
      const made = driven(
        [event(s, 'raised', { rule: expect, urgency: 'pull-over' })],
        {},
        { expect, urgency: 'pull-over' },
      );
      const fault = { fault: 'tire-leak' as const, subject: TIRE, from: 1_000_000, to: 2_000_000, kpaPerMin };
      return goal('fault/x/0', { ...made, truth: { ...made.truth, faults: [fault] } }, /rapid/);
    };
    expect(leak(20, 1060)).toBe(true);
    expect(leak(20, 1061)).toBe(false);
    expect(leak(19, 1061)).toBe(null);
  });

  it('a missed pull-over fault is a missed goal, and none asked is not tested', () => {
    expect(goal('fault/x/0', driven([], {}, { urgency: 'pull-over' }), /no missed/)).toBe(false);
    expect(goal('fault/x/0', driven([]), /no missed/)).toBe(null);
  });

  it('false alerts of healthy trucks count by urgency; those beside a fault are shown elsewhere', () => {
    const wrong = (urgency: Urgency) => driven([event(500, 'raised', { urgency })], { hours: 100 });
    expect(goal('healthy/0', wrong('next-stop'), /no false/)).toBe(false);
    expect(goal('healthy/0', wrong('plan'), /no false/)).toBe(true);
    expect(goal('healthy/0', wrong('plan'), /1 false plan/)).toBe(false);
    expect(
      goal('healthy/0', driven([event(500, 'raised', { urgency: 'plan' })], { hours: 1000 }), /1 false plan/),
    ).toBe(true);
    const beside = tallyOf([judge('fault/x/0', wrong('next-stop'))]);
    expect(beside.alarms.find(({ rule }) => rule === 'tire-underinflated')).toMatchObject({ elsewhere: 1, told: 0 });
  });

  it('alerts by the truck-day of ten hours', () => {
    expect(goal('healthy/0', driven([event(1100, 'raised')], { hours: 10 }), /truck-day/)).toBe(false);
    expect(goal('healthy/0', driven([event(1100, 'raised')], { hours: 10.1 }), /truck-day/)).toBe(true);
  });
});

describe('through the program itself', { timeout: 120_000 }, () => {
  it('a fault of a scenario is told in time', () => {
    const { detections, alerts } = judge('fault/air-lost/0', driveThrough(scenarioOfJob('fault/air-lost/0', 1)));
    const low = detections.find(({ rule }) => rule === 'air-low')!;
    expect(low.urgency).toBe('pull-over');
    expect(low.toldAt).toBeGreaterThanOrEqual(low.from);
    expect(alerts.filter(({ verdict }) => verdict !== 'right')).toEqual([]);
  });

  it('a healthy hour: nothing must be told, and an alert that is planted is false', () => {
    const made = driveThrough(randomScenario(5, { truck: 'straight', cycle: 'city', climate: 'mild', hours: 1 }));
    expect(judge('healthy/0', made)).toMatchObject({ detections: [], alerts: [] });
    expect(made.hours).toBeCloseTo(1, 1);
    const drivenS = made.movedS.at(-1)!;
    expect(drivenS).toBeGreaterThan(600);
    expect(drivenS).toBeLessThan(3600);
    expect(made.applications.length).toBeGreaterThan(10);
    made.events.push(event(1800, 'raised'));
    expect(judge('healthy/0', made).alerts).toMatchObject([{ verdict: 'false', subject: TIRE }]);
  });
});
