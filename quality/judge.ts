import type { RuleName, Urgency } from '../config/resolved.js';
import type { EventDraft } from '../daemon/alerts/event.js';
import { type ExpectLine, type Truth, urgencyRank, type Verdict, verdictOf } from '../simulator/index.js';
import type { Driven } from './drive.js';

/** One condition that an alert had to tell of, and what became of it. */
export interface Detection {
  rule: RuleName;
  urgency: Urgency;
  subject: string;
  because: string;
  /** When the condition began, and when its senders could first tell of it; ms. */
  from: number;
  visibleFrom: number;
  /** When an alert stood at that urgency or above; null: missed. */
  toldAt: number | null;
  /** It was not told by itself, but listed as muted by a worse alert. */
  under: boolean;
  /** From visibleFrom to toldAt: seconds, seconds of driving, and applications that began, its own included. */
  delayS: number | null;
  movingS: number | null;
  applications: number | null;
  /** From its begin on, s; for leaks, where the limit counts from there. */
  sinceBeginS: number | null;
  /** Of a tire that leaks: its rate at the time, kPa/min at 18 °C. */
  leakKpaPerMin: number | null;
  /** Next-stop and pull-over: told at that very urgency before it had happened as often as its rule asks for, s. */
  earlyS: number | null;
}

/** One alert that the program raised. */
export interface Told {
  rule: RuleName;
  subject: string;
  /** The worst that it reached. */
  urgency: Urgency;
  t: number;
  verdict: Verdict;
  /** Explained by another alert: people see it under that one. */
  caused: boolean;
  measured: string;
}

/** What a job gave; one line of the results. */
export interface Outcome {
  id: string;
  hours: number;
  detections: Detection[];
  alerts: Told[];
  /** Alerts raised or opened again within AGAIN_MS of their end, by rule. */
  again: Partial<Record<RuleName, number>>;
}

/** A condition that is over may still be told for so long: rules judge an application or a leak test when it has ended. */
const LATE_MS = 600_000;
/** The truth is looked at once a second, and an application is known before it has ended. */
const EARLY_MS = 10_000;
export const AGAIN_MS = 1_800_000;

const RISES = new Set(['raised', 'worse', 'reopened']);
const ENDS = new Set(['cleared', 'closed']);

/** Holds the program's events to what was really so. */
export function judge(id: string, driven: Driven): Outcome {
  const { truth, events, hours } = driven;
  const must = truth.expected.filter((line) => line.must);
  return {
    id,
    hours,
    detections: must.map((line) => detect(line, driven)),
    alerts: toldOf(truth, events),
    again: againOf(events),
  };
}

function detect(line: ExpectLine, driven: Driven): Detection {
  const { expect: rule, subject, urgency, because, from } = line;
  const visibleFrom = line.visibleFrom ?? from;
  const own = driven.events.filter((event) => event.rule === rule && event.subject === subject);
  const open = openFrom(own, urgency, line);
  const muted = driven.muted.find(
    (m) => m.rule === rule && m.subject === subject && m.t >= from && m.t <= line.to + LATE_MS,
  );
  const under = muted !== undefined && (open === null || muted.t < open);
  const toldAt = under ? muted.t : open;
  const leakKpaPerMin = leakOf(driven.truth, subject, visibleFrom);
  const found = { rule, urgency, subject, because, from, visibleFrom, toldAt, under, leakKpaPerMin };
  if (toldAt === null)
    return { ...found, delayS: null, movingS: null, applications: null, sinceBeginS: null, earlyS: null };
  const moved = (t: number): number => driven.movedS[Math.min(driven.movedS.length - 1, Math.floor(t / 1000))]!;
  const began = driven.applications.filter((t) => t >= visibleFrom && t < toldAt).length;
  return {
    ...found,
    delayS: Math.max(0, (toldAt - visibleFrom) / 1000),
    movingS: Math.max(0, moved(toldAt) - moved(visibleFrom)),
    applications: began,
    sinceBeginS: Math.max(0, (toldAt - from) / 1000),
    earlyS: earlyOf(line, own, toldAt),
  };
}

/** A worse alert that stands already is not early, and a plan that comes a little sooner does no harm. */
function earlyOf({ of, urgency, from }: ExpectLine, own: readonly EventDraft[], toldAt: number): number | null {
  const exact = own.some((event) => event.t === toldAt && event.urgency === urgency);
  const counts = of === 'occurrences' && urgency !== 'plan' && exact;
  return counts && toldAt < from - EARLY_MS ? (from - toldAt) / 1000 : null;
}

const BURST_KPA_PER_MIN = 9000;

function leakOf({ faults }: Truth, subject: string, t: number): number | null {
  const holds = faults.filter((line) => line.subject === subject && line.from <= t && t <= line.to);
  if (holds.some(({ fault }) => fault === 'tire-burst')) return BURST_KPA_PER_MIN;
  const rates = holds.filter(({ fault }) => fault === 'tire-leak').map(({ kpaPerMin }) => Number(kpaPerMin));
  return rates.length > 0 ? Math.max(...rates) : null;
}

/** When an alert stood at the urgency or above, first of the times that meet the condition; null: never. */
function openFrom(events: readonly EventDraft[], urgency: Urgency, { from, to }: ExpectLine): number | null {
  let since: number | null = null;
  for (const { t, change, urgency: now } of events) {
    const stands = !ENDS.has(change) && urgencyRank(now) >= urgencyRank(urgency);
    if (since !== null && !stands) {
      if (t >= from && since <= to + LATE_MS) return since;
      since = null;
    } else if (since === null && stands) since = t;
  }
  return since !== null && since <= to + LATE_MS ? since : null;
}

const WORSE: Verdict[] = ['right', 'too-urgent', 'false'];

/** Each alert once, with the worst that can be said of it. */
function toldOf(truth: Truth, events: readonly EventDraft[]): Told[] {
  const alerts = new Map<number, Told>();
  for (const event of events) {
    if (!RISES.has(event.change)) continue;
    const { rule, subject, urgency, t } = event;
    const verdict = verdictOf(truth, rule, subject, urgency, t);
    const known = alerts.get(event.alert);
    const measured = JSON.stringify(event.measured);
    if (known === undefined) {
      alerts.set(event.alert, { rule, subject, urgency, t, verdict, caused: event.cause !== null, measured });
      continue;
    }
    if (urgencyRank(urgency) > urgencyRank(known.urgency)) known.urgency = urgency;
    if (WORSE.indexOf(verdict) > WORSE.indexOf(known.verdict)) Object.assign(known, { verdict, t, measured });
  }
  return [...alerts.values()];
}

function againOf(events: readonly EventDraft[]): Outcome['again'] {
  const again: Outcome['again'] = {};
  const ended = new Map<string, number>();
  for (const { t, change, rule, subject } of events) {
    const key = `${rule} ${subject}`;
    if (ENDS.has(change)) ended.set(key, t);
    else if (change === 'raised' || change === 'reopened') {
      if (t - (ended.get(key) ?? Number.NEGATIVE_INFINITY) <= AGAIN_MS) again[rule] = (again[rule] ?? 0) + 1;
    }
  }
  return again;
}
