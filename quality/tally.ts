import type { RuleName, Urgency } from '../config/resolved.js';
import { RULES } from '../daemon/alerts/rules.js';
import { urgencyRank } from '../simulator/index.js';
import type { Detection, Outcome, Told } from './judge.js';
import { JOB_KINDS, type JobKind } from './plan.js';

export interface Asked {
  rule: RuleName;
  urgency: Urgency;
  all: (Detection & { id: string })[];
}

export interface Alarms {
  rule: RuleName | 'all';
  /** Told without reason on healthy trucks, by urgency, and told as worse than it was. */
  healthy: Record<Urgency, number>;
  tooUrgent: number;
  /** Without reason or too urgent in the other runs, where something is broken. */
  elsewhere: number;
  /** Of healthy trucks, right or not. */
  told: number;
  /** Raised again soon after its end, in all runs. */
  again: number;
}

/** One thing that was not as it should be, and where to look at it. */
export interface Finding {
  id: string;
  t: number;
  words: string;
}

export interface Tally {
  jobs: Record<JobKind, number>;
  /** Key on, h. */
  hours: Record<JobKind, number>;
  asked: Asked[];
  alarms: Alarms[];
  findings: Finding[];
}

const kindOf = (id: string): JobKind => JOB_KINDS.find((kind) => id.startsWith(`${kind}/`))!;
const orderOf = (rule: RuleName): number => RULES.findIndex(({ name }) => name === rule);

/** Adds up outcomes, in whatever order they came. */
export function tallyOf(outcomes: readonly Outcome[]): Tally {
  const inOrder = [...outcomes].sort((a, b) => (a.id < b.id ? -1 : 1));
  const zero = (): Record<JobKind, number> => ({ healthy: 0, fault: 0, hard: 0 });
  const tally: Tally = { jobs: zero(), hours: zero(), asked: [], alarms: [], findings: [] };
  const asked = new Map<string, Asked>();
  const alarms = new Map(RULES.map(({ name }) => [name, noAlarms(name)]));
  for (const outcome of inOrder) {
    const kind = kindOf(outcome.id);
    tally.jobs[kind] += 1;
    tally.hours[kind] += outcome.hours;
    for (const detection of outcome.detections) {
      const { rule, urgency } = detection;
      const key = `${rule} ${urgency}`;
      const row = asked.get(key) ?? { rule, urgency, all: [] };
      asked.set(key, row);
      row.all.push({ ...detection, id: outcome.id });
    }
    for (const told of outcome.alerts) count(alarms.get(told.rule)!, told, kind);
    for (const [rule, times] of Object.entries(outcome.again)) alarms.get(rule as RuleName)!.again += times;
    tally.findings.push(...findingsOf(outcome));
  }
  tally.alarms = [...alarms.values()];
  tally.asked = [...asked.values()].sort(
    (a, b) => orderOf(a.rule) - orderOf(b.rule) || urgencyRank(a.urgency) - urgencyRank(b.urgency),
  );
  return tally;
}

function noAlarms(rule: RuleName): Alarms {
  return {
    rule,
    healthy: { plan: 0, 'next-stop': 0, 'pull-over': 0 },
    tooUrgent: 0,
    elsewhere: 0,
    told: 0,
    again: 0,
  };
}

function count(row: Alarms, { verdict, urgency }: Told, kind: JobKind): void {
  if (kind === 'healthy') row.told += 1;
  if (verdict === 'right') return;
  if (kind !== 'healthy') row.elsewhere += 1;
  else {
    row.healthy[urgency] += 1;
    if (verdict === 'too-urgent') row.tooUrgent += 1;
  }
}

function findingsOf({ id, detections, alerts }: Outcome): Finding[] {
  const missed = detections
    .filter(({ toldAt }) => toldAt === null)
    .map(({ from, rule, urgency, subject, because }) => {
      return { id, t: from, words: `MISSED ${rule} ${urgency} at ${subject}, because of ${because}` };
    });
  const early = detections.flatMap(({ rule, urgency, subject, toldAt, earlyS }) =>
    earlyS === null
      ? []
      : [{ id, t: toldAt!, words: `EARLY ${rule} ${urgency} at ${subject}, by ${earlyS.toFixed(0)} s` }],
  );
  const wrong = alerts
    .filter(({ verdict }) => verdict !== 'right')
    .map(({ t, rule, urgency, subject, verdict, measured }) => {
      const what = verdict === 'false' ? 'FALSE' : 'TOO URGENT';
      return { id, t, words: `${what} ${rule} ${urgency} at ${subject}: ${measured}` };
    });
  return [...missed, ...wrong, ...early];
}
