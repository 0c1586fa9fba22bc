import { NEVER, type StreamMs, type WallMs } from '../time.js';
import { MOST_START_READINGS, type TireReading, type Tires } from '../truck/tires.js';
import { medianInPlace } from './arithmetic/median.js';
import { theilSen } from './arithmetic/theil-sen.js';
import type { DualsUnequal } from './duals-unequal.js';
import type { Workbench } from './monitor.js';
import type { DailyFall } from './tire-forecast.js';
import type { TireLosingAir } from './tire-losing-air.js';

/** Parked this long, a tire is cold (T-40). */
export const COLD_AFTER_MS = 3 * 3_600_000;
/** Baseline readings are those of the first three minutes. */
const COLLECT_MS = 180_000;
const LEAST_READINGS = 2;
const LEAST_PEERS = 3;
const DAY_MS = 86_400_000;
const HOUR_MS = 3_600_000;

export interface StartHistory {
  /** Calendar time of each cold start: slow leaks run over days, the one thing that stream time cannot measure. */
  calendarMs: WallMs[];
  coldKpa: number[];
  /** Less what it would be like its peers; null with fewer than three of them. */
  offPeersKpa: (number | null)[];
}

/** Cold starts of a run whose clock is not known to be right yet; a run that never learns it has had none. */
export interface WaitingStarts {
  startedAt: StreamMs[];
  coldKpa: number[];
  offPeersKpa: (number | null)[];
}

export interface ColdStartState {
  collectingAt: StreamMs;
  /** By tire subject. */
  starts: Record<string, StartHistory>;
  waiting: Record<string, WaitingStarts>;
}

export const newColdStarts = (): ColdStartState => ({ collectingAt: NEVER, starts: {}, waiting: {} });

interface SlowConstants {
  minStarts: number;
  maxStarts: number;
  minHours: number;
  addedAirKpa: number;
}

/** Baselines of all tires after a cold start, and the slow leaks that only show from one cold start to the next. */
export class ColdStarts {
  readonly #tires: Tires;
  readonly #state: ColdStartState;
  readonly #subjects: string[];
  readonly #losing: TireLosingAir | undefined;
  readonly #duals: DualsUnequal | undefined;
  readonly #slow: SlowConstants | null;

  constructor(bench: Workbench, state: ColdStartState, losing?: TireLosingAir, duals?: DualsUnequal) {
    this.#tires = bench.tires;
    this.#state = state;
    this.#subjects = bench.layout.tires.map((tire) => tire.subject);
    this.#losing = losing;
    this.#duals = duals;
    const rule = bench.judgement('tire-losing-air');
    this.#slow = rule
      ? {
          minStarts: rule.constant('slowMinStarts'),
          maxStarts: rule.constant('slowMaxStarts'),
          minHours: rule.constant('slowMinHours'),
          addedAirKpa: rule.constant('addedAirKpa'),
        }
      : null;
  }

  /** The truck wakes; the tires are cold when it stood long enough. */
  wake(t: StreamMs, stoodMs: number): void {
    if (stoodMs < COLD_AFTER_MS) return;
    this.#state.collectingAt = t;
    for (const s of this.#tires.states) {
      s.startPressures = [];
      s.startColds = [];
      s.baseAbsoluteKpa = -1;
      s.baseColdKpa = -1;
    }
  }

  reading(r: TireReading): void {
    if (this.#state.collectingAt === NEVER || Number.isNaN(r.coldKpa)) return;
    const s = this.#tires.states[r.tire]!;
    if (s.startColds.length >= MOST_START_READINGS) return;
    s.startPressures.push(r.kpa + this.#tires.air(r.tire, r.t));
    s.startColds.push(r.coldKpa);
  }

  /** @param calendarMs wall time of this tick where the clock of the run is known to be right, else null */
  tick(t: StreamMs, calendarMs: WallMs | null): void {
    if (this.#state.collectingAt === NEVER || t - this.#state.collectingAt < COLLECT_MS) return;
    this.#state.collectingAt = NEVER;
    for (const s of this.#tires.states) {
      if (s.startColds.length >= LEAST_READINGS) {
        s.baseAbsoluteKpa = medianInPlace(s.startPressures);
        s.baseColdKpa = medianInPlace(s.startColds);
      }
      s.startPressures = [];
      s.startColds = [];
    }
    this.#duals?.coldStart(t);
    for (const [i, { baseColdKpa: cold }] of this.#tires.states.entries()) {
      if (this.#slow === null || cold < 0) continue;
      const peers = this.#peerMedian(i);
      const off = peers === null ? null : cold - peers;
      if (calendarMs === null) this.#wait(i, t, cold, off);
      else this.#judgeSlow(i, t, calendarMs, this.#add(i, calendarMs, cold, off));
    }
  }

  /** The calendar is known from now on: so are the dates of this run's cold starts. Those that have one keep it. */
  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    for (const [i, subject] of this.#subjects.entries()) {
      const w = this.#state.waiting[subject];
      if (w === undefined) continue;
      delete this.#state.waiting[subject];
      let h: StartHistory | null = null;
      for (const [k, at] of w.startedAt.entries()) {
        h = this.#add(i, zeroCalendarMs + at, w.coldKpa[k]!, w.offPeersKpa[k]!);
      }
      if (h !== null) this.#judgeSlow(i, t, zeroCalendarMs + t, h);
    }
  }

  #wait(i: number, t: StreamMs, cold: number, off: number | null): void {
    this.#state.waiting[this.#subjects[i]!] ??= { startedAt: [], coldKpa: [], offPeersKpa: [] };
    const w = this.#state.waiting[this.#subjects[i]!]!;
    w.startedAt.push(t);
    w.coldKpa.push(cold);
    w.offPeersKpa.push(off);
    if (w.startedAt.length > (this.#slow?.maxStarts ?? 0)) for (const list of Object.values(w)) list.shift();
  }

  #add(i: number, calendarMs: WallMs, cold: number, off: number | null): StartHistory {
    const subject = this.#subjects[i]!;
    this.#state.starts[subject] ??= { calendarMs: [], coldKpa: [], offPeersKpa: [] };
    const h = this.#state.starts[subject];
    const before = h.coldKpa.at(-1);
    // Somebody added air: what was before says nothing about the leak.
    if (before !== undefined && cold - before >= (this.#slow?.addedAirKpa ?? 0)) clear(h);
    h.calendarMs.push(calendarMs);
    h.coldKpa.push(cold);
    h.offPeersKpa.push(off);
    if (h.coldKpa.length > (this.#slow?.maxStarts ?? 0)) for (const list of Object.values(h)) list.shift();
    return h;
  }

  /** @param nowMs of the calendar, at t */
  #judgeSlow(i: number, t: StreamMs, nowMs: WallMs, h: StartHistory): void {
    if (this.#slow === null) return;
    const spanMs = h.calendarMs.at(-1)! - h.calendarMs[0]!;
    if (h.coldKpa.length < this.#slow.minStarts || spanMs < this.#slow.minHours * HOUR_MS) return;
    const own = perDay(h.calendarMs, h.coldKpa);
    const off = perDay(h.calendarMs, h.offPeersKpa);
    if (own === null || off === null) return;
    this.#losing?.slow(i, t, {
      judged: off.kpaPerDay < own.kpaPerDay ? off : own,
      own,
      fallenKpa: Math.min(fallen(h.coldKpa), fallen(h.offPeersKpa as number[])),
      coldKpa: h.coldKpa.at(-1)!,
      startedAt: t - (nowMs - h.calendarMs.at(-1)!),
    });
  }

  /** What the tire would have now if it had kept its air as its peers have. */
  #peerMedian(i: number): number | null {
    const peers = this.#tires.peers[i]!;
    const values = peers.length < LEAST_PEERS ? this.#likeOthers(i) : this.#basesOf(peers);
    return values.length < LEAST_PEERS ? null : medianInPlace(values);
  }

  #basesOf(tires: readonly number[]): number[] {
    return tires.map((k) => this.#tires.states[k]!.baseColdKpa).filter((kpa) => kpa >= 0);
  }

  /**
   * Steer tires are two. On a cold morning all tires have the temperature of the weather, whatever their kind: each other tire
   * says by its share of its own target. Always all of them, or a tire that is not heard one morning would move the median.
   */
  #likeOthers(i: number): number[] {
    const target = this.#tires.target(i);
    return this.#tires.states
      .map(
        ({ baseColdKpa }, k) =>
          (k === i || baseColdKpa < 0 ? Number.NaN : baseColdKpa / this.#tires.target(k)) * target,
      )
      .filter((kpa) => !Number.isNaN(kpa));
  }
}

function clear(h: StartHistory): void {
  h.calendarMs = [];
  h.coldKpa = [];
  h.offPeersKpa = [];
}

/** Limits are meant to a tenth; beyond it is what binary fractions leave. */
const toTenth = (kpa: number): number => Math.round(kpa * 10) / 10;

const fallen = (kpa: readonly number[]): number => toTenth(kpa[0]! - kpa.at(-1)!);

/** How fast it falls; null when a value is missing. */
function perDay(at: number[], values: (number | null)[]): DailyFall | null {
  if (values.some((v) => v === null)) return null;
  const slope = theilSen(at, values as number[]);
  if (slope === null) return null;
  const fall = (perMs: number): number => toTenth(-perMs * DAY_MS);
  return { kpaPerDay: fall(slope.slope), lowKpaPerDay: fall(slope.high), highKpaPerDay: fall(slope.low) };
}
