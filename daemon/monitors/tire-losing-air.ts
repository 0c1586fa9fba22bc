import type { Forecast, Measured } from '../alerts/event.js';
import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import { NEVER, type StreamMs } from '../time.js';
import type { TireReading, Tires } from '../truck/tires.js';
import { addFall, addToBoth, type FallState, fallTogether, newFall, type TwoFalls } from './arithmetic/fall-since.js';
import type { Slope } from './arithmetic/theil-sen.js';
import { evidencePoints, KPA, type TickFacts, type Workbench } from './monitor.js';
import { forecastOf, lastingSlope, measuredSlow, type SlowLeak, slopeSince, slowForecast } from './tire-forecast.js';

const MIN_MS = 60_000;
const SENDER_FRAMES = 2;
/** Fewer tires than this have nothing in common. */
const LEAST_COMMON = 4;
/** A tire is called flat at this share of its target (T-33): what comes after 80 %. */
const FLAT_SHARE = 0.5;
/** Below this a tire is empty: what its readings lose is noise. */
const EMPTY_KPA = 50;
const NEITHER = { raw: Number.NaN, cold: Number.NaN };
/** A dead sensor counts as a burst so long after the truck last moved. */
const AFTER_MOVING_MS = 5 * MIN_MS;

export interface LeakState extends TwoFalls {
  rapidRaw: FallState;
  rapidCold: FallState;
  /** Last reading at which a rapid leak was seen. */
  rapidAt: StreamMs;
  /** As judged at the last cold start; null: not judged. */
  slow: SlowLeak | null;
}

export const newLeak = (): LeakState => ({
  rapidRaw: newFall(),
  rapidCold: newFall(),
  steadyRaw: newFall(),
  steadyCold: newFall(),
  otherKpa: 0,
  rapidAt: NEVER,
  slow: null,
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
      // A state of an earlier version gets what one has today.
      const state = { ...newLeak(), ...states[tire.subject] };
      states[tire.subject] = state;
      rule.add(tire.subject, tire.place, i);
      return state;
    });
    rule.describe = (s, t, level) => this.#describe(s, t, level);
    rule.fresh = (s, t) => this.#tires.isFresh(s.index, t);
  }

  reading(r: TireReading): void {
    const leak = this.#leaks[r.tire]!;
    const rule = this.#rule;
    const gapMs = rule.constant('gapS') * 1000;
    const rapidRate = rule.constant('rapidFallKpaPerMin');
    const raw = r.beforeKpa - r.kpa;
    const cold = r.beforeColdKpa - r.coldKpa;
    const rapidBefore = this.#sum(r.tire, true);
    addFall(leak.rapidRaw, r.t, raw, r.sinceMs, rapidRate, gapMs);
    addFall(leak.rapidCold, r.t, cold, r.sinceMs, rapidRate, gapMs);
    // A wheel that a brake has heated cools at up to 7 kPa/min, with a rim sensor that stays hot: both the raw and the
    // cold-equivalent pressure fall (seen with the simulator). Only a rapid leak can be told from that.
    const heated = this.#tires.isOddlyHeated(r.tire, r.t);
    addToBoth(leak, r.t, heated ? NEITHER : { raw, cold }, r.sinceMs, rule.constant('steadyFallKpaPerMin'), gapMs);
    this.#judgeRapid(r, rapidBefore);
    if (heated) {
      this.#rule.stop(r.tire, r.t, this.#limit.steady);
      this.#rule.stop(r.tire, r.t, this.#limit.forecast);
    } else {
      this.#judgeSteady(r);
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

  /** Judged at cold starts only. */
  slow(i: number, t: StreamMs, found: SlowLeak): void {
    const limit = this.#rule.limits[this.#limit.slow]!;
    this.#leaks[i]!.slow = found;
    const { kpaPerDay } = found.judged;
    const raising = kpaPerDay >= limit.raise && found.fallenKpa >= this.#rule.constant('slowTotalKpa');
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

  /** Without temperature the raw fall has no second witness. */
  #goesOn(i: number): boolean {
    return this.#tires.states[i]!.coldKpa === null || fallTogether(this.#leaks[i]!);
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

  /**
   * Two readings show a rapid leak: this one is past the limit, and the one before was on its way there. A single wrong reading
   * has nothing before it; to wait for a second one past the limit would cost a whole interval of the sensor.
   */
  #judgeRapid(r: TireReading, before: number): void {
    const limit = this.#rule.limits[this.#limit.rapid]!;
    const sum = this.#sum(r.tire, true);
    const isPast = sum >= limit.raise && !this.#isCommon(r.t, true);
    if (isPast) this.#leaks[r.tire]!.rapidAt = r.t;
    const raising = isPast && before >= this.#rule.constant('rapidBeforeKpa');
    this.#rule.state(r.tire, this.#limit.rapid, r.t, r.ageMs, raising, sum < limit.clear);
  }

  #judgeSteady(r: TireReading): void {
    const limit = this.#rule.limits[this.#limit.steady]!;
    const sum = this.#sum(r.tire, false);
    const raising = sum >= limit.raise && this.#goesOn(r.tire) && !this.#isCommon(r.t, false);
    this.#rule.state(r.tire, this.#limit.steady, r.t, r.ageMs, raising, sum < limit.clear);
  }

  #judgeForecast(r: TireReading): void {
    const limit = this.#rule.limits[this.#limit.forecast]!;
    const forecast = this.#roadForecast(r.tire, r.t, this.#rule.constant('forecastShare'));
    const earlyS = forecast === null ? Number.POSITIVE_INFINITY : forecast.fromMs / 1000;
    // Two steps of a 4 kPa sensor are no slope, however early its interval ends (simulated: cooling after a long grade).
    const falls = this.#sum(r.tire, false) >= this.#rule.constant('forecastFromKpa');
    const raising = falls && earlyS <= limit.raise && this.#goesOn(r.tire) && !this.#isCommon(r.t, false);
    this.#rule.state(r.tire, this.#limit.forecast, r.t, r.ageMs, raising, earlyS >= limit.clear);
  }

  #judgeBurst(r: TireReading): void {
    const limit = this.#rule.limits[this.#limit.burst]!;
    const byCold = !Number.isNaN(r.beforeColdKpa) && !Number.isNaN(r.coldKpa);
    const before = byCold ? r.beforeColdKpa : r.beforeKpa;
    const now = byCold ? r.coldKpa : r.kpa;
    const near = r.sinceMs <= this.#rule.constant('burstWithinS') * 1000;
    const { movedAt } = this.#bench.context.state;
    const falls = before >= EMPTY_KPA && before - now >= limit.raise * before;
    const burst = near && falls && r.t - movedAt <= AFTER_MOVING_MS;
    this.#rule.state(r.tire, this.#limit.burst, r.t, r.ageMs, burst, !burst);
  }

  /** Since when both the raw and the cold-equivalent pressure fall; NEVER: they do not. */
  #runAt(i: number, isRapid: boolean): StreamMs {
    const leak = this.#leaks[i]!;
    const raw = isRapid ? leak.rapidRaw : leak.steadyRaw;
    const cold = isRapid ? leak.rapidCold : leak.steadyCold;
    return raw.runAt === NEVER || cold.runAt === NEVER ? NEVER : Math.max(raw.runAt, cold.runAt);
  }

  /** Slope of the run, per ms; null when there is no run or too little of it. Without temperatures of the raw pressure. */
  #slope(i: number, isRapid: boolean): Slope | null {
    const s = this.#tires.states[i]!;
    const leak = this.#leaks[i]!;
    const runAt = s.coldKpa === null ? (isRapid ? leak.rapidRaw : leak.steadyRaw).runAt : this.#runAt(i, isRapid);
    return runAt === NEVER ? null : slopeSince(s.traceAt, s.trace, runAt);
  }

  /**
   * When the tire reaches a share of its target: from the run of falling readings, else from its cold starts. null when it is
   * there, does not fall, or nobody can tell.
   */
  forecast(i: number, t: StreamMs, share: number): Forecast | null {
    const { slow } = this.#leaks[i]!;
    const isSlow = slow !== null && slow.judged.kpaPerDay >= this.#rule.limits[this.#limit.slow]!.raise;
    return this.#roadForecast(i, t, share) ?? (isSlow ? slowForecast(slow, share, this.#tires.target(i), t) : null);
  }

  /** A rapid leak that has lasted for some readings tells more than the slower fall before it. */
  #roadForecast(i: number, t: StreamMs, share: number): Forecast | null {
    const s = this.#tires.states[i]!;
    if (s.coldKpa === null) return null;
    for (const isRapid of [true, false]) {
      const { clear } = this.#rule.limits[isRapid ? this.#limit.rapid : this.#limit.steady]!;
      const runAt = this.#runAt(i, isRapid);
      if (runAt === NEVER || this.#sum(i, isRapid) < clear) continue;
      const slope = lastingSlope(s.traceAt, s.trace, runAt);
      const forecast = forecastOf(share, s.coldKpa - share * this.#tires.target(i), slope, t - s.at);
      if (forecast !== null) return forecast;
    }
    return null;
  }

  /** The next share of its target that the tire has still above it. */
  #nextForecast(i: number, t: StreamMs): Forecast | null {
    for (const share of [this.#rule.constant('forecastShare'), FLAT_SHARE]) {
      const forecast = this.forecast(i, t, share);
      if (forecast !== null) return forecast;
    }
    return null;
  }

  #describe(s: Subject, t: StreamMs, level: Level) {
    const state = this.#tires.states[s.index]!;
    const evidence = { quantity: 'cold pressure', unit: KPA, points: evidencePoints(state.traceAt, state.trace, t) };
    const forecast = this.#nextForecast(s.index, t);
    if (level === 1) {
      const limit = this.#rule.limits[this.#limit.slow]!.raise;
      return { measured: measuredSlow(this.#leaks[s.index]!.slow, limit), evidence, forecast };
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
    return { measured, evidence, forecast };
  }
}
