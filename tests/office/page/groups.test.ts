import { describe, expect, it } from 'vitest';
import type { BoardTruck } from '../../../office/core/board-model.js';
import { FLOOD, floodWords, grouped, mayClose, maySnooze, openCounts } from '../../../office/page/board/groups.js';
import { fullName } from '../../../office/page/board/names.js';
import {
  announcements,
  isNewsworthy,
  MOST_MARKS,
  markOf,
  readMarks,
  SOUND_AGAIN_MS,
  soundDue,
  titleOf,
  unread,
  withMarks,
} from '../../../office/page/board/news.js';
import { apply, type BoardState } from '../../../office/page/board/state.js';
import { trendOf, WIDTH } from '../../../office/page/board/trend-geometry.js';
import { byPerson } from '../../../office/page/shift/by-person.js';
import { losingAir, MINUTE, madeUpAlert, madeUpSnapshot, madeUpTruck, madeUpTrucks, stamp } from './support/made-up.js';

const NOW = Date.UTC(2026, 2, 2, 14, 0, 0);
const alert = (id: string, part = {}) => madeUpAlert(NOW, { id, ...part });
const truck = (name: string, ...alerts: BoardTruck['alerts']) => madeUpTruck(NOW, { truck: name, alerts });

describe('groups', () => {
  it('have each thing of a morning in one place', () => {
    const groups = grouped(madeUpTrucks(NOW));
    const names = (cases: { truck: BoardTruck }[]) => cases.map((one) => one.truck.truck);
    expect(names(groups.undecided)).toEqual(['T-1042', 'T-208', 'B-31']);
    expect(names(groups.floods)).toEqual(['T-311']);
    expect(names(groups.taken)).toEqual(['T-97']);
    expect(names(groups.snoozed)).toEqual(['T-450']);
    expect(names(groups.system)).toEqual(['T-450']);
    expect(groups.outOfTouch.map((one) => one.truck)).toEqual(['T-512', 'T-208', 'T-513']);
    expect(groups.sick.map((one) => one.truck)).toEqual(['T-600']);
    expect(openCounts(groups)).toEqual({ 'pull-over': 1, 'next-stop': 2, plan: 7 });
  });

  it('of the same urgency the one that nobody has had for longest comes first, whatever came first by the truck’s clock', () => {
    const groups = grouped([
      truck('A', alert('a', { urgency: 'next-stop', urgentSinceMs: NOW - 2, since: stamp(0) })),
      truck('B', alert('b', { urgency: 'next-stop', urgentSinceMs: NOW - 3 })),
      truck('C', alert('c', { urgency: 'pull-over', urgentSinceMs: NOW - 1 })),
    ]);
    expect(groups.undecided.map((one) => one.alert.id)).toEqual(['c', 'b', 'a']);
  });

  it(`a flood begins with ${FLOOD} plan alerts of one truck; what is worse stays in its own line`, () => {
    const plans = ['1', '2', '3'].map((id) => alert(id));
    expect(grouped([truck('A', ...plans.slice(1))])).toMatchObject({ floods: [], undecided: [{}, {}] });
    const groups = grouped([truck('A', ...plans, alert('4', { urgency: 'next-stop' }))]);
    expect(groups.floods[0]!.alerts.map(({ id }) => id)).toEqual(['1', '2', '3']);
    expect(groups.undecided.map((one) => one.alert.id)).toEqual(['4']);
    expect(floodWords([...plans, alert('5', { what: 'tire too hot' })])).toBe(
      'pressure below target (3 places), tire too hot',
    );
  });

  it('what another alert explains has no line of its own', () => {
    expect(grouped([truck('A', alert('1', { isExplained: true, cause: '0' }))]).undecided).toEqual([]);
  });

  it('a snoozed one that is taken as well is snoozed', () => {
    const groups = grouped([truck('A', alert('1', { isTaken: true, isSnoozed: true }))]);
    expect([groups.taken.length, groups.snoozed.length]).toEqual([0, 1]);
  });

  it('what may be done follows the truck’s own rules', () => {
    const moving = truck('A');
    expect(maySnooze(alert('1', { urgency: 'pull-over' }))).toBe(false);
    expect(maySnooze(alert('1', { urgency: 'next-stop' }))).toBe(true);
    expect(mayClose(moving, alert('1'))).toBe(false);
    expect(mayClose(moving, alert('1', { unsure: true }))).toBe(true);
    expect(mayClose({ ...moving, isMoving: false }, alert('1'))).toBe(true);
    expect(mayClose({ ...moving, isMoving: null }, alert('1'))).toBe(false);
  });

  it('by person, for the hand-over', () => {
    const cases = grouped([
      truck('A', alert('1', { isTaken: true, taken: { who: 'Kim', at: stamp(NOW) } })),
      truck('B', alert('2', { isTaken: true, asked: { rev: 1, alert: '2', do: 'take', who: 'Anna', askedMs: NOW } })),
      truck('C', alert('3', { isTaken: true, taken: { who: 'Kim', at: stamp(NOW) } })),
    ]).taken;
    expect(byPerson(cases).map(({ who, cases: mine }) => [who, mine.length])).toEqual([
      ['Anna', 1],
      ['Kim', 2],
    ]);
  });

  it('a truck is found by its name alone, in the fleet where it is known', () => {
    const trucks = new Map([['northline/T-1042', truck('T-1042')]]);
    expect(fullName('t-1042', trucks)).toBe('northline/T-1042');
    expect(fullName('T-9', trucks)).toBe('northline/T-9');
    expect(fullName('southline/T-9', trucks)).toBe('southline/T-9');
  });
});

describe('the live board', () => {
  const start = (): BoardState => apply(null, { event: 'board', data: madeUpSnapshot(NOW) }, NOW - 1234)!;

  it('corrects this machine’s clock by the office’s', () => {
    expect(start().offsetMs).toBe(1234);
  });

  it('a truck replaces itself, and one with an older number does not', () => {
    const state = start();
    const newer = madeUpTruck(NOW, { truck: 'T-97', revision: 7 });
    const next = apply(state, { event: 'truck', data: newer }, NOW)!;
    expect(next.trucks.get('northline/T-97')).toBe(newer);
    expect(state.trucks.get('northline/T-97')).not.toBe(newer);
    expect(apply(next, { event: 'truck', data: { ...newer, revision: 6 } }, NOW)).toBe(next);
  });

  it('counts go with a truck that can be reached otherwise than before', () => {
    const next = apply(start(), { event: 'truck', data: madeUpTruck(NOW, { truck: 'T-208', revision: 2 }) }, NOW)!;
    expect(next.counts).toMatchObject({ awake: 35, offline: 0, late: 1 });
  });

  it('a truck before the first whole board is left: the board has it', () => {
    expect(apply(null, { event: 'truck', data: truck('A') }, NOW)).toBeNull();
  });
});

describe('news', () => {
  const groups = grouped(madeUpTrucks(NOW));

  it('is what is urgent, of the truck, and not yet looked at; an alert that gets worse is news again', () => {
    const all = unread(groups, new Set());
    expect(all.map((one) => one.alert.urgency)).toEqual(['pull-over', 'next-stop', 'next-stop']);
    const marks = new Set(all.map(markOf));
    expect(unread(groups, marks)).toEqual([]);
    const worse = grouped([truck('B-31', { ...groups.undecided[2]!.alert, urgency: 'pull-over' })]);
    expect(unread(worse, marks)).toHaveLength(1);
    expect(isNewsworthy({ truck: truck('A'), alert: alert('1', { urgency: 'next-stop', kind: 'system' }) })).toBe(
      false,
    );
  });

  it('is said once, again when nobody took it in time, and again when it comes back', () => {
    const waits = alert('1', { urgency: 'pull-over' });
    const first = announcements(grouped([truck('A', waits)]), new Set());
    expect(first.fresh.map(({ isAgain }) => isAgain)).toEqual([false]);
    expect(announcements(grouped([truck('A', waits)]), first.told).fresh).toEqual([]);
    const untaken = grouped([truck('A', { ...waits, isUntaken: true })]);
    const second = announcements(untaken, first.told);
    expect(second.fresh.map(({ isAgain }) => isAgain)).toEqual([true]);
    expect(announcements(untaken, second.told).fresh).toEqual([]);
    const none = announcements(grouped([truck('A', { ...waits, isTaken: true })]), second.told);
    expect(none.fresh).toEqual([]);
    expect(announcements(untaken, none.told).fresh).toHaveLength(1);
    // Better than it was is no news.
    expect(announcements(grouped([truck('A', { ...waits, urgency: 'next-stop' })]), first.told).fresh).toEqual([]);
  });

  it('marks are bounded, each once, the oldest go; what is not ours in the store counts for nothing', () => {
    const many = Array.from({ length: MOST_MARKS + 20 }, (_, i) => String(i));
    const kept = withMarks(withMarks([], many), ['30', 'new']);
    expect(kept).toHaveLength(MOST_MARKS);
    expect(kept.slice(-2)).toEqual(['30', 'new']);
    expect(kept).not.toContain('19');
    for (const stored of [null, '', '{', '{"a":1}', '7']) expect(readMarks(stored)).toEqual([]);
    expect(readMarks('["a",1,"b"]')).toEqual(['a', 'b']);
  });

  it('the title counts what waits, and says when it is not live', () => {
    expect(titleOf(null, true)).toBe('Axlepost board');
    expect(titleOf(grouped([]), true)).toBe('Axlepost board');
    expect(titleOf(groups, true)).toBe('(3) 1 pull over · Axlepost board');
    expect(titleOf(groups, false)).toBe('Not live · (3) 1 pull over · Axlepost board');
  });

  it('a pull-over sounds at once, again while nobody takes it, and no more after that', () => {
    const open = grouped([truck('A', losingAir(NOW))]);
    const first = soundDue(open, { pullOverMs: 0, marks: new Set() }, NOW)!;
    expect(first.pullOverMs).toBe(NOW);
    expect(soundDue(open, first, NOW + SOUND_AGAIN_MS - 1)).toBeNull();
    expect(soundDue(open, first, NOW + SOUND_AGAIN_MS)).not.toBeNull();
    const taken = grouped([truck('A', { ...losingAir(NOW), isTaken: true })]);
    expect(soundDue(taken, first, NOW + 10 * SOUND_AGAIN_MS)).toBeNull();
  });

  it('a next stop sounds once, when it is called untaken', () => {
    const waits = alert('1', { urgency: 'next-stop' });
    const none = { pullOverMs: 0, marks: new Set<string>() };
    expect(soundDue(grouped([truck('A', waits)]), none, NOW)).toBeNull();
    const untaken = grouped([truck('A', { ...waits, isUntaken: true })]);
    const first = soundDue(untaken, none, NOW)!;
    expect(soundDue(untaken, first, NOW + 10 * SOUND_AGAIN_MS)).toBeNull();
  });
});

describe('the picture beside an alert', () => {
  it('goes from the first point to the end of the forecast, with now and the gate between', () => {
    const trend = trendOf(losingAir(NOW), NOW)!;
    expect(trend.first.x).toBeLessThan(trend.last.x);
    expect(trend.last.x).toBeLessThan(trend.nowX);
    expect(trend.nowX).toBeLessThan(trend.forecast!.fromX);
    expect(trend.forecast!.toX).toBeLessThanOrEqual(WIDTH);
    // It falls, and goes on falling.
    expect(trend.first.y).toBeLessThan(trend.last.y);
    expect(trend.last.y).toBeLessThan(trend.forecast!.at.y);
    // A limit in kPa/min has no place among kPa.
    expect(trend.limitY).toBeNull();
  });

  it('does not make a mountain of a sensor’s noise', () => {
    const air = losingAir(NOW);
    const points = [690, 688, 691, 689].map((kpa, i): [string, number] => [stamp(NOW - (9 - i) * MINUTE), kpa]);
    const { line } = trendOf({ ...air, forecast: null, evidence: { ...air.evidence!, points } }, NOW)!;
    const heights = line.split(' ').map((point) => Number(point.split(',')[1]));
    expect(Math.max(...heights) - Math.min(...heights)).toBeLessThan(5);
  });

  it('has a limit where it is of the same quantity, no gate where the forecast is past, and is left out without two points', () => {
    const air = losingAir(NOW);
    const measured = { quantity: 'cold pressure', value: 596, limit: 620, unit: 'kPa', quality: 'good' } as const;
    const trend = trendOf({ ...air, measured }, NOW + 60 * MINUTE)!;
    expect(trend.limitY).toBeGreaterThan(trend.first.y);
    expect(trend.limitY).toBeLessThan(trend.last.y);
    expect(trend.forecast).toBeNull();
    expect(trendOf({ ...air, evidence: null }, NOW)).toBeNull();
    expect(
      trendOf({ ...air, evidence: { ...air.evidence!, points: air.evidence!.points.slice(0, 1) } }, NOW),
    ).toBeNull();
  });
});
