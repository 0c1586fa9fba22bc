import type { RuleName } from '../../config/resolved.js';
import type { FaultArea } from '../j1939/dm1.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import { adviceFor } from './advice.js';
import { type AlertState, CALM_MS, FORGET_MS, followReversals, newAlert, REOPEN_MS } from './alert.js';
import type { Change, CloseReason, EventDraft, OpenDraft } from './event.js';
import { type Judgement, type Level, levelOf, type Subject, urgencyOf } from './judgement.js';
import { awaitedBy, CAUSES, FAULT_CAUSES, MUTES, related } from './relations.js';
import { ruleNamed } from './rules.js';

/** What holds at the end of a mute is announced after this much longer. */
const AFTER_MUTE_MS = 30_000;
/** Data must have been past their age limit for this long before an alert becomes unsure. */
const UNSURE_MS = 60_000;
/** Consequences wait at most this long after a start for their causes' first judgement. */
const AWAIT_CAUSES_MS = 20_000;

export interface BookState {
  nextOrdinal: number;
  /** By "rule subject". */
  alerts: Record<string, AlertState>;
  /** Last tick at which a finding was muted, by "rule subject". */
  muted: Record<string, { mutedAt: StreamMs }>;
  /** When this run of the program started. */
  startedAt: StreamMs;
}

export const newBookState = (): BookState => ({ nextOrdinal: 1, alerts: {}, muted: {}, startedAt: 0 });

/** What the book must know of the truck at a tick. */
export interface Surroundings {
  moving: boolean;
  engineRunning: boolean;
  cranking: boolean;
  blind: boolean;
  trailer: string | null;
  vehicle: () => EventDraft['vehicle'];
}

/** One alert with what is true of it at this tick. */
interface Case {
  a: AlertState;
  j: Judgement;
  s: Subject;
  t: StreamMs;
  level: Level;
  waits: boolean;
  around: Surroundings;
}

/** An alert may outlive its rule or subject: it can still be closed. */
type EventCase = Pick<Case, 'a' | 't' | 'around'> & { j: Judgement | null; s: Subject | null };

type FaultAreaOf = (subject: string) => FaultArea | null;

/**
 * All open alerts and what happens to them. Frames never reach it: levels, muting, chattering and events are decided
 * at ticks only.
 */
export class Book {
  readonly state: BookState;
  readonly #judgements: readonly Judgement[];
  readonly #byRule = new Map<RuleName, Judgement>();
  readonly #awaited = new Map<RuleName, Judgement[]>();
  #events: EventDraft[] = [];
  #muted: OpenDraft['muted'] = [];
  #lastMuted = '';

  readonly #areaOf: FaultAreaOf;

  /** areaOf: area of a fault-code or stop-lamp subject, for its cause. */
  constructor(judgements: readonly Judgement[], state: BookState, areaOf: FaultAreaOf) {
    this.state = state;
    this.#areaOf = areaOf;
    this.#judgements = judgements;
    for (const j of judgements) this.#byRule.set(j.rule.name, j);
    for (const j of judgements) {
      const causes = awaitedBy(j.rule.name).flatMap((r) => this.#byRule.get(r) ?? []);
      this.#awaited.set(j.rule.name, causes);
    }
  }

  /** Decides everything at tick t; the events in the order of the rule table and then of the layout. */
  tick(t: StreamMs, around: Surroundings): EventDraft[] {
    this.#events = [];
    this.#muted = [];
    for (const j of this.#judgements) j.settle(t);
    for (const j of this.#judgements) {
      // A subject may leave its list while it is decided (an ended fault code), so the list is copied where that can be.
      const subjects = j.rule.subject === 'fault' ? [...j.subjects] : j.subjects;
      for (const s of subjects) this.#decide(j, s, t, around);
    }
    return this.#events;
  }

  /** True once for each change of the list of muted findings. */
  mutedChanged(): boolean {
    const now = this.#muted.map((m) => `${m.rule} ${m.subject} ${m.urgency}`).join('|');
    const changed = now !== this.#lastMuted;
    this.#lastMuted = now;
    return changed;
  }

  openDraft(t: StreamMs, trailer: string | null): OpenDraft {
    const open = Object.values(this.state.alerts).filter((a) => a.open);
    open.sort((a, b) => b.level - a.level || a.raisedAt - b.raisedAt || a.ordinal - b.ordinal);
    const alerts = open.map((a) => {
      const j = this.#byRule.get(a.rule);
      const s = j === undefined ? undefined : j.subjects[j.find(a.subject)];
      return {
        alert: a.ordinal,
        cause: s === undefined ? null : this.#causeOf(j!, s),
        rule: a.rule,
        kind: j?.rule.kind ?? ('equipment' as const),
        subject: a.subject,
        place: a.place,
        urgency: urgencyOf(a.level),
        unsure: a.unsure,
        chattering: a.chatter.on,
        sinceAgoMs: t - a.raisedAt,
        measured: s === undefined ? null : j!.describe(s, t, a.level).measured,
      };
    });
    return { t, trailer, alerts, muted: this.#muted };
  }

  /** Number of alerts that have ever been raised. */
  get raised(): number {
    return this.state.nextOrdinal - 1;
  }

  /** Worst urgency level among open alerts. */
  worstOpen(): Level {
    let worst: Level = 0;
    for (const a of Object.values(this.state.alerts)) if (a.open && a.level > worst) worst = a.level;
    return worst;
  }

  /** Closes open alerts for which `why` gives a reason. Closing is not clearing: evidence is reset. */
  close(t: StreamMs, around: Surroundings, why: (a: AlertState) => CloseReason | null): EventDraft[] {
    this.#events = [];
    for (const a of Object.values(this.state.alerts)) {
      const reason = a.open ? why(a) : null;
      if (reason === null) continue;
      const j = this.#byRule.get(a.rule);
      const i = j?.find(a.subject) ?? -1;
      const s = i < 0 ? null : j!.subjects[i]!;
      a.open = false;
      a.endedAt = t;
      a.closed = reason;
      this.#emit({ a, j: j ?? null, s, t, around }, 'closed', a.level, reason);
      if (s !== null) {
        j!.forget(i);
        for (const e of s.evidence) e.up = false;
      }
    }
    return this.#events;
  }

  /** After a restart: what was open says nothing until it has been judged again. */
  restart(t: StreamMs): void {
    this.state.startedAt = t;
    for (const a of Object.values(this.state.alerts)) a.restored = a.open;
  }

  #decide(j: Judgement, s: Subject, t: StreamMs, around: Surroundings): void {
    const { key } = s;
    const level = j.level(s);
    const a = this.state.alerts[key];
    if (level === 0 && a === undefined && !j.rule.silence) return;
    const by = this.#mutedBy(j, s, level, around);
    if (by !== null && j.rule.silence) j.forget(j.find(s.name));
    if (level === 0 && a === undefined) return;
    const waits = this.#waits(key, j, s, t, level, by, a);
    if (a?.open) this.#decideOpen({ a, j, s, t, level, waits, around });
    else this.#decideNew(key, a, { j, s, t, level, waits, around });
  }

  /** Withholds `raised` and `worse`: while muted and 30 s longer, and until the causes were judged once after a start. */
  #waits(key: string, j: Judgement, s: Subject, t: StreamMs, level: Level, by: string | null, a?: AlertState): boolean {
    const muted = this.state.muted;
    if (by !== null && level > 0) {
      muted[key] = { mutedAt: t };
      if (level > (a?.open ? a.level : 0)) {
        const from = by === 'cranking' ? 'air-low' : (by as RuleName);
        this.#muted.push({ rule: j.rule.name, subject: s.name, urgency: urgencyOf(level), by: from });
      }
      return true;
    }
    const last = muted[key];
    if (last !== undefined) {
      if (t - last.mutedAt < AFTER_MUTE_MS) return true;
      delete muted[key];
    }
    if (t - this.state.startedAt >= AWAIT_CAUSES_MS) return false;
    return this.#awaited.get(j.rule.name)!.some((cause) => !this.#wasJudged(cause));
  }

  #wasJudged(j: Judgement): boolean {
    if (j.subjects.length === 0) return true;
    return j.subjects.some((s) => j.judgedAt(s) >= this.state.startedAt);
  }

  #decideNew(key: string, a: AlertState | undefined, now: Omit<Case, 'a'>): void {
    const { j, s, t, level, waits } = now;
    if (level === 0 || waits) {
      if (a !== undefined && t - a.endedAt > FORGET_MS) delete this.state.alerts[key];
      return;
    }
    if (a !== undefined && a.closed === '' && t - a.endedAt <= REOPEN_MS) {
      a.open = true;
      a.endedAt = NEVER;
      this.#rise({ ...now, a }, 'reopened');
      return;
    }
    const alert = newAlert(this.state.nextOrdinal++, j.rule.name, s.name, s.place, t);
    this.state.alerts[key] = alert;
    this.#rise({ ...now, a: alert }, 'raised');
  }

  #rise(now: Case, change: Change): void {
    const { a, t, level } = now;
    a.level = level;
    if (level > a.worst) a.worst = level;
    this.#emit(now, change);
    if (followReversals(a.chatter, t, level)) this.#emit(now, 'chattering');
  }

  #decideOpen(now: Case): void {
    const { a, j, s, t, level } = now;
    this.#decideSure(now);
    if (a.restored) {
      if (j.judgedAt(s) < this.state.startedAt && !a.unsure) return;
      a.restored = false;
    }
    if (followReversals(a.chatter, t, level)) {
      if (level > a.worst) this.#move(now);
      this.#emit(now, 'chattering');
      return;
    }
    if (a.chatter.on) this.#decideChattering(now);
    else if (level !== a.level) this.#move(now);
  }

  /** Announces the level that holds now. */
  #move(now: Case): void {
    const { a, t, level } = now;
    if (level > a.level && now.waits) return;
    const was = a.level;
    if (level === 0) {
      a.open = false;
      a.endedAt = t;
      this.#emit(now, 'cleared', was);
      return;
    }
    a.level = level;
    if (level > a.worst) a.worst = level;
    this.#emit(now, level > was ? 'worse' : 'better', was);
  }

  /** Falls and clears are withheld, a rise to a level not reached before is announced; ends after 10 calm minutes. */
  #decideChattering(now: Case): void {
    const { a, j, s, t, level, waits } = now;
    if (level > a.worst) this.#move(now);
    if (j.fresh(s, t)) a.chatter.calmMs += TICK_MS;
    if (a.chatter.calmMs < CALM_MS || (waits && level > a.level)) return;
    a.chatter.on = false;
    a.chatter.reversalsAt = [];
    a.chatter.calmMs = 0;
    if (level === a.level) this.#emit(now, 'sure');
    else this.#move(now);
  }

  #decideSure(now: Case): void {
    const { a, j, s, t, around } = now;
    const { expected, kind } = j.rule;
    const blind = around.blind && kind === 'equipment';
    if (a.unsure) {
      if (blind || j.judgedAt(s) <= a.unsureAt || !j.fresh(s, t)) return;
      a.unsure = false;
      a.staleAt = NEVER;
      a.restored = false;
      this.#emit(now, 'sure');
      return;
    }
    const isExpected = expected === 'moving' ? around.moving : expected === 'engine-running' && around.engineRunning;
    if (!isExpected || j.fresh(s, t)) a.staleAt = NEVER;
    else if (a.staleAt === NEVER) a.staleAt = t;
    if (!blind && !(a.staleAt > NEVER && t - a.staleAt >= UNSURE_MS)) return;
    a.unsure = true;
    a.unsureAt = t;
    a.restored = false;
    this.#emit(now, 'unsure');
  }

  /** Does a rule hold on this subject now? A restored alert that was not judged yet holds as it was. */
  #present(j: Judgement, s: Subject): Level {
    const level = j.level(s);
    const a = this.state.alerts[s.key];
    return a?.restored && a.level > level ? a.level : level;
  }

  #mutedBy(j: Judgement, s: Subject, level: Level, around: Surroundings): string | null {
    for (const row of MUTES) {
      if (row.mutes !== j.rule.name || level > row.upTo) continue;
      if (row.when === 'cranking') {
        if (around.cranking) return row.when;
        continue;
      }
      const cause = this.#byRule.get(row.when);
      if (cause === undefined) continue;
      for (const c of cause.subjects) {
        if (related(row.scope, c.name, s.name) && this.#present(cause, c) >= row.least) return row.when;
      }
    }
    return null;
  }

  /** Ordinal of the open alert that explains this one. */
  #causeOf(j: Judgement, s: Subject): number | null {
    for (const row of CAUSES) {
      if (row.of !== j.rule.name) continue;
      const found = this.#openOf(row.cause, (subject) => related(row.scope, subject, s.name));
      if (found !== null) return found;
    }
    if (j.rule.family !== 'faults') return null;
    const area = this.#areaOf(s.name);
    for (const rule of (area !== null && FAULT_CAUSES[area]) || []) {
      const found = this.#openOf(rule, () => true);
      if (found !== null) return found;
    }
    return null;
  }

  #openOf(rule: RuleName, belongs: (subject: string) => boolean): number | null {
    let found: AlertState | null = null;
    for (const a of Object.values(this.state.alerts)) {
      if (a.rule !== rule || !a.open || !belongs(a.subject)) continue;
      if (found === null || a.level > found.level || (a.level === found.level && a.ordinal < found.ordinal)) found = a;
    }
    return found?.ordinal ?? null;
  }

  #emit(now: EventCase, change: Change, was: Level = 0, reason: CloseReason | null = null): void {
    const { a, j, s, t, around } = now;
    const ended = change === 'cleared' || change === 'closed';
    const urgency = urgencyOf(ended ? a.worst : a.level);
    const known = j !== null && s !== null;
    const description = known ? j.describe(s, t, a.level) : { measured: null };
    this.#events.push({
      t,
      alert: a.ordinal,
      cause: known ? this.#causeOf(j, s) : null,
      rule: a.rule,
      kind: ruleNamed(a.rule)?.kind ?? 'equipment',
      subject: a.subject,
      place: a.place,
      change,
      reason,
      urgency,
      was: was === 0 ? null : urgencyOf(was),
      sinceAgoMs: t - a.raisedAt,
      trailer: around.trailer,
      measured: description.measured,
      evidence: description.evidence ?? null,
      forecast: description.forecast ?? null,
      advice: adviceFor(a.rule, change, urgency),
      basis: known ? j.basis(s, levelOf(urgency)) : 'common practice',
      vehicle: around.vehicle(),
    });
  }
}
