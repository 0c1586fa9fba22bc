import { strokeLimit } from '../../config/chambers.js';
import type { Forecast } from '../alerts/event.js';
import type { Description, Judgement, Subject } from '../alerts/judgement.js';
import type { StreamMs, WallMs } from '../time.js';
import type { WheelEnd } from '../truck/layout.js';
import { medianInPlace } from './arithmetic/median.js';
import { MAX_POINTS, type Slope, theilSen } from './arithmetic/theil-sen.js';
import { tellsStroke, toStep, type WheelEndState } from './brake-state.js';
import { evidencePoints, type Workbench } from './monitor.js';

const HOUR_MS = 3_600_000;
const DAY_MS = 24 * HOUR_MS;
/**
 * A day's work is one point, its least stroke. Heat only ever adds: a hot drum is wider, by up to 10 mm (B-40). The mean of
 * an hour, or the median of a day, cried four times as often in simulated months of mountain driving.
 */
const POINT_MS = 16 * HOUR_MS;
/** A stroke below all of the last so many points by `adjustedMm`: somebody has adjusted the brake. */
const BEFORE_POINTS = 3;
const MM_PER_INCH = 25.4;
/** Further than a year nobody forecasts. */
const MOST_MS = 365 * DAY_MS;

/** Strokes in the judged pressure band, at most MAX_POINTS days, oldest first. Plain data. */
export interface GrowthState {
  /** Calendar time of the first application of each day: growth takes days, which stream time cannot measure. */
  calendarMs: WallMs[];
  /** Least strokes, and of how many applications. */
  strokeMm: number[];
  applications: number[];
  /** The same of a run whose clock is not known to be right yet; a run that never learns it has had none. */
  waitingAt: StreamMs[];
  waitingMm: number[];
  waitingApplications: number[];
}

/** The days that say something. */
type Points = Pick<GrowthState, 'calendarMs' | 'strokeMm' | 'applications'>;

export const newGrowth = (): GrowthState => ({
  calendarMs: [],
  strokeMm: [],
  applications: [],
  waitingAt: [],
  waitingMm: [],
  waitingApplications: [],
});

/** Rule brake-stroke-growing: an automatic adjuster holds the stroke; one that grows has a cause (B-39). */
export class StrokeGrowth {
  readonly #rule: Judgement;
  readonly #ends: readonly WheelEnd[];
  readonly #states: readonly WheelEndState[];
  /** Wall time of stream time 0; null: not known. */
  #zeroMs: WallMs | null = null;

  constructor(bench: Workbench, rule: Judgement, states: readonly WheelEndState[]) {
    this.#rule = rule;
    this.#ends = bench.layout.wheelEnds;
    this.#states = states;
    for (const [i, end] of this.#ends.entries()) rule.add(end.subject, end.place, i);
    rule.describe = (s, t) => this.#describe(s, t);
    rule.fresh = (s, t) => tellsStroke(states[s.index]!, t);
    rule.onReset = (s) => Object.assign(states[s.index]!.growth, newGrowth());
  }

  /** @param calendarMs wall time of this tick where the clock of the run is known to be right, else null */
  tick(t: StreamMs, calendarMs: WallMs | null): void {
    this.#zeroMs = calendarMs === null ? null : calendarMs - t;
    if (this.#zeroMs !== null) this.#dateWaiting(t, this.#zeroMs);
  }

  /** The greatest stroke of an application in the judged band. */
  applied(i: number, t: StreamMs, mm: number): void {
    const g = this.#states[i]!.growth;
    if (this.#zeroMs === null) addTo(g.waitingAt, g.waitingMm, g.waitingApplications, t, mm, 1);
    else {
      this.#add(g, this.#zeroMs + t, mm, 1);
      this.#judge(i, t);
    }
  }

  /** The calendar is known from now on: so are the dates of this run's applications. Those that have one keep it. */
  #dateWaiting(t: StreamMs, zeroCalendarMs: WallMs): void {
    for (let i = 0; i < this.#states.length; i++) {
      const g = this.#states[i]!.growth;
      const { waitingAt, waitingMm, waitingApplications } = g;
      if (waitingAt.length === 0) continue;
      g.waitingAt = [];
      g.waitingMm = [];
      g.waitingApplications = [];
      for (const [k, at] of waitingAt.entries()) {
        // What lies before the start of this run was left over by one that never knew the calendar.
        if (at >= 0) this.#add(g, zeroCalendarMs + at, waitingMm[k]!, waitingApplications[k]!);
      }
      this.#judge(i, t);
    }
  }

  #add(g: GrowthState, calendarMs: WallMs, mm: number, count: number): void {
    const before = g.strokeMm.slice(-BEFORE_POINTS);
    if (before.length === BEFORE_POINTS && toStep(Math.min(...before) - mm) >= this.#rule.constant('adjustedMm')) {
      g.calendarMs = [];
      g.strokeMm = [];
      g.applications = [];
    }
    const lists = [g.calendarMs, g.strokeMm, g.applications];
    // A clock that was set back leaves nothing of the future.
    while (g.calendarMs.at(-1)! > calendarMs) for (const list of lists) list.pop();
    addTo(g.calendarMs, g.strokeMm, g.applications, calendarMs, mm, count);
    // What is long past says nothing of how it grows now.
    const from = calendarMs - this.#rule.constant('windowS') * 1000;
    while (g.calendarMs[0]! < from) for (const list of lists) list.shift();
  }

  /** Each application stands by itself until the next one: both delays are counted as passed. */
  #judge(i: number, t: StreamMs): void {
    const points = this.#points(this.#states[i]!.growth);
    const applications = points.applications.reduce((a, b) => a + b, 0);
    if (applications < this.#rule.constant('minApplications')) return;
    if (points.calendarMs.length < this.#rule.constant('minDays')) return;
    const limit = this.#rule.limits[0]!;
    const earlyS = (this.#forecast(i, points.calendarMs.at(-1)!)?.fromMs ?? Number.POSITIVE_INFINITY) / 1000;
    this.#rule.verdict(i, 0, t, earlyS <= limit.raise, earlyS >= limit.clear);
  }

  /** Of a day with hardly an application all may have been hot: it says nothing of how the stroke is. */
  #points({ calendarMs, strokeMm, applications }: GrowthState): Points {
    const counts = (_: unknown, k: number): boolean => applications[k]! >= this.#rule.constant('minPerDay');
    return {
      calendarMs: calendarMs.filter(counts),
      strokeMm: strokeMm.filter(counts),
      applications: applications.filter(counts),
    };
  }

  /** Growth that is more than chance (Sen's interval lies above zero) and more than what heat and pressure make of it. */
  #growth(g: Points): Slope | null {
    const slope = theilSen(g.calendarMs, g.strokeMm);
    if (slope === null || !(slope.low > 0)) return null;
    const grown = slope.slope * (g.calendarMs.at(-1)! - g.calendarMs[0]!);
    return toStep(grown) >= this.#rule.constant('minGrowthMm') ? slope : null;
  }

  /** When the stroke reaches the limit of its chamber, from `nowMs` of the calendar on; null: it does not grow. */
  #forecast(i: number, nowMs: WallMs): Forecast | null {
    const { chamber } = this.#ends[i]!;
    const g = this.#points(this.#states[i]!.growth);
    const slope = chamber === null ? null : this.#growth(g);
    if (slope === null) return null;
    const lastMs = g.calendarMs.at(-1)!;
    // Level of the line at its end: the median keeps single hot days out of it.
    const levels = g.strokeMm.map((mm, k) => mm + slope.slope * (lastMs - g.calendarMs[k]!));
    const { limitMm } = strokeLimit(chamber);
    const left = Math.max(0, limitMm - medianInPlace(levels));
    const ms = (perMs: number): number => Math.max(0, Math.round(Math.min(left / perMs, MOST_MS) - (nowMs - lastMs)));
    return {
      what: limitWords(limitMm),
      inMs: ms(slope.slope),
      fromMs: ms(slope.high),
      toMs: ms(slope.low),
    };
  }

  #describe(s: Subject, t: StreamMs): Description {
    const g = this.#points(this.#states[s.index]!.growth);
    const slope = theilSen(g.calendarMs, g.strokeMm);
    const zeroMs = this.#zeroMs;
    if (slope === null) return { measured: null };
    const perDay = (perMs: number): number => perMs * DAY_MS;
    const measured = {
      quantity: 'growth of pushrod stroke',
      value: perDay(slope.slope),
      low: perDay(slope.low),
      high: perDay(slope.high),
      unit: 'mm/day',
      quality: 'good' as const,
    };
    if (zeroMs === null) return { measured };
    return {
      measured,
      evidence: {
        quantity: 'pushrod stroke',
        unit: 'mm',
        points: evidencePoints(
          g.calendarMs.map((ms) => ms - zeroMs),
          g.strokeMm,
          t,
        ),
      },
      forecast: this.#forecast(s.index, zeroMs + t),
    };
  }
}

/** In both units: the text goes into events, which are the same whatever a truck file wants to be shown. */
function limitWords(limitMm: number): string {
  const inches = Math.round((limitMm / MM_PER_INCH) * 1000) / 1000;
  return `stroke limit of ${Math.round(limitMm * 10) / 10} mm (${inches} in)`;
}

/** One application, or a day of several, at the end of three lists; at most MAX_POINTS stay. */
function addTo(at: number[], mm: number[], applications: number[], when: number, stroke: number, count: number): void {
  const last = at.length - 1;
  if (last >= 0 && when - at[last]! < POINT_MS) {
    mm[last] = Math.min(mm[last]!, stroke);
    applications[last] = applications[last]! + count;
    return;
  }
  at.push(when);
  mm.push(stroke);
  applications.push(count);
  if (at.length > MAX_POINTS) for (const list of [at, mm, applications]) list.shift();
}
