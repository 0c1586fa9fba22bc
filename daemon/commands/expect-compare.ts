import type { StreamMs } from '../time.js';
import type { Compared } from './expect.js';
import { inTime, matchNearest, type Placed } from './expect-match.js';
import { type CanonicalEvent, otherNumbers } from './expect-numbers.js';

/** In the order in which they are counted. Each difference is of one kind: the first that fits. */
export const KINDS = ['missing', 'extra', 'moved', 'urgency', 'numbers'] as const;
/**
 * missing: expected, and did not come; extra: came, and was not expected; urgency: came with another one; moved: came at another
 * time; numbers: came as expected, with other numbers, which fails only when strict.
 */
export type Kind = (typeof KINDS)[number];
export type Counts = Record<Kind, number>;

export interface Difference {
  kind: Kind;
  rule: string;
  subject: string;
  change: string;
  /** As it came; of what is missing, as it was expected. */
  urgency: string;
  /** Times count anew in each run: which one, from 1. */
  run: number;
  at: StreamMs;
  /** Only where the same event was expected otherwise. */
  expected: { urgency: string; at: StreamMs } | null;
  /** Only of `numbers`: what differs, in words. */
  numbers: string | null;
}

/** What the events of a replay have in common with those that were expected, and what not. */
export interface Comparison {
  /** Expected events, and those that came. */
  expected: number;
  got: number;
  counts: Counts;
  /** In the order of time. */
  differences: Difference[];
}

interface Read extends Placed {
  event: CanonicalEvent & Compared;
}

type Pair = readonly [expected: Read, got: Read];

/** Compares the lines of two canonical files. Each line must be an event (parseExpected has seen to that). */
export function compareEvents(expected: readonly string[], got: readonly string[]): Comparison {
  const [wanted, came] = [read(expected), read(got)];
  const differences: Difference[] = [];
  const pairs: Pair[] = [];
  const extra: Read[] = [];
  for (const [one, other] of byAlert(wanted, came)) {
    const matched = matchNearest(one, other);
    pairs.push(...matched.pairs);
    for (const e of matched.missing) differences.push(differenceOf('missing', e));
    extra.push(...matched.extra);
  }
  for (const e of extra) differences.push(differenceOf('extra', e));
  const asExpected = followersOf(pairs, extra);
  for (const [e, g] of pairs) {
    const kind = e.urgency !== g.urgency ? 'urgency' : e.at !== g.at ? 'moved' : 'numbers';
    const numbers = kind === 'numbers' ? differentNumbers(e, g, asExpected) : null;
    if (kind !== 'numbers' || numbers !== null) differences.push({ ...differenceOf(kind, g, e), numbers });
  }
  const counts: Counts = { missing: 0, extra: 0, moved: 0, urgency: 0, numbers: 0 };
  for (const { kind } of differences) counts[kind]++;
  differences.sort((a, b) => a.run - b.run || a.at - b.at);
  return { expected: wanted.length, got: came.length, counts, differences };
}

/** Are they what was expected? Numbers count only when strict. */
export function isSame({ missing, extra, moved, urgency, numbers }: Counts, strict: boolean): boolean {
  return missing + extra + moved + urgency + (strict ? numbers : 0) === 0;
}

function read(lines: readonly string[]): Read[] {
  let run = 1;
  let lastAt = 0;
  return lines.map((line) => {
    const event = JSON.parse(line) as CanonicalEvent & Compared;
    // Events of one run never go back in time.
    if (event.at < lastAt) run++;
    lastAt = event.at;
    return { run, at: event.at, urgency: event.urgency, line, event };
  });
}

/** Those of one rule, subject and change together, expected and come; in the order of their first events. */
function byAlert(expected: readonly Read[], got: readonly Read[]): Iterable<readonly [Read[], Read[]]> {
  const groups = new Map<string, readonly [Read[], Read[]]>();
  for (const [side, list] of [expected, got].entries()) {
    for (const one of list) {
      const key = `${one.event.rule} ${one.event.subject} ${one.event.change}`;
      const group = groups.get(key) ?? ([[], []] as const);
      groups.set(key, group);
      group[side]!.push(one);
    }
  }
  return groups.values();
}

function differenceOf(kind: Kind, { event, run, at, urgency }: Read, expected?: Read): Difference {
  const { rule, subject, change } = event;
  return {
    ...{ kind, rule, subject, change, urgency, run, at, numbers: null },
    expected: expected === undefined ? null : { urgency: expected.urgency, at: expected.at },
  };
}

/**
 * An event of the replay with what only follows from other events as the expected file has it. The number of an alert says which
 * one came first, so alerts are the same by the events that both have in common; and a raise that moved has told its `since`.
 */
function followersOf(pairs: readonly Pair[], extra: readonly Read[]): (e: Read, g: Read) => CanonicalEvent {
  const numbers = new Map<unknown, unknown>();
  const raised = new Map<unknown, Pair>();
  for (const [e, g] of [...pairs].sort(([a], [b]) => inTime(a, b))) {
    const { alert, change } = g.event;
    if (!numbers.has(alert)) numbers.set(alert, e.event.alert);
    if (change === 'raised' && e.at !== g.at) raised.set(alert, [e, g]);
  }
  // One that nobody expected is none of those expected, whatever its number.
  for (const { event } of extra) if (!numbers.has(event.alert)) numbers.set(event.alert, 'new');
  const numberOf = (alert: unknown): unknown => (numbers.has(alert) ? numbers.get(alert) : alert);
  return (e, { event }) => {
    const { alert, cause, since } = event;
    const renamed = { ...event, alert: numberOf(alert), cause: numberOf(cause) };
    const [was, is] = raised.get(alert) ?? [];
    const isTold = since !== undefined && since === is?.event.since && e.event.since === was?.event.since;
    return isTold ? { ...renamed, since: e.event.since } : renamed;
  };
}

function differentNumbers(e: Read, g: Read, asExpected: (e: Read, g: Read) => CanonicalEvent): string | null {
  const numbers = otherNumbers(e.event, asExpected(e, g));
  if (numbers !== null || e.line === g.line) return numbers;
  // The same values, and yet not the same line.
  const isUntouched = ['alert', 'cause', 'since'].every((key) => g.event[key] === e.event[key]);
  return isUntouched ? 'written in another order' : null;
}
