import { type Criterion, type RuleConfig, URGENCIES, type Urgency } from '../../config/resolved.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Evidence, Forecast, Measured } from './event.js';
import { type EvidenceSpec, type EvidenceState, forget, judge, newEvidence, settle, stop } from './evidence.js';
import type { Rule } from './rules.js';

/** 0 nothing, 1 plan, 2 next-stop, 3 pull-over. */
export type Level = 0 | 1 | 2 | 3;

export const levelOf = (urgency: Urgency): Level => (URGENCIES.indexOf(urgency) + 1) as Level;
export const urgencyOf = (level: Level): Urgency => URGENCIES[level - 1]!;

export interface Limit extends EvidenceSpec {
  name: string;
  level: Level;
  raise: number;
  clear: number;
  basis: string;
}

/** What is judged about one subject under one rule. Plain data, part of the pipeline's state. */
export interface SubjectState {
  /** By criterion name. */
  limits: Record<string, EvidenceState>;
}

/** What an event says about a finding, worked out only when there is an event. */
export interface Description {
  measured: Measured | null;
  evidence?: Evidence | null;
  forecast?: Forecast | null;
}

export interface Subject {
  name: string;
  /** "rule subject": names its alert. */
  key: string;
  place: string;
  /** In the order of Judgement.limits. */
  evidence: EvidenceState[];
  state: SubjectState;
  /** Index in the layout's list of its kind; -1 for others. */
  index: number;
  /** False: a sensor that it needs is marked bad. It takes no evidence, and nothing holds on it; a count takes it for unknown. */
  isJudged: boolean;
}

export type Describe = (subject: Subject, t: StreamMs, level: Level) => Description;

/** Age limit of verdicts that stand until the next one (cold starts, applications): never reached. */
export const UNTIL_NEXT_MS = 1e12;

/** A clear limit that can never be met by number (the rule judges a state). */
const BY_STATE = Number.NaN;

function limitOf(name: string, c: Criterion): Limit {
  return {
    name,
    level: levelOf(c.urgency),
    raise: c.raise ?? BY_STATE,
    clear: c.clear ?? BY_STATE,
    raiseAfterMs: c.raiseAfterS * 1000,
    clearAfterMs: c.clearAfterS * 1000,
    n: c.of?.n ?? 0,
    m: c.of?.m ?? 0,
    clearsByTime: c.of === null || c.clear !== null || c.clearAfterS > 0,
    basis: c.basis,
  };
}

/** One rule with its limits, its subjects and their evidence. Monitors feed it; the book of alerts reads it at ticks. */
export class Judgement {
  readonly rule: Rule;
  readonly limits: Limit[];
  readonly constants: Record<string, number>;
  readonly subjects: Subject[] = [];
  readonly #states: Record<string, SubjectState>;
  readonly #isJudged: (subject: string) => boolean;
  readonly #index = new Map<string, number>();
  describe: Describe = () => ({ measured: null });
  /** Are the data that the rule judges on this subject within their age limit? */
  fresh: (subject: Subject, t: StreamMs) => boolean = () => true;
  /** Who says so, where that differs from subject to subject; null: what the limit's own basis says. */
  basisOf: (subject: Subject, limit: Limit) => string | null = () => null;
  /** `source/…` of the only sender that tells of the subject; '' where it is not known. */
  sourceOf: (subject: Subject) => string = () => '';
  /** What the monitor itself has counted about a subject goes back to nothing too. */
  onReset: (subject: Subject) => void = () => {};

  /**
   * states: what was saved, by subject; the object stays part of the pipeline's state.
   * isJudged: may the subject be judged at all?
   */
  constructor(
    rule: Rule,
    config: RuleConfig,
    states: Record<string, SubjectState>,
    isJudged: (subject: string) => boolean = () => true,
  ) {
    this.#isJudged = isJudged;
    this.rule = rule;
    this.limits = Object.entries(config.criteria).map(([name, c]) => limitOf(name, c));
    this.constants = config.constants;
    this.#states = states;
  }

  /** A constant of the rule; a missing one is a mistake in config/defaults.yaml. */
  constant(name: string): number {
    const value = this.constants[name];
    if (value === undefined) throw new Error(`rule ${this.rule.name} has no constant ${name} in config/defaults.yaml`);
    return value;
  }

  limit(name: string): number {
    const i = this.limits.findIndex((l) => l.name === name);
    if (i < 0) throw new Error(`rule ${this.rule.name} has no limit ${name} in config/defaults.yaml`);
    return i;
  }

  add(name: string, place: string, index = -1): number {
    let state = this.#states[name];
    if (state === undefined) {
      state = { limits: {} };
      this.#states[name] = state;
    }
    const kept = state.limits;
    for (const l of this.limits) kept[l.name] ??= newEvidence();
    const subject = {
      name,
      key: `${this.rule.name} ${name}`,
      place,
      index,
      state,
      isJudged: this.#isJudged(name),
      evidence: this.limits.map((l) => kept[l.name]!),
    };
    this.#index.set(name, this.subjects.push(subject) - 1);
    return this.subjects.length - 1;
  }

  remove(name: string): void {
    const i = this.#index.get(name);
    if (i === undefined) return;
    this.subjects.splice(i, 1);
    delete this.#states[name];
    this.#index.clear();
    for (const [k, s] of this.subjects.entries()) this.#index.set(s.name, k);
  }

  find(name: string): number {
    return this.#index.get(name) ?? -1;
  }

  /** A good value under limit number i, compared as the rule's kind of limit says. */
  value(subject: number, i: number, t: StreamMs, ageMs: number, value: number): void {
    const l = this.limits[i]!;
    const low = this.rule.limit === 'low';
    this.state(
      subject,
      i,
      t,
      ageMs,
      low ? value <= l.raise : value >= l.raise,
      low ? value >= l.clear : value <= l.clear,
    );
  }

  /** A good judgement under limit number i, compared by the monitor. */
  state(subject: number, i: number, t: StreamMs, ageMs: number, raising: boolean, clearing: boolean): void {
    const s = this.subjects[subject]!;
    if (s.isJudged) judge(s.evidence[i]!, this.limits[i]!, t, ageMs, raising, clearing);
  }

  /** Another witness agrees: the limit holds at once. Nothing happens while the clear limit is met. */
  corroborate(subject: number, i: number, t: StreamMs, ageMs: number): void {
    const s = this.subjects[subject]!;
    const e = s.evidence[i]!;
    const l = this.limits[i]!;
    if (e.clearing || !s.isJudged) return;
    for (let k = Math.max(1, l.n); k > 0; k--) judge(e, l, t, ageMs, true, false);
    e.raiseMs = Math.max(e.raiseMs, l.raiseAfterMs);
  }

  /** A verdict that stands by itself until the next one: both delays count as passed. */
  verdict(subject: number, i: number, t: StreamMs, raising: boolean, clearing: boolean): void {
    const s = this.subjects[subject]!;
    if (!s.isJudged) return;
    const e = s.evidence[i]!;
    const l = this.limits[i]!;
    judge(e, l, t, UNTIL_NEXT_MS, raising, clearing);
    if (raising) e.raiseMs = l.raiseAfterMs;
    if (clearing) e.clearMs = l.clearAfterMs;
  }

  /** Bad data: the evidence under limit i (all when left out) stops. */
  stop(subject: number, t: StreamMs, i = -1): void {
    const evidence = this.subjects[subject]!.evidence;
    if (i >= 0) stop(evidence[i]!, t);
    else for (const e of evidence) stop(e, t);
  }

  /** Nothing holds on a subject, and its evidence is back to nothing. */
  reset(subject: number): void {
    const s = this.subjects[subject]!;
    for (const e of s.evidence) {
      forget(e);
      e.up = false;
    }
    this.onReset(s);
  }

  /** Decides all limits at a tick. */
  settle(t: StreamMs): void {
    for (const s of this.subjects) {
      for (let i = 0; i < s.evidence.length; i++) {
        if (settle(s.evidence[i]!, this.limits[i]!, t) && s.evidence[i]!.up) this.#carry(s, i);
      }
    }
  }

  /**
   * A worse limit that begins to hold carries the lesser ones whose raise limit is met as well: they take longer to prove,
   * and an alert that falls must not clear before they are left.
   */
  #carry(s: Subject, i: number): void {
    for (let k = 0; k < s.evidence.length; k++) {
      const e = s.evidence[k]!;
      if (this.limits[k]!.level >= this.limits[i]!.level || !e.raising || e.up) continue;
      e.up = true;
      e.clearMs = 0;
    }
  }

  /** The worst level that holds. */
  level(subject: Subject): Level {
    let level: Level = 0;
    for (let i = 0; i < this.limits.length; i++) {
      if (subject.evidence[i]!.up && this.limits[i]!.level > level) level = this.limits[i]!.level;
    }
    return level;
  }

  /** Is what holds at the level on its way out: does the last reading meet every clear limit of it? */
  isLeaving(subject: Subject, level: Level): boolean {
    return subject.evidence.every((e, i) => !e.up || this.limits[i]!.level !== level || e.clearing);
  }

  /** Basis of the first limit that holds at the level, else of the first one of it. */
  basis(subject: Subject, level: Level): string {
    let first = '';
    for (let i = 0; i < this.limits.length; i++) {
      const l = this.limits[i]!;
      if (l.level !== level) continue;
      const basis = this.basisOf(subject, l) ?? l.basis;
      if (subject.evidence[i]!.up) return basis;
      if (first === '') first = basis;
    }
    return first;
  }

  /** Has any subject been judged since? Without subjects there is nothing to wait for. */
  wasJudgedSince(at: StreamMs): boolean {
    return this.subjects.length === 0 || this.subjects.some((s) => this.judgedAt(s) >= at);
  }

  judgedAt(subject: Subject): StreamMs {
    let at = NEVER;
    for (const e of subject.evidence) if (e.judgedAt > at) at = e.judgedAt;
    return at;
  }
}
