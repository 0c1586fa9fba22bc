import type { TruckConfig } from '../../config/resolved.js';
import type { Judgement } from '../alerts/judgement.js';
import { pgnOf } from '../j1939/identifier.js';
import { AIR_GROUPS } from '../j1939/signals-air.js';
import { BRAKE_GROUPS } from '../j1939/signals-brakes.js';
import { TIRE_GROUPS } from '../j1939/signals-tires.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import { placeOf } from '../truck/subjects.js';
import type { TickFacts } from './monitor.js';

/** Sources watched at once, of all buses; a flood of invented addresses must not fill the memory. */
export const MAX_SOURCES = 64;
/** Heard in so many seconds over a minute of running engine, a source is one of the truck's: a stray frame makes none. */
const PROVEN_SECONDS = 5;
const PROVEN_MS = 60_000;
/** One that is not proven is forgotten after so long. */
const FORGET_MS = 300_000;
/** Extra signals have no interval of their own in the truck file. */
const EXTRA_MS = 10_000;
/** Learned intervals: an eighth of each pause that a second can show, back at a sixty-fourth a second; never more than a minute. */
const LEARN = 1 / 8;
const UNLEARN = 1 / 64;
const MOST_INTERVAL_MS = 60_000;

/** A sender of tire, brake or air messages. Plain data. */
export interface SourceState {
  firstAt: StreamMs;
  heardAt: StreamMs;
  /** Seconds of running engine in which it was heard, counted as far as needed. */
  heardS: number;
  /** Slowest regular interval of the fastest of its groups, as the standard has it, and the pauses it really makes. */
  nominalMs: number;
  intervalMs: number;
  /** Nothing but tire messages: those may rest while the truck stands. */
  tiresOnly: boolean;
  /** Expected, and not heard, while others were. */
  silentMs: number;
}

interface Watched {
  intervalMs: number;
  isTire: boolean;
}

/** Groups that make their sender one to be watched; those on request are no habit. */
function watchedGroups(signals: TruckConfig['signals']): Map<number, Watched> {
  const watched = new Map<number, Watched>();
  for (const { pgn, subject } of signals) {
    const isTire = subject.split('/').length > 3;
    watched.set(pgn, { intervalMs: EXTRA_MS, isTire: isTire && watched.get(pgn)?.isTire !== false });
  }
  for (const { pgn, intervalMs } of [...BRAKE_GROUPS, ...AIR_GROUPS])
    if (intervalMs !== null) watched.set(pgn, { intervalMs, isTire: false });
  for (const { pgn, intervalMs } of TIRE_GROUPS)
    if (intervalMs !== null) watched.set(pgn, { intervalMs, isTire: true });
  return watched;
}

/** Rule source-silent: a control unit that used to send tire, brake or air messages says nothing at all any more. */
export class SourceSilent {
  readonly #rule: Judgement;
  readonly #buses: readonly string[];
  /** By subject. */
  readonly #states: Record<string, SourceState>;
  /** By bus << 8 | source address. */
  readonly #byNumber: (SourceState | undefined)[] = [];
  #known: number;
  readonly #watched: Map<number, Watched>;
  readonly #counters: { sourcesDropped: number };

  /** counters: sources that found no room. */
  constructor(
    rule: Judgement,
    config: TruckConfig,
    states: Record<string, SourceState>,
    counters: { sourcesDropped: number },
  ) {
    this.#rule = rule;
    this.#counters = counters;
    this.#buses = config.buses.map((bus) => bus.name);
    this.#states = states;
    this.#watched = watchedGroups(config.signals);
    this.#known = Object.keys(states).length;
    for (let n = 0; n < this.#buses.length << 8; n++) this.#byNumber.push(states[this.subject(n)]);
    for (const [subject, s] of Object.entries(states)) if (isProven(s)) rule.add(subject, placeOf(subject));
    rule.describe = (s, t) => {
      const { heardAt, silentMs } = this.#states[s.name]!;
      return { measured: { silentS: Math.round((heardAt === NEVER ? silentMs : t - heardAt) / 1000) } };
    };
    rule.onReset = (s) => {
      this.#states[s.name]!.silentMs = 0;
    };
  }

  /** @param source bus << 8 | source address */
  subject(source: number): string {
    return `source/${this.#buses[source >> 8]}/${source & 0xff}`;
  }

  /** A frame of interest. */
  frame(t: StreamMs, bus: number, id: number): void {
    const number = (bus << 8) | (id & 0xff);
    const known = this.#byNumber[number];
    const watched = this.#watched.get(pgnOf(id));
    if (known === undefined) {
      if (watched !== undefined) this.#meet(t, number, watched);
      return;
    }
    known.heardAt = t;
    if (watched === undefined) return;
    if (watched.intervalMs < known.nominalMs) known.nominalMs = watched.intervalMs;
    if (!watched.isTire) known.tiresOnly = false;
  }

  /** @param heardAt last frame of interest of anybody */
  tick({ t, moving, engineRunning }: TickFacts, heardAt: StreamMs): void {
    const isAnyHeard = t - heardAt <= TICK_MS;
    for (const subject in this.#states) {
      const s = this.#states[subject]!;
      if (t - s.heardAt <= TICK_MS) this.#heard(subject, s, t, engineRunning);
      else if (!engineRunning || !isAnyHeard) s.silentMs = 0;
      else if (moving || !s.tiresOnly) this.#missed(subject, s, t);
      if (!isProven(s) && t - s.heardAt > FORGET_MS) this.#forget(subject);
    }
  }

  /** Nothing that was heard is fresh any more. */
  quiesce(): void {
    for (const s of Object.values(this.#states)) s.silentMs = 0;
  }

  #meet(t: StreamMs, number: number, { intervalMs, isTire }: Watched): void {
    if (this.#known >= MAX_SOURCES) {
      this.#counters.sourcesDropped++;
      return;
    }
    this.#known++;
    const s: SourceState = {
      firstAt: t,
      heardAt: t,
      heardS: 0,
      nominalMs: intervalMs,
      intervalMs: 0,
      tiresOnly: isTire,
      silentMs: 0,
    };
    this.#states[this.subject(number)] = s;
    this.#byNumber[number] = s;
  }

  #forget(subject: string): void {
    this.#byNumber[this.#byNumber.indexOf(this.#states[subject])] = undefined;
    delete this.#states[subject];
    this.#known--;
  }

  #heard(subject: string, s: SourceState, t: StreamMs, engineRunning: boolean): void {
    const isBack = s.silentMs >= this.#limitMs(s);
    if (s.silentMs > 0 && !isBack) s.intervalMs += (Math.min(s.silentMs, MOST_INTERVAL_MS) - s.intervalMs) * LEARN;
    else s.intervalMs -= s.intervalMs * UNLEARN;
    s.silentMs = 0;
    if (engineRunning && !isProven(s)) {
      const isLong = t - s.firstAt >= PROVEN_MS;
      if (s.heardS + 1 < PROVEN_SECONDS || isLong) s.heardS++;
      if (isProven(s)) this.#prove(subject, s);
    }
    const i = this.#rule.find(subject);
    if (i >= 0) this.#rule.state(i, 0, t, Math.max(2 * TICK_MS, 3 * s.nominalMs), false, true);
  }

  /** Proven sources stand in the order in which they were: a state that is taken up again decides in the same order. */
  #prove(subject: string, s: SourceState): void {
    delete this.#states[subject];
    this.#states[subject] = s;
    this.#rule.add(subject, placeOf(subject));
  }

  #missed(subject: string, s: SourceState, t: StreamMs): void {
    s.silentMs += TICK_MS;
    const i = this.#rule.find(subject);
    if (i >= 0 && s.silentMs >= this.#limitMs(s)) this.#rule.verdict(i, 0, t, true, false);
  }

  #limitMs(s: SourceState): number {
    const intervalMs = Math.max(s.nominalMs, s.intervalMs);
    return Math.max(this.#rule.constant('minS') * 1000, this.#rule.constant('intervals') * intervalMs);
  }
}

const isProven = (s: SourceState): boolean => s.heardS >= PROVEN_SECONDS;
