import type { Forecast } from '../alerts/event.js';
import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { TireReading, Tires } from '../truck/tires.js';
import { medianInPlace } from './arithmetic/median.js';
import { evidencePoints, KPA, type Workbench } from './monitor.js';

const LEAST_PEERS = 3;
/** Frames in a row before a sender's own verdict counts. */
const SENDER_FRAMES = 2;
/** Shares of the target between which a tire stands. */
interface Bounds {
  most: number;
  least: number;
}
/** How often the common shift is judged, ms. */
const SHIFT_STEP_MS = 10_000;

/** Rules tire-underinflated and tires-off-target: share of the target pressure. */
export class TirePressure {
  readonly #tires: Tires;
  readonly #low: Judgement | undefined;
  readonly #shift: Judgement | undefined;
  readonly #lowShift: number;
  readonly #highShift: number;
  readonly #leastTires: number;
  /** When a tire that loses air reaches a share of its target; set by whoever watches that. */
  forecast: (i: number, t: StreamMs, share: number) => Forecast | null = () => null;

  constructor(bench: Workbench) {
    this.#tires = bench.tires;
    this.#low = bench.judgement('tire-underinflated');
    this.#shift = bench.judgement('tires-off-target');
    this.#lowShift = this.#shift?.constant('lowShare') ?? Number.NaN;
    this.#highShift = this.#shift?.constant('highShare') ?? Number.NaN;
    this.#leastTires = this.#shift?.constant('minTires') ?? Number.POSITIVE_INFINITY;
    if (this.#low !== undefined) {
      for (const [i, tire] of bench.layout.tires.entries()) this.#low.add(tire.subject, tire.place, i);
      this.#low.describe = (s, t, level) => this.#describe(s, t, level);
      this.#low.fresh = (s, t) => this.#tires.isFresh(s.index, t);
    }
    if (this.#shift !== undefined) {
      this.#shift.add('layout', 'all tires');
      this.#shift.describe = (_, t) => ({
        measured: {
          quantity: 'median share of cold pressure',
          value: this.#shiftShare(t),
          limit: 1,
          unit: 'share',
          quality: 'good',
        },
      });
      this.#shift.fresh = (_, t) => !Number.isNaN(this.#shiftShare(t));
    }
  }

  /** A good pressure reading. */
  reading(r: TireReading): void {
    const s = this.#tires.states[r.tire]!;
    const target = this.#tires.target(r.tire);
    if (Number.isNaN(target)) return;
    const heat = this.#tires.brakeHeat(r.tire, r.t);
    const share = Number.isNaN(heat) ? this.#share(r, target) : this.#heatedShare(r, heat / 2, target);
    const known = !Number.isNaN(share);
    s.share = known ? share : -1;
    if (this.#low === undefined) return;
    const highest = this.#tires.highestCold(r.tire, r.t) / target;
    if (!known) this.#judge(r, highest, target, { most: highest, least: 0 });
    else if (Number.isNaN(heat)) this.#judge(r, share, target);
    else this.#judge(r, share, target, { most: this.#heatedShare(r, heat, target), least: r.coldKpa / target });
  }

  /**
   * Share of a tire that a brake heats, when its air is colder than its sensor by so much. The sensor on the hot rim tells more
   * than the air has, the peers less: the truth lies between (simulated: half way with rim sensors).
   */
  #heatedShare(r: TireReading, lessC: number, target: number): number {
    this.#tires.states[r.tire]!.shareSure = false;
    const celsius = this.#tires.temperature(r.tire, r.t);
    return this.#tires.coldAt(r.tire, r.t, celsius - lessC) / target;
  }

  /** The sender's own threshold code (SPN 2587), two frames in a row while moving, where the pressure agrees. */
  senderVerdict(i: number, t: StreamMs, isMoving: boolean): void {
    const s = this.#tires.states[i]!;
    if (this.#low === undefined || !isMoving || s.share < 0 || s.share >= 1) return;
    const age = this.#tires.ageLimit(i);
    if (s.lowFrames >= SENDER_FRAMES) this.#low.corroborate(i, this.#low.limit('plan'), t, age);
    if (s.extremeLowFrames >= SENDER_FRAMES) this.#low.corroborate(i, this.#low.limit('next-stop'), t, age);
  }

  /** Judges the shift that all tires have in common. */
  tick(t: StreamMs): void {
    if (this.#shift === undefined || t % SHIFT_STEP_MS !== 0) return;
    const c = this.#shiftShare(t);
    if (Number.isNaN(c)) {
      this.#shift.stop(0, t);
      return;
    }
    const off = toThousandth(Math.abs(1 - c));
    const raising = off >= this.#lowShift && off <= this.#highShift;
    // Left at three quarters of the way back: common practice.
    this.#shift.state(0, 0, t, 3 * SHIFT_STEP_MS, raising, off < 0.75 * this.#lowShift);
  }

  /** Median share of at least six tires; NaN with fewer. */
  commonShare(t: StreamMs): number {
    return this.#median(t, (i) => this.#tires.states[i]!.share);
  }

  #shiftShare(t: StreamMs): number {
    return this.#median(t, (i) => this.#coldShare(i, t));
  }

  /**
   * Share that is not warped by heat, -1 where it is: of a tire with a baseline, or about as cold as the weather. On the road
   * cold-equivalent pressure reads up to 5 % high, beside hot brakes as much low (simulated): no shop filled it so.
   */
  #coldShare(i: number, t: StreamMs): number {
    const tires = this.#tires;
    const { share, shareSure, baseColdKpa } = tires.states[i]!;
    if (shareSure) return share;
    if (baseColdKpa >= 0) return baseColdKpa / tires.target(i);
    return tires.isCold(i, t) ? share : -1;
  }

  /** Of at least six fresh tires; shares below zero are unknown. */
  #median(t: StreamMs, shareOf: (i: number) => number): number {
    const shares: number[] = [];
    for (let i = 0; i < this.#tires.states.length; i++) {
      const share = this.#tires.isFresh(i, t) ? shareOf(i) : -1;
      if (share >= 0) shares.push(share);
    }
    return shares.length < this.#leastTires ? Number.NaN : medianInPlace(shares);
  }

  /** The shop's fill is everybody's: only what stands out against it is a plan; worse levels stay absolute. */
  ofPlan(share: number, t: StreamMs): number {
    const common = this.commonShare(t);
    const off = Math.abs(1 - common);
    return off >= this.#lowShift && off <= this.#highShift ? share / common : share;
  }

  /**
   * Value and limit are compared in the sender's steps: 80 psi of 100 is 80 %, whatever the sender rounds it to (W-30).
   * bounds: what the share is at most and at least, where that matters. A plan waits until the tire is low for certain, and
   * nothing clears that may be low still.
   */
  #judge(r: TireReading, share: number, target: number, bounds: Bounds = { most: share, least: share }): void {
    const low = this.#low!;
    const { stepKpa } = this.#tires.states[r.tire]!;
    const steps = (ofTarget: number): number => Math.round((ofTarget * target) / stepKpa);
    const of = (level: Level, value: number): number => steps(level === 1 ? this.ofPlan(value, r.t) : value);
    for (const [k, { level, raise, clear }] of low.limits.entries()) {
      const raised = of(level, level === 1 ? bounds.most : share);
      low.state(r.tire, k, r.t, r.ageMs, raised <= steps(raise), of(level, bounds.least) >= steps(clear));
    }
  }

  /**
   * Share of the target. A rim sensor lags the air in the tire, so where a cold start gives a baseline the rise since then
   * is held against the rise of the peers. NaN without a temperature and baseline.
   */
  #share(r: TireReading, target: number): number {
    const tires = this.#tires;
    const s = tires.states[r.tire]!;
    s.shareSure = false;
    if (s.baseAbsoluteKpa > 0 && !this.#tires.isOddlyHeated(r.tire, r.t)) {
      const rise = (k: number): number => {
        const peer = tires.states[k]!;
        return peer.baseAbsoluteKpa > 0 ? (peer.pressureKpa + tires.air(k, r.t)) / peer.baseAbsoluteKpa : Number.NaN;
      };
      const peers = tires.peerMedian(r.tire, r.t, LEAST_PEERS, rise);
      if (!Number.isNaN(peers)) {
        s.shareSure = true;
        const airKpa = tires.depotAirKpa;
        return (((s.baseColdKpa + airKpa) * rise(r.tire)) / peers - airKpa) / target;
      }
    }
    return r.coldKpa / target;
  }

  #describe(s: Subject, t: StreamMs, level: Level) {
    const state = this.#tires.states[s.index]!;
    const target = this.#tires.target(s.index);
    const share = state.share >= 0 ? state.share : state.pressureKpa / target;
    const limit = this.#low!.limits.find((l) => l.level === level);
    return {
      measured: {
        quantity: state.share >= 0 ? 'cold pressure' : 'pressure',
        value: share * target,
        ...(limit === undefined ? {} : { limit: limit.raise * target }),
        unit: KPA,
        quality: 'good' as const,
      },
      evidence: { quantity: 'cold pressure', unit: KPA, points: evidencePoints(state.traceAt, state.trace, t) },
      forecast: this.#nextForecast(s.index, t, level),
    };
  }

  /** While it falls: when it reaches the next worse level. */
  #nextForecast(i: number, t: StreamMs, level: Level): Forecast | null {
    const next = this.#low!.limits.find((l) => l.level === level + 1);
    return next === undefined ? null : this.forecast(i, t, next.raise);
  }
}

/** Limits of a share are met as it is told; beyond that is what sensors' steps leave. */
const toThousandth = (share: number): number => Math.round(share * 1000) / 1000;
