import type { RuleName, Urgency } from '../config/resolved.js';
import type { Fault, Scenario, ScenarioEvent } from './scenario.js';

/** One stretch of one fault as the scenario has it, or something that was done to the truck. Times in ms from the start. */
export interface FaultLine {
  fault: Fault['kind'] | ScenarioEvent['kind'] | 'tire-refill' | 'tire-filled';
  subject: string;
  from: number;
  to: number;
  [detail: string]: unknown;
}

/**
 * A condition that a rule measures and that really was there, in what the truck was and not in what its sensors said.
 * Times in ms from the start, as in stream time.
 */
export interface ExpectLine {
  expect: RuleName;
  subject: string;
  /** At least this urgency. */
  urgency: Urgency;
  /** When the measured condition really began. */
  from: number;
  /** When its senders could first tell of it, the truck moving or running where the rule asks for that; null: never. */
  visibleFrom: number | null;
  /** When it was last there. */
  to: number;
  /** For so long it was there beyond doubt, and could be seen: seconds, or occurrences where `of` says so. */
  held: number;
  of: 'seconds' | 'occurrences';
  /** It was there so long, or so often, that an alert must have come. Otherwise it may have come or not. */
  must: boolean;
  /** Kinds of faults in the scenario, or `conditions`: weather, load and road. */
  because: string;
}

/** Something that may be told without being wrong: close to a limit, or a natural consequence of a fault. */
export interface MayLine {
  may: RuleName;
  /** Exactly this subject; `*` any subject of the rule. */
  subject: string;
  /** At most this urgency; without it any. */
  urgency?: Urgency;
  from: number;
  because: string;
}

export type TruthLine = FaultLine | ExpectLine | MayLine;

/** Everything that was really so. An alert that is neither expected nor allowed is false. */
export interface Truth {
  faults: FaultLine[];
  expected: ExpectLine[];
  allowed: MayLine[];
}

/** One JSON object a line: faults in order of time, then what must or may be told of them. */
export function truthText({ faults, expected, allowed }: Truth): string {
  return [...faults, ...expected, ...allowed].map((line) => `${JSON.stringify(line)}\n`).join('');
}

/** Whether an alert with this subject at time t is right or may be. */
export function isTrue(truth: Truth, rule: RuleName, subject: string, t: number): boolean {
  const fits = (line: { subject: string; from: number }) =>
    (line.subject === subject || line.subject === '*') && t >= line.from;
  return (
    truth.expected.some((line) => line.expect === rule && fits(line)) ||
    truth.allowed.some((line) => line.may === rule && fits(line))
  );
}

const URGENCIES: readonly Urgency[] = ['plan', 'next-stop', 'pull-over'];
export const urgencyRank = (urgency: Urgency): number => URGENCIES.indexOf(urgency);

export type Verdict = 'right' | 'too-urgent' | 'false';

/** What an alert at this urgency is worth: something of the kind was there, but not so bad, is too urgent. */
export function verdictOf(truth: Truth, rule: RuleName, subject: string, urgency: Urgency, t: number): Verdict {
  if (!isTrue(truth, rule, subject, t)) return 'false';
  const isSoBad = (line: { urgency?: Urgency }) => urgencyRank(line.urgency ?? 'pull-over') >= urgencyRank(urgency);
  const soBad = { ...truth, expected: truth.expected.filter(isSoBad), allowed: truth.allowed.filter(isSoBad) };
  return isTrue(soBad, rule, subject, t) ? 'right' : 'too-urgent';
}

/** What was wrong and what was done, and when, in order of time. */
export function faultLines(scenario: Scenario): FaultLine[] {
  const { durationS, tires } = scenario;
  const filled: FaultLine[] = Object.entries(tires.each).map(([subject, share]) => {
    return { fault: 'tire-filled', subject, ...span(0, durationS), share };
  });
  const lines = [...filled, ...scenario.faults.flatMap(stretches), ...scenario.events.map(occasion)];
  return lines.sort((a, b) => a.from - b.from || (a.subject < b.subject ? -1 : 1));
}

const span = (from: number, to: number) => ({ from: from * 1000, to: to * 1000 });

/** Subject of a fault that is not a tire's or a brake's. */
const SUBJECTS: Partial<Record<Fault['kind'], string>> = {
  'air-leak': 'air/service',
  'circuit-blocked': 'air/service',
  'compressor-weak': 'air/supply',
  governor: 'air/supply',
  'brake-hot': 'brakes',
  'bus-silent': 'bus/main',
  'bus-errors': 'bus/main',
  'strange-locations': 'layout',
  'not-sent': 'bus/main',
};

function subjectOf(f: Fault): string {
  if ('tire' in f) return f.tire;
  if ('wheelEnd' in f) return f.wheelEnd;
  if ('source' in f) return `source/${f.source}`;
  return SUBJECTS[f.kind] ?? f.kind;
}

function stretches(f: Fault): FaultLine[] {
  const subject = subjectOf(f);
  if (f.kind === 'tire-leak') {
    const leaks: FaultLine[] = f.phases.map((phase, i) => ({
      fault: f.kind,
      subject,
      ...span(phase.from, f.phases[i + 1]?.from ?? f.to),
      kpaPerMin: phase.kpaPerMin,
    }));
    const { refill } = f;
    if (!refill) return leaks;
    return [...leaks, { fault: 'tire-refill', subject, ...span(refill.from, refill.to), share: refill.share }];
  }
  const { kind, from, to, ...rest } = f;
  const { tire, wheelEnd, ...details } = rest as Record<string, unknown>;
  if (f.kind === 'fault-codes') delete details.source;
  return [{ fault: kind, subject, ...span(from, to), ...details }];
}

function occasion(event: ScenarioEvent): FaultLine {
  const { kind, at, ...details } = event;
  const subject = 'tire' in event ? event.tire : kind === 'sensors-swapped' ? event.tires[0] : 'trailer';
  return { fault: kind, subject, ...span(at, at), ...details };
}
