import { describe, expect, it } from 'vitest';
import { URGENCIES, type Urgency } from '../../../config/resolved.js';
import type { Change } from '../../../daemon/alerts/event.js';
import type { Glance } from '../../../report/data.js';
import type { Gathered, GatheredEvent } from '../../../report/gathered.js';
import { alertsOf, worstFirst } from '../../../report/story/alerts.js';
import { glanceOf } from '../../../report/story/glance.js';
import fc from '../../support/property.js';
import { byMinute, event, run, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';
const glance = (gathered: Gathered): Glance => glanceOf(gathered, alertsOf(gathered));

type Told = [second: number, change: Change, urgency: Urgency];
const told = (id: string, changes: Told[], explainedBy?: string): GatheredEvent[] =>
  changes.map((change) =>
    event(id, 'tire-underinflated', TIRE, change, explainedBy === undefined ? {} : { explainedBy }),
  );

/** An alert as trucks tell it: rises and falls by levels, ends and comes back. */
const life = fc
  .array(
    fc.tuple(fc.integer({ min: 1, max: 60 }), fc.constantFrom('level', 'other', 'end'), fc.integer({ min: 0, max: 2 })),
    { maxLength: 25 },
  )
  .map((steps): Told[] => {
    let second = 100;
    let level = 1;
    let isOver = false;
    const changes: Told[] = [[second, 'raised', URGENCIES[level]!]];
    for (const [by, kind, to] of steps) {
      second += by;
      if (isOver) {
        level = to;
        isOver = false;
        changes.push([second, 'reopened', URGENCIES[level]!]);
      } else if (kind === 'end') {
        isOver = true;
        // An end names the worst, which is no level that it has then.
        changes.push([second, 'cleared', 'pull-over']);
      } else if (kind === 'other' || to === level) changes.push([second, 'unsure', URGENCIES[level]!]);
      else {
        changes.push([second, to > level ? 'worse' : 'better', URGENCIES[to]!]);
        level = to;
      }
    }
    return changes;
  });

/** What urgency an alert had in each second, by reading its changes one by one. */
function naiveLevels(changes: readonly Told[], second: number): Urgency | null {
  let now: Urgency | null = null;
  for (const [at, change, urgency] of changes) if (at <= second && change !== 'cleared') now = urgency;
  return now;
}

describe('at a glance', () => {
  it('each bar has the urgency that the alert had in that second', () => {
    fc.assert(
      fc.property(life, (changes) => {
        const gathered = run(60);
        gathered.events = told('a', changes);
        const bar = glance(gathered).alerts[0]!;
        const seconds = Array.from({ length: 25 * 60 + 1 }, (_, i) => bar.fromS + i);
        const drawn = seconds.map((second) => bar.steps.findLast(({ s }) => s <= second)?.urgency);
        expect(drawn).toEqual(seconds.map((second) => naiveLevels(changes, second)));
        expect(bar.steps.every((step, i) => i === 0 || step.urgency !== bar.steps[i - 1]!.urgency)).toBe(true);
        expect(bar.toS).toBe(changes.at(-1)![1] === 'cleared' ? changes.at(-1)![0] : null);
      }),
    );
  });

  it('an alert that was open before begins with the data, at the level it had', () => {
    const gathered = run(60);
    gathered.events = [
      event('a', 'tire-hot', TIRE, [600, 'worse', 'pull-over'], { was: 'next-stop', sinceAgoMs: 9e6 }),
    ];
    expect(glance(gathered).alerts[0]).toMatchObject({
      fromS: 0,
      steps: [
        { s: 0, urgency: 'next-stop' },
        { s: 600, urgency: 'pull-over' },
      ],
    });
  });

  it('what another alert explains stands behind it; the rest is in the order of time', () => {
    const gathered = run(60);
    const raised = (id: string, second: number, cause?: string) => told(id, [[second, 'raised', 'plan']], cause);
    gathered.events = [
      ...raised('consequence', 100, 'late cause'),
      ...raised('first', 200),
      ...raised('late cause', 300),
      ...raised('of the consequence', 400, 'consequence'),
      ...raised('explained by what is not here', 500, 'gone'),
      ...raised('x', 600, 'y'),
      ...raised('y', 700, 'x'),
    ];
    expect(alertsOf(gathered).map(({ id, cause }) => [id, cause])).toEqual([
      ['first', null],
      ['late cause', null],
      ['consequence', 'late cause'],
      ['of the consequence', 'consequence'],
      ['explained by what is not here', null],
      ['x', 'y'],
      ['y', 'x'],
    ]);
  });

  it('of too many alerts the worst are told, in their order', () => {
    const gathered = run(60);
    const urgencies: Urgency[] = ['plan', 'pull-over', 'plan', 'next-stop', 'plan', 'pull-over'];
    gathered.events = urgencies.flatMap((urgency, i) => told(`${i}`, [[100 * (i + 1), 'raised', urgency]]));
    expect(worstFirst(alertsOf(gathered), 4).map(({ id }) => id)).toEqual(['0', '1', '3', '5']);
  });

  it('speed is told by the minute, with least and greatest', () => {
    const gathered = run(3);
    byMinute(gathered, 'tractor', 'speed', (minute) => [minute, 80 + minute, 40]);
    expect(glance(gathered).speed).toMatchObject({
      s: [30, 90, 150],
      v: [40, 40, 40],
      low: [0, 1, 2],
      high: [80, 81, 82],
    });
    expect(glance(run(3)).speed).toBeNull();
  });

  it('the truck is awake where nothing else is said; the last state lasts to the end', () => {
    const gathered = run(60);
    const at = (second: number) => ZERO_MS + second * 1000;
    gathered.life = [
      { atMs: at(600), state: 'parked' },
      { atMs: at(660), state: 'asleep' },
      { atMs: at(1200), state: 'awake' },
      { atMs: at(3000), state: 'blind' },
    ];
    expect(glance(gathered).life).toEqual([
      { fromS: 600, toS: 660, state: 'parked' },
      { fromS: 660, toS: 1200, state: 'asleep' },
      { fromS: 3000, toS: 3600, state: 'blind' },
    ]);
  });
});
