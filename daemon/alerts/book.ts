import type { Mark, RuleName } from '../../config/resolved.js';
import type { Decision } from '../input.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import {
  type AlertState,
  CALM_MS,
  complete,
  end,
  endSnooze,
  FORGET_MS,
  followReversals,
  isMissed,
  newAlert,
  REOPEN_MS,
  reach,
} from './alert.js';
import type { BookState, Surroundings } from './book-state.js';
import { causeOf, type FaultAreaOf } from './causes.js';
import { decide, isSnoozed, saidBy } from './decisions.js';
import { draftOf, openAlertOf } from './draft.js';
import type { Change, CloseReason, EventDraft, OpenDraft } from './event.js';
import { type Judgement, type Level, type Subject, urgencyOf } from './judgement.js';
import { Muting } from './muting.js';
import { awaitedBy } from './relations.js';
import { sortByTable } from './rules.js';

/** Consequences wait at most this long after a start for their causes' first judgement. */
const AWAIT_CAUSES_MS = 20_000;

/** One alert with what is true of it at this tick. */
interface Case {
  a: AlertState;
  j: Judgement;
  s: Subject;
  t: StreamMs;
  level: Level;
  /** `raised`, `worse` and `reopened` are withheld. */
  waits: boolean;
  around: Surroundings;
}

/** An alert may outlive its rule or subject: it can still be closed. */
type EventCase = Pick<Case, 'a' | 't' | 'around'> & { j: Judgement | null; s: Subject | null };

/**
 * All open alerts and what happens to them. Frames never reach it: levels, muting, chattering and events are decided
 * at ticks only.
 */
export class Book {
  readonly state: BookState;
  readonly #judgements: readonly Judgement[];
  readonly #byRule = new Map<RuleName, Judgement>();
  readonly #muting: Muting;
  readonly #areaOf: FaultAreaOf;
  #events: EventDraft[] = [];
  /** Decisions of the last tick that could not be applied. */
  refused = 0;

  constructor(judgements: readonly Judgement[], state: BookState, areaOf: FaultAreaOf) {
    this.state = state;
    this.#areaOf = areaOf;
    this.#judgements = judgements;
    complete(state.alerts);
    for (const j of judgements) this.#byRule.set(j.rule.name, j);
    this.#muting = new Muting(state.muted, state.alerts, this.#byRule);
  }

  /**
   * Decides everything at tick t; the events in the order of the rule table and then of the layout.
   * decisions: of the office, in their order; what they change is told before what was measured.
   */
  tick(t: StreamMs, around: Surroundings, decisions: readonly Decision[] = []): EventDraft[] {
    this.#events = [];
    this.#muting.begin(t);
    this.#applyDecisions(t, around, decisions);
    this.#endAsked(t, around);
    const anyAsked = this.#events.length > 0;
    for (const j of this.#judgements) j.settle(t);
    for (const j of this.#judgements) for (const s of j.subjects) this.#decide(j, s, t, around);
    if (anyAsked) sortByTable(this.#events, (e) => this.#byRule.get(e.rule)?.find(e.subject) ?? -1);
    return this.#events;
  }

  /** True once for each change of the list of muted findings. */
  mutedChanged(): boolean {
    const now = this.#muting.list.map((m) => `${m.rule} ${m.subject} ${m.urgency}`).join('|');
    const changed = now !== this.state.listed;
    this.state.listed = now;
    return changed;
  }

  openDraft(t: StreamMs, trailer: string | null, notJudged: Mark[] = []): OpenDraft {
    const open = Object.values(this.state.alerts).filter((a) => a.open);
    open.sort((a, b) => b.level - a.level || a.raisedAt - b.raisedAt || a.ordinal - b.ordinal);
    const alerts = open.map((a) => {
      const { j, s } = this.#find(a);
      return openAlertOf(a, j, s, t, this.#causeOf(j, s));
    });
    return { t, trailer, alerts, muted: this.#muting.list, notJudged };
  }

  /** Number of alerts that have ever been raised. */
  get raised(): number {
    return this.state.nextOrdinal - 1;
  }

  /** Open alerts for which `why` gives a reason are closed at the next tick. */
  close(why: (a: AlertState) => CloseReason | null): void {
    for (const a of Object.values(this.state.alerts)) if (a.open) a.closing = why(a) ?? a.closing;
  }

  /**
   * After a restart: what was open says nothing until it has been judged again, and its data are missed from now on.
   * Nobody knows whether a snooze is over when nobody knows how long the program was down: then it is.
   */
  restart(t: StreamMs, isLengthKnown: boolean): void {
    this.state.startedAt = t;
    for (const a of Object.values(this.state.alerts)) {
      a.restored = a.open;
      a.staleAt = NEVER;
      if (!isLengthKnown && isSnoozed(a)) a.snoozeEndsAt = t;
    }
  }

  #applyDecisions(t: StreamMs, around: Surroundings, decisions: readonly Decision[]): void {
    this.refused = 0;
    for (const d of decisions) {
      const a = Object.values(this.state.alerts).find((x) => x.ordinal === d.alert && x.open);
      const change = a === undefined ? null : decide(a, d, t, around.standing);
      if (a === undefined || change === null) this.refused++;
      else if (change === 'closed') this.#close(a, t, around, 'said-repaired', d);
      else this.#emit({ a, ...this.#find(a), t, around }, change, 0, null, d);
    }
  }

  /** What was asked to be closed, and snoozes that are over. */
  #endAsked(t: StreamMs, around: Surroundings): void {
    // Every second of a truck's life: no lists are made for nothing.
    for (const key in this.state.alerts) {
      const a = this.state.alerts[key]!;
      if (!a.open && t - a.endedAt > FORGET_MS) delete this.state.alerts[key];
      if (!a.open) continue;
      if (a.closing !== '') this.#close(a, t, around, a.closing);
      else if (isSnoozed(a) && (t >= a.snoozeEndsAt || around.tripBegan)) {
        endSnooze(a);
        this.#emit({ a, ...this.#find(a), t, around }, 'resumed');
      }
    }
  }

  /** Closing is not clearing: evidence is reset, and the same condition raises a new alert. */
  #close(a: AlertState, t: StreamMs, around: Surroundings, why: CloseReason, by: Decision | null = null): void {
    const { j, s } = this.#find(a);
    end(a, t, why);
    this.#emit({ a, j, s, t, around }, 'closed', a.level, why, by);
    if (j !== null && s !== null) j.reset(j.find(s.name));
  }

  #decide(j: Judgement, s: Subject, t: StreamMs, around: Surroundings): void {
    const { key } = s;
    const level = j.level(s);
    const a = this.state.alerts[key];
    const announced = a?.open ? a.level : 0;
    if (level === 0 && a === undefined && !j.rule.silence) return;
    const row = this.#muting.rowOf(j, s, level, around.cranking);
    if (row !== null && j.rule.silence && announced === 0) {
      j.reset(j.find(s.name));
      return;
    }
    if (level === 0 && a === undefined) return;
    const waits = this.#muting.withholds(row, s, j.rule.name, t, level, announced) || this.#awaitsCauses(j, t);
    if (a?.open) this.#decideOpen({ a, j, s, t, level, waits, around });
    // What was withheld and is about to end is not worth a beginning.
    else if (level > 0 && !waits && !j.isLeaving(s, level)) this.#begin(a, { j, s, t, level, waits, around });
  }

  #awaitsCauses(j: Judgement, t: StreamMs): boolean {
    if (t - this.state.startedAt >= AWAIT_CAUSES_MS) return false;
    return awaitedBy(j.rule.name).some(
      (cause) => this.#byRule.get(cause)?.wasJudgedSince(this.state.startedAt) === false,
    );
  }

  /** A new alert, or one that comes back soon after it was cleared. */
  #begin(before: AlertState | undefined, now: Omit<Case, 'a'>): void {
    const { j, s, t } = now;
    if (before !== undefined && before.closed === '' && t - before.endedAt <= REOPEN_MS) {
      before.open = true;
      before.endedAt = NEVER;
      this.#rise({ ...now, a: before }, 'reopened');
      return;
    }
    const a = newAlert(this.state.nextOrdinal++, j.rule.name, s.name, s.place, t);
    this.state.alerts[s.key] = a;
    this.#rise({ ...now, a }, 'raised');
  }

  #rise(now: Case, change: Change): void {
    const { a, t, level } = now;
    reach(a, level);
    this.#emit(now, change);
    if (followReversals(a.chatter, t, level)) this.#emit(now, 'chattering');
  }

  #decideOpen(now: Case): void {
    const { a, j, s, t, level } = now;
    this.#decideSure(now);
    if (a.restored) {
      if (j.judgedAt(s) < this.state.startedAt) return;
      a.restored = false;
    }
    const begins = followReversals(a.chatter, t, level);
    if (a.chatter.on) this.#decideChattering(now);
    else if (level !== a.level) this.#move(now);
    if (begins) this.#emit(now, 'chattering');
  }

  /** Announces the level that holds now. */
  #move(now: Case): void {
    const { a, t, level } = now;
    if (level > a.level && now.waits) return;
    const was = a.level;
    if (level === 0) {
      end(a, t, '');
      this.#emit(now, 'cleared', was);
      return;
    }
    reach(a, level);
    this.#emit(now, level > was ? 'worse' : 'better', was);
  }

  /**
   * Falls and clears are withheld, so that what was announced last is the worst since the chattering began; a rise above
   * it is announced. Ends after ten calm minutes with one event.
   */
  #decideChattering(now: Case): void {
    const { a, j, s, t, level, waits } = now;
    if (level > a.level) this.#move(now);
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
    if (!isMissed(a, t, isExpected && !j.fresh(s, t)) && !blind) return;
    a.unsure = true;
    a.unsureAt = t;
    a.restored = false;
    this.#emit(now, 'unsure');
  }

  #find(a: AlertState): { j: Judgement | null; s: Subject | null } {
    const j = this.#byRule.get(a.rule) ?? null;
    return { j, s: j?.subjects[j.find(a.subject)] ?? null };
  }

  #causeOf(j: Judgement | null, s: Subject | null): number | null {
    if (j === null || s === null) return null;
    return causeOf(this.state.alerts, j.rule, s.name, this.#areaOf);
  }

  #emit(
    now: EventCase,
    change: Change,
    was: Level = 0,
    reason: CloseReason | null = null,
    by: Decision | null = null,
  ): void {
    const { a, j, s, t } = now;
    const { trailer, vehicle } = now.around;
    this.#events.push({
      ...draftOf(a, j, s, t, change),
      cause: this.#causeOf(j, s),
      was: was === 0 ? null : urgencyOf(was),
      reason,
      ...saidBy(by),
      trailer,
      vehicle: vehicle(),
    });
  }
}
