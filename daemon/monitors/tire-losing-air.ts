import type { Forecast, Measured } from '../alerts/event.js';
import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import { NEVER, type StreamMs } from '../time.js';
import type { TireReading, Tires } from '../truck/tires.js';
import { addFall, type FallState, newFall } from './arithmetic/fall-since.js';
import { type Slope, theilSen } from './arithmetic/theil-sen.js';
import { evidencePoints, KPA, type TickFacts, type Workbench } from './monitor.js';

const MIN_MS = 60_000;
const SENDER_FRAMES = 2;
/** Fewer tires than this have nothing in common. */
const LEAST_COMMON = 4;
/** A slope needs so many points of the run before it may forecast. */
const FORECAST_POINTS = 6;
/** A dead sensor counts as a burst so long after the truck last moved. */
const AFTER_MOVING_MS = 5 * MIN_MS;

export interface LeakState {
  rapidRaw: FallState;
  rapidCold: FallState;
  steadyRaw: FallState;
  steadyCold: FallState;
  /** Last reading at which a rapid leak was seen. */
  rapidAt: StreamMs;
  /** kPa per day as judged at the last cold start; null: not judged. */
  slowKpaPerDay: number | null;
}

export const newLeak = (): LeakState => ({
  rapidRaw: newFall(),
  rapidCold: newFall(),
  steadyRaw: newFall(),
  steadyCold: newFall(),
  rapidAt: NEVER,
  slowKpaPerDay: null,
});

/** Rule tire-losing-air while driving: rapid, steady, forecast and burst. The slow leak is judged at cold starts. */
export class TireLosingAir {
  readonly #tires: Tires;
  readonly #rule: Judgement;
  readonly #leaks: LeakState[];
  readonly #bench: Workbench;
  readonly #limit: { rapid: number; steady: number; slow: number; forecast: number; burst: number };

  constructor(bench: Workbench, rule: Judgement, states: Record<string, LeakState>) {
    this.#bench = bench;
    this.#tires = bench.tires;
    this.#rule = rule;
    this.#limit = {
      rapid: rule.limit('pull-over'),
      steady: rule.limit('next-stop'),
      slow: rule.limit('plan'),
      forecast: rule.limit('forecast'),
      burst: rule.limit('burst'),
    };
    this.#leaks = bench.layout.tires.map((tire, i) => {
      states[tire.subject] ??= newLeak();
      rule.add(tire.subject, tire.place, i);
      return states[tire.subject]!;
    });
    rule.describe = (s, t, level) => this.#describe(s, t, level);
    rule.fresh = (s, t) => this.#tires.isFresh(s.index, t);
  }

  reading(r: TireReading): void {
    const leak = this.#leaks[r.tire]!;
    const rule = this.#rule;
    const gapMs = rule.constant('gapS') * 1000;
    const rapidRate = rule.constant('rapidFallKpaPerMin');
    const steadyRate = rule.constant('steadyFallKpaPerMin');
    const raw = r.beforeKpa - r.kpa;
    const cold = r.beforeColdKpa - r.coldKpa;
    addFall(leak.rapidRaw, r.t, raw, r.sinceMs, rapidRate, gapMs);
    addFall(leak.rapidCold, r.t, cold, r.sinceMs, rapidRate, gapMs);
    // A wheel that a brake has heated cools at up to 7 kPa/min, with a rim sensor that stays hot: both the raw and the
    // cold-equivalent pressure fall (seen with the simulator). Only a rapid leak can be told from that.
    const heated = this.#tires.isOddlyHeated(r.tire, r.t);
    addFall(leak.steadyRaw, r.t, heated ? Number.NaN : raw, r.sinceMs, steadyRate, gapMs);
    addFall(leak.steadyCold, r.t, heated ? Number.NaN : cold, r.sinceMs, steadyRate, gapMs);
    const rapid = this.#sum(r.tire, true);
    if (rapid >= rule.limits[this.#limit.rapid]!.raise && !this.#isCommon(r.t, true)) leak.rapidAt = r.t;
    this.#judgeSum(r, this.#limit.rapid, rapid, true);
    if (heated) {
      this.#rule.stop(r.tire, r.t, this.#limit.steady);
      this.#rule.stop(r.tire, r.t, this.#limit.forecast);
    } else {
      this.#judgeSum(r, this.#limit.steady, this.#sum(r.tire, false), false);
      this.#judgeForecast(r);
    }
    this.#judgeBurst(r);
  }

  /** A leakage rate at which the sender's own word counts, kPa/min. */
  get senderLeakKpaPerMin(): number {
    return this.#rule.constant('senderSteadyKpaPerMin');
  }

  /** The sender's own verdict (SPN 1698, 2586), two frames in a row while moving, where the pressure falls too. */
  senderVerdict(i: number, t: StreamMs, isMoving: boolean): void {
    const s = this.#tires.states[i]!;
    if (!isMoving || s.leakFrames < SENDER_FRAMES || this.#sum(i, false) <= 0) return;
    const isRapid = s.senderLeakKpaPerMin >= this.#rule.constant('senderRapidKpaPerMin');
    this.#rule.corroborate(i, isRapid ? this.#limit.rapid : this.#limit.steady, t, this.#tires.ageLimit(i));
  }

  /** A sensor that dies right after a rapid leak went with the tire. */
  tick(facts: TickFacts): void {
    const { t } = facts;
    const within = this.#rule.constant('burstWithinS') * 1000;
    // With the key off every sensor falls silent.
    const isHeard = facts.moving || (facts.engineRunning && t - this.#bench.context.state.movedAt <= AFTER_MOVING_MS);
    if (!isHeard) return;
    for (const [i, leak] of this.#leaks.entries()) {
      if (leak.rapidAt === NEVER) continue;
      const { at } = this.#tires.states[i]!;
      const silent = t - at;
      if (silent < Math.max(within, 4 * this.#tires.interval(i)) || at - leak.rapidAt > within) continue;
      if (silent > 10 * within) leak.rapidAt = NEVER;
      else this.#rule.state(i, this.#limit.burst, t, within, true, false);
    }
  }

  /** Judged at cold starts only: kPa per day that it falls, by itself and against its peers; the smaller. */
  slow(i: number, t: StreamMs, kpaPerDay: number, fallenKpa: number): void {
    const limit = this.#rule.limits[this.#limit.slow]!;
    this.#leaks[i]!.slowKpaPerDay = kpaPerDay;
    const raising = kpaPerDay >= limit.raise && fallenKpa >= this.#rule.constant('slowTotalKpa');
    // Days lie between two judgements: each stands by itself, so both delays are counted as passed.
    this.#rule.verdict(i, this.#limit.slow, t, raising, kpaPerDay <= limit.clear);
  }

  #sum(i: number, isRapid: boolean): number {
    const leak = this.#leaks[i]!;
    const raw = isRapid ? leak.rapidRaw : leak.steadyRaw;
    const cold = isRapid ? leak.rapidCold : leak.steadyCold;
    // Without temperature the raw fall has no second witness: it is judged by itself.
    return this.#tires.states[i]!.coldKpa === null ? raw.sumKpa : Math.min(raw.sumKpa, cold.sumKpa);
  }

  /** A fall that three quarters of the tires share is weather, altitude or a sender, not a leak. */
  #isCommon(t: StreamMs, isRapid: boolean): boolean {
    const floor = this.#rule.limits[isRapid ? this.#limit.rapid : this.#limit.steady]!.clear;
    let fresh = 0;
    let falling = 0;
    for (let i = 0; i < this.#leaks.length; i++) {
      if (!this.#tires.isFresh(i, t)) continue;
      fresh++;
      if (this.#sum(i, isRapid) >= floor) falling++;
    }
    return fresh >= LEAST_COMMON && falling >= this.#rule.constant('commonShare') * fresh;
  }

  #judgeSum(r: TireReading, k: number, sum: number, isRapid: boolean): void {
    const limit = this.#rule.limits[k]!;
    const raising = sum >= limit.raise && !this.#isCommon(r.t, isRapid);
    this.#rule.state(r.tire, k, r.t, r.ageMs, raising, sum < limit.clear);
  }

  #judgeForecast(r: TireReading): void {
    const limit = this.#rule.limits[this.#limit.forecast]!;
    const forecast = this.#forecast(r.tire, r.t);
    const early = forecast === null ? Number.POSITIVE_INFINITY : forecast.fromMs / MIN_MS;
    const raising = early <= limit.raise && !this.#isCommon(r.t, false);
    this.#rule.state(r.tire, this.#limit.forecast, r.t, r.ageMs, raising, early >= limit.clear);
  }

  #judgeBurst(r: TireReading): void {
    const limit = this.#rule.limits[this.#limit.burst]!;
    const byCold = !Number.isNaN(r.beforeColdKpa) && !Number.isNaN(r.coldKpa);
    const before = byCold ? r.beforeColdKpa : r.beforeKpa;
    const now = byCold ? r.coldKpa : r.kpa;
    const near = r.sinceMs <= this.#rule.constant('burstWithinS') * 1000;
    const { movedAt } = this.#bench.context.state;
    const burst = near && before > 0 && before - now >= limit.raise * before && r.t - movedAt <= AFTER_MOVING_MS;
    this.#rule.state(r.tire, this.#limit.burst, r.t, r.ageMs, burst, !burst);
  }

  /** Slope of the run, per ms; null when there is no run or too little of it. */
  #slope(i: number, isRapid: boolean): Slope | null {
    const leak = this.#leaks[i]!;
    const s = this.#tires.states[i]!;
    const raw = isRapid ? leak.rapidRaw : leak.steadyRaw;
    const cold = isRapid ? leak.rapidCold : leak.steadyCold;
    const runAt = Math.max(cold.runAt, raw.runAt);
    if (runAt === NEVER) return null;
    const from = s.traceAt.findIndex((at) => at >= runAt);
    return from < 0 ? null : theilSen(s.traceAt.slice(from), s.trace.slice(from));
  }

  /** When the tire reaches 80 % of its target, from a run of falling readings; null when it does not or nobody can tell. */
  #forecast(i: number, t: StreamMs): Forecast | null {
    const leak = this.#leaks[i]!;
    const limit = this.#rule.limits[this.#limit.steady]!;
    const s = this.#tires.states[i]!;
    if (this.#sum(i, false) < limit.clear || s.coldKpa === null) return null;
    const points = s.traceAt.filter((at) => at >= leak.steadyCold.runAt).length;
    const slope = points < FORECAST_POINTS ? null : this.#slope(i, false);
    const share = this.#rule.constant('forecastShare');
    const above = s.coldKpa - share * this.#tires.target(i);
    if (slope === null || !(above > 0) || slope.high >= 0) return null;
    const since = t - s.at;
    const ms = (perMs: number): number => Math.max(0, Math.round(above / -perMs) - since);
    return {
      what: `${Math.round(share * 100)} % of cold pressure`,
      inMs: ms(slope.slope),
      fromMs: ms(slope.low),
      toMs: ms(slope.high),
    };
  }

  #describe(s: Subject, t: StreamMs, level: Level) {
    const state = this.#tires.states[s.index]!;
    const evidence = { quantity: 'cold pressure', unit: KPA, points: evidencePoints(state.traceAt, state.trace, t) };
    if (level === 1) {
      const limit = this.#rule.limits[this.#limit.slow]!;
      const value = this.#leaks[s.index]!.slowKpaPerDay ?? 0;
      const measured: Measured = {
        quantity: 'leak rate',
        window: 'slow',
        value,
        limit: limit.raise,
        unit: 'kPa/day',
        quality: 'good',
      };
      return { measured, evidence };
    }
    const isRapid = level === 3;
    const slope = this.#slope(s.index, isRapid);
    const perMin = (perMs: number): number => -perMs * MIN_MS;
    // Without a run there is no rate to tell: the pressure says more.
    const runs = this.#sum(s.index, isRapid) >= this.#rule.limits[this.#limit.steady]!.clear;
    const measured: Measured =
      slope === null || !runs
        ? { quantity: 'cold pressure', value: state.coldKpa ?? state.pressureKpa, unit: KPA, quality: 'good' }
        : {
            quantity: 'leak rate',
            window: isRapid ? 'rapid' : 'steady',
            value: perMin(slope.slope),
            low: perMin(slope.high),
            high: perMin(slope.low),
            limit: this.#rule.constant(isRapid ? 'rapidFallKpaPerMin' : 'steadyFallKpaPerMin'),
            unit: 'kPa/min',
            quality: 'good',
          };
    return { measured, evidence, forecast: this.#forecast(s.index, t) };
  }
}
