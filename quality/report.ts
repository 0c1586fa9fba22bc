import { DAY_HOURS, delayOf, goalOf, goalsOf, lateOf, rateOf } from './goals.js';
import type { Alarms, Asked, Tally } from './tally.js';

const UNITS = { delayS: 's', movingS: 's driving', sinceBeginS: 's from begin', applications: 'applications' };
const MOST_FINDINGS = 60;

/** The tables as text. head: one line that says what was run. */
export function reportOf(tally: Tally, head: string): string {
  const { jobs, hours } = tally;
  const driven = `${hours.healthy.toFixed(0)} h healthy in ${jobs.healthy} shifts`;
  const broken = `${jobs.fault} faults in ${hours.fault.toFixed(0)} h, ${jobs.hard} hard cases in ${hours.hard.toFixed(0)} h`;
  const healthy = `Alarms. False: on healthy trucks, by urgency; per 1,000 h with the 95 % bounds.`;
  const broad = `Elsewhere: false or too urgent in runs with faults and hard cases. Again: raised within 30 min of its end.`;
  return [
    head,
    `${driven}; ${broken}`,
    '',
    'Conditions that must be told. Under: listed as muted by a worse alert. Delays from when senders could tell.',
    ...table(ASKED_HEAD, tally.asked.map(askedRow)),
    '',
    `${healthy}\n${broad}`,
    ...table(ALARM_HEAD, [...tally.alarms.map((row) => alarmRow(row, hours.healthy)), totalRow(tally)]),
    '',
    'Goals',
    ...goalsOf(tally).map(({ met, words, found }) => {
      const word = met === null ? 'not tested' : met ? 'met' : 'MISSED';
      return `  ${word.padEnd(10)}  ${words}: ${found}`;
    }),
    ...findingLines(tally),
    '',
  ].join('\n');
}

const ASKED_HEAD = ['rule', 'urgency', 'asked', 'told', 'under', 'missed', 'median', 'worst', 'counted in', 'goal'];

function askedRow({ rule, urgency, all }: Asked): string[] {
  const goal = goalOf(rule, urgency);
  const clock = goal?.clock ?? 'delayS';
  const delays = all.map((one) => delayOf(one, clock)).filter((delay) => delay !== null);
  delays.sort((a, b) => a - b);
  const missed = all.length - delays.length;
  const worst = delays.at(-1);
  const { late, of } = goal === undefined ? { late: 0, of: 0 } : lateOf(goal, all);
  const met = of === 0 ? 'not tested' : late === 0 ? 'met' : `MISSED by ${late} of ${of}`;
  return [
    ...[rule, urgency, String(all.length), String(delays.length)],
    ...[String(all.filter(({ under }) => under).length), String(missed)],
    ...[shown(delays[(delays.length - 1) >> 1]), shown(worst), UNITS[clock]],
    goal === undefined ? '' : `<= ${goal.most} ${met}`,
  ];
}

const shown = (value: number | undefined): string => (value === undefined ? '-' : value.toFixed(0));

const ALARM_HEAD = [
  ...['rule', 'plan', 'next-stop', 'pull-over', 'false per 1,000 h', 'too urgent'],
  ...['elsewhere', 'alerts/day', 'again'],
];

function alarmRow(row: Alarms, hours: number): string[] {
  const { plan, 'next-stop': nextStop, 'pull-over': pullOver } = row.healthy;
  const perDay = hours > 0 ? ((row.told / hours) * DAY_HOURS).toFixed(3) : '-';
  return [
    ...[row.rule, String(plan), String(nextStop), String(pullOver), rateOf(plan + nextStop + pullOver, hours)],
    ...[String(row.tooUrgent), String(row.elsewhere), perDay, String(row.again)],
  ];
}

function totalRow({ alarms, hours }: Tally): string[] {
  const add = (read: (row: Alarms) => number): number => alarms.reduce((sum, row) => sum + read(row), 0);
  const total = {
    rule: 'all' as const,
    healthy: {
      plan: add(({ healthy }) => healthy.plan),
      'next-stop': add(({ healthy }) => healthy['next-stop']),
      'pull-over': add(({ healthy }) => healthy['pull-over']),
    },
    tooUrgent: add(({ tooUrgent }) => tooUrgent),
    elsewhere: add(({ elsewhere }) => elsewhere),
    told: add(({ told }) => told),
    again: add(({ again }) => again),
  };
  return alarmRow(total, hours.healthy);
}

function findingLines({ findings }: Tally): string[] {
  if (findings.length === 0) return [];
  const lines = findings.slice(0, MOST_FINDINGS).map(({ id, t, words }) => {
    return `  ${id}  min ${(t / 60_000).toFixed(1)}  ${words}`;
  });
  const more = findings.length - lines.length;
  if (more > 0) lines.push(`  and ${more} more, in the results`);
  return ['', 'Missed, false or too urgent; --only ID drives one of them again', ...lines];
}

/** Columns as wide as they must be; numbers to the right. */
function table(head: readonly string[], rows: readonly (readonly string[])[]): string[] {
  const widths = head.map((title, i) => Math.max(title.length, ...rows.map((row) => row[i]!.length)));
  const isNumber = head.map((_, i) => rows.every((row) => /^[-\d.]*( \(.*)?$/.test(row[i]!)));
  const line = (row: readonly string[]) =>
    row.map((cell, i) => (isNumber[i] ? cell.padStart(widths[i]!) : cell.padEnd(widths[i]!))).join('  ');
  return [head, ...rows].map((row) => `  ${line(row)}`.trimEnd());
}
