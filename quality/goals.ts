import type { RuleName, Urgency } from '../config/resolved.js';
import type { Detection } from './judge.js';
import { boundsOf } from './poisson.js';
import type { Asked, Tally } from './tally.js';

/** What a delay is counted in. */
type Clock = 'delayS' | 'movingS' | 'sinceBeginS' | 'applications';

export interface DelayGoal {
  rule: RuleName;
  urgency: Urgency;
  clock: Clock;
  most: number;
  words: string;
  /** Which of them it is asked of; without it of all. */
  of?(detection: Detection): boolean;
}

/** From this rate on a leak is a rapid one; slower ones are found later, by the same rule. */
const RAPID_KPA_PER_MIN = 20;

/** How soon. Every other rule has no goal, and its delay is shown. */
export const DELAY_GOALS: readonly DelayGoal[] = [
  // UN R141 5.2 and 5.4.
  {
    ...{ rule: 'tire-underinflated', urgency: 'next-stop', clock: 'movingS', most: 600 },
    words: 'a loss of 20 % within 10 min of driving (UN R141)',
  },
  {
    ...{ rule: 'tire-sensor-silent', urgency: 'plan', clock: 'movingS', most: 600 },
    words: 'a dead tire sensor within 10 min of driving (UN R141)',
  },
  {
    ...{ rule: 'tire-losing-air', urgency: 'pull-over', clock: 'sinceBeginS', most: 60 },
    words: `a rapid leak (${RAPID_KPA_PER_MIN} kPa/min or more) within 60 s of its begin`,
    of: ({ leakKpaPerMin }) => (leakKpaPerMin ?? 0) >= RAPID_KPA_PER_MIN,
  },
  {
    ...{ rule: 'brake-overstroke', urgency: 'plan', clock: 'applications', most: 2 },
    words: 'overstroke by the second qualifying application',
  },
  {
    ...{ rule: 'air-low', urgency: 'pull-over', clock: 'delayS', most: 3 },
    words: 'low air within 3 s',
  },
];

/** A day of work, for alerts by the day. */
export const DAY_HOURS = 10;
const MOST_PLANS_PER_1000_H = 1;
const MOST_ALERTS_PER_DAY = 1;

export const goalOf = (rule: RuleName, urgency: Urgency): DelayGoal | undefined =>
  DELAY_GOALS.find((goal) => goal.rule === rule && goal.urgency === urgency);

/** Those of a row that have been late or missed, and how many there are that the goal is asked of. */
export function lateOf(goal: DelayGoal, all: readonly Detection[]): { late: number; of: number } {
  const asked = all.filter((one) => goal.of?.(one) ?? true);
  const late = asked.filter((one) => (delayOf(one, goal.clock) ?? Number.POSITIVE_INFINITY) > goal.most);
  return { late: late.length, of: asked.length };
}

export const delayOf = (detection: Detection, clock: Clock): number | null => detection[clock];

/** null: it was never put to the test. */
export interface GoalResult {
  words: string;
  met: boolean | null;
  found: string;
}

export function goalsOf(tally: Tally): GoalResult[] {
  return [noneMissed(tally), ...alarmGoals(tally), ...DELAY_GOALS.map((goal) => delayResult(goal, tally.asked))];
}

function noneMissed({ asked }: Tally): GoalResult {
  const all = asked.filter(({ urgency }) => urgency === 'pull-over').flatMap((row) => row.all);
  const missed = all.filter(({ toldAt }) => toldAt === null).length;
  return {
    words: 'no missed pull-over fault',
    met: all.length === 0 ? null : missed === 0,
    found: `${missed} of ${all.length} missed`,
  };
}

function alarmGoals({ alarms, hours: { healthy: hours } }: Tally): GoalResult[] {
  const sum = (urgency: Urgency) => alarms.reduce((n, row) => n + row.healthy[urgency], 0);
  const urgent = sum('next-stop') + sum('pull-over');
  const plans = sum('plan');
  const told = alarms.reduce((n, row) => n + row.told, 0);
  const tested = (met: boolean): boolean | null => (hours > 0 ? met : null);
  const perDay = (told / hours) * DAY_HOURS;
  return [
    {
      words: 'no false pull-over or next-stop on healthy trucks',
      met: tested(urgent === 0),
      found: `${urgent}; per 1,000 h ${rateOf(urgent, hours)}`,
    },
    {
      words: 'at most 1 false plan per 1,000 h',
      met: tested((1000 * plans) / hours <= MOST_PLANS_PER_1000_H),
      found: `${plans}; per 1,000 h ${rateOf(plans, hours)}`,
    },
    {
      words: `under 1 alert per truck-day (${DAY_HOURS} h) on a healthy fleet`,
      met: tested(perDay < MOST_ALERTS_PER_DAY),
      found: hours > 0 ? `${told} alerts, ${perDay.toFixed(3)} a day` : 'no healthy hours',
    },
  ];
}

function delayResult(goal: DelayGoal, asked: readonly Asked[]): GoalResult {
  const row = asked.find(({ rule, urgency }) => rule === goal.rule && urgency === goal.urgency);
  const { late, of } = lateOf(goal, row?.all ?? []);
  return { words: goal.words, met: of === 0 ? null : late === 0, found: `${late} of ${of} later or missed` };
}

/** Count per 1,000 hours with its 95 % bounds. */
export function rateOf(count: number, hours: number): string {
  if (hours === 0) return '-';
  const per = (n: number) => ((1000 * n) / hours).toFixed(2);
  const { low, high } = boundsOf(count);
  return count === 0 ? `0 (< ${per(high)})` : `${per(count)} (${per(low)}-${per(high)})`;
}
