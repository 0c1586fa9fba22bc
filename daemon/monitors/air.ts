import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import { NEVER, type StreamMs, type WallMs } from '../time.js';
import type { Context } from '../truck/context.js';
import { ageLimit, isFresh, type Sample, take } from '../truck/samples.js';
import { AirBuildsSlowly, type BuildsSlowlyState, newBuildsSlowly } from './air-builds-slowly.js';
import { type Circuit, type CircuitName, Circuits, type CircuitsState, newCircuits } from './air-circuits.js';
import { Governor, type GovernorState, newGovernor } from './air-governor.js';
import { AirLeaking, type LeakTestState, newLeakTest } from './air-leaking.js';
import { type MomentState, Moments, newMoment } from './air-moment.js';
import type { Applications } from './applications.js';
import { CompressorOverworked, newOverworked, type OverworkedState } from './compressor-overworked.js';
import { AIR_MARGIN, type Marks } from './marks.js';
import { evidencePoints, KPA, type TickFacts, type Workbench } from './monitor.js';
import { type TowedState, unitsSeen } from './trailer-not-seen.js';

/** "Rising": higher than the lowest value of this long ago. */
const RISING_MS = 15_000;
/** The supply reservoir is filled first: for so long after a start the service circuits need not rise (sim). */
const SUPPLY_FIRST_MS = 60_000;
const TRACE_STEP_MS = 2_000;
const TRACE_POINTS = 60;

export interface AirState extends CircuitsState {
  /** Lower circuit over time. */
  traceAt: StreamMs[];
  trace: number[];
  /** The lower circuit has passed the charged pressure since the engine started. */
  charged: boolean;
  chargedForStartAt: StreamMs;
  brakedAt: StreamMs;
  lastLower: number;
  lastUnequal: number;
  lowerIs: CircuitName;
  moment: MomentState;
  governor: GovernorState;
  buildsSlowly: BuildsSlowlyState;
  overworked: OverworkedState;
  leakTest: LeakTestState;
}

export const newAir = (): AirState => ({
  ...newCircuits(),
  traceAt: [],
  trace: [],
  charged: false,
  chargedForStartAt: NEVER,
  brakedAt: NEVER,
  lastLower: -1,
  lastUnequal: -1,
  lowerIs: 'primary',
  moment: newMoment(),
  governor: newGovernor(),
  buildsSlowly: newBuildsSlowly(),
  overworked: newOverworked(),
  leakTest: newLeakTest(),
});

/** What was learned of compressor, governor and leaks is of another combination, or of other sensors. */
export function forgetSupply(s: AirState): void {
  const { moment, governor, buildsSlowly, overworked, leakTest } = newAir();
  Object.assign(s, { moment, governor, buildsSlowly, overworked, leakTest });
}

/** Rules air-low and circuits-unequal on the two service circuits; and the slow rules of the air system, which look once a second. */
export class Air {
  readonly state: AirState;
  readonly #context: Context;
  readonly #low: Judgement | undefined;
  readonly #unequal: Judgement | undefined;
  readonly #marks: Marks;
  readonly #circuits: Circuits;
  readonly #moments: Moments;
  readonly #governor: Governor;
  readonly #buildsSlowly: AirBuildsSlowly;
  readonly #overworked: CompressorOverworked | undefined;
  readonly #leaking: AirLeaking | undefined;
  applications!: Applications;

  /** towed: what is known of the towed units; the compressor fills their reservoirs too. */
  constructor(bench: Workbench, state: AirState, towed: Readonly<Record<string, TowedState>>) {
    this.state = state;
    this.#context = bench.context;
    this.#marks = bench.marks;
    this.#circuits = new Circuits(state, bench.marks);
    this.#moments = new Moments(state.moment, this.#circuits, bench.context);
    this.#low = bench.judgement('air-low');
    this.#unequal = bench.judgement('circuits-unequal');
    for (const j of [this.#low, this.#unequal]) {
      j?.add('air/service', 'service air');
      if (j) j.fresh = (_, t) => this.#circuits.isWhole(t);
    }
    if (this.#low) this.#low.describe = (s, t, level) => this.#describeLow(s, t, level);
    if (this.#unequal) this.#unequal.describe = () => this.#describeUnequal();
    this.#buildsSlowly = new AirBuildsSlowly(bench, state.buildsSlowly, () => unitsSeen(towed));
    this.#governor = new Governor(bench, state.governor, this.#buildsSlowly.effort);
    const overworked = bench.judgement('compressor-overworked');
    this.#overworked = overworked && new CompressorOverworked(bench, overworked, state.overworked);
    const leaking = bench.judgement('air-leaking');
    this.#leaking = leaking && new AirLeaking(bench, leaking, state.leakTest, state);
  }

  /** A pressure from an extra signal of the truck file. True when it was believed. */
  extra(subject: string, t: StreamMs, source: number, kpa: number): boolean {
    const s = this.state;
    const samples: Record<string, Sample> = {
      'air/primary': s.primaryFine,
      'air/secondary': s.secondaryFine,
      'air/supply': s.supply,
      'air/parking': s.parking,
    };
    const sample = samples[subject];
    return sample !== undefined && take(sample, t, source, kpa);
  }

  /** Called after a frame that carries service pressures. */
  update(t: StreamMs): void {
    const s = this.state;
    this.#circuits.update(t);
    this.#compareOther('air/supply', t, s.supply);
    this.#compareOther('air/parking', t, s.parking);
    const primary = this.#judged('primary', t);
    const secondary = this.#judged('secondary', t);
    const lower = primary === null || (secondary !== null && secondary.kpa < primary.kpa) ? secondary : primary;
    if (lower === null) return;
    s.lowerIs = lower === primary ? 'primary' : 'secondary';
    s.lastLower = lower.kpa;
    this.#trace(t, lower.kpa);
    if (this.#context.state.engineStartedAt !== s.chargedForStartAt) {
      s.chargedForStartAt = this.#context.state.engineStartedAt;
      s.charged = false;
    }
    if (lower.kpa >= (this.#low?.constant('chargedKpa') ?? 0)) s.charged = true;
    if (this.#marks.isMarked('air/service')) this.#compareMarked('air/service', t, lower);
    this.#judgeLow(t, lower);
    if (primary !== null && secondary !== null) this.#judgeUnequal(t, primary, secondary);
  }

  /** @param calendarMs wall time of this tick where the clock of the run is known to be right, else null */
  tick({ t }: TickFacts, calendarMs: WallMs | null): void {
    if (this.applications.isJudged(t)) this.state.brakedAt = t;
    const moment = this.#moments.at(t, this.applications);
    this.#buildsSlowly.tick(moment, calendarMs);
    this.#governor.tick(moment, calendarMs);
    this.#overworked?.tick(moment);
    this.#leaking?.tick(moment, this.applications);
  }

  /** The calendar is known from now on. */
  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    this.#buildsSlowly.effort.clock(t, zeroCalendarMs);
  }

  /** What was going on is over: nobody saw how it went on. What was learned stays. */
  quiesce(): void {
    Object.assign(this.state.moment, newMoment());
    this.#governor.quiesce();
    this.#buildsSlowly.quiesce();
    this.#leaking?.quiesce();
  }

  /** Service pressures in kPa for reports; null when old. */
  values(t: StreamMs): {
    primary: number | null;
    secondary: number | null;
    supply: number | null;
    parking: number | null;
  } {
    const s = this.state;
    return {
      primary: this.#circuits.circuit('primary', t)?.kpa ?? null,
      secondary: this.#circuits.circuit('secondary', t)?.kpa ?? null,
      supply: isFresh(s.supply, t) ? s.supply.value : null,
      parking: isFresh(s.parking, t) ? s.parking.value : null,
    };
  }

  /** Mean of the service circuits that are known, kPa; NaN: none is. */
  mean(t: StreamMs): number {
    return this.#circuits.mean(t);
  }

  /** The circuit, unless its sensor was called bad. */
  #judged(name: CircuitName, t: StreamMs): Circuit | null {
    const circuit = this.#circuits.circuit(name, t);
    if (!this.#marks.isMarked(`air/${name}`)) return circuit;
    if (circuit !== null) this.#compareMarked(`air/${name}`, t, circuit);
    return null;
  }

  /** A pressure that is not judged as a circuit, when its sensor was called bad. */
  #compareOther(sensor: string, t: StreamMs, sample: Sample): void {
    if (sample.at !== t || !this.#marks.isMarked(sensor)) return;
    this.#compareMarked(sensor, t, { kpa: sample.value, ageMs: ageLimit(sample) });
  }

  /** While tanks are filled any pressure is one that a good sensor tells too. */
  #compareMarked(sensor: string, t: StreamMs, { kpa, ageMs }: Pick<Circuit, 'kpa' | 'ageMs'>): void {
    const isSettled = this.state.charged && this.#context.engineRunning(t) === true;
    this.#marks.reading(sensor, t, ageMs, isSettled ? kpa : Number.NaN, AIR_MARGIN);
  }

  #trace(t: StreamMs, kpa: number): void {
    const s = this.state;
    const last = s.traceAt.at(-1);
    if (last !== undefined && t - last < TRACE_STEP_MS) return;
    s.traceAt.push(t);
    s.trace.push(kpa);
    if (s.trace.length > TRACE_POINTS) {
      s.traceAt.shift();
      s.trace.shift();
    }
  }

  #judgeLow(t: StreamMs, lower: Circuit): void {
    const j = this.#low;
    if (j === undefined) return;
    const awake = this.#context.engineRunning(t) === true || this.#context.moving(t) === true;
    if (!awake || this.#isCharging(t)) {
      j.stop(0, t);
      return;
    }
    const canClear = !lower.differs && this.#circuits.isWhole(t);
    for (const [k, limit] of j.limits.entries()) {
      j.state(0, k, t, lower.ageMs, lower.kpa <= limit.raise, canClear && lower.kpa >= limit.clear);
    }
  }

  /** Empty tanks being filled after a start, parked: silent for five minutes. */
  #isCharging(t: StreamMs): boolean {
    const s = this.state;
    const c = this.#context;
    const since = t - c.state.engineStartedAt;
    if (s.charged || since > (this.#low?.constant('chargingS') ?? 0) * 1000) return false;
    if (c.moving(t) !== false || c.parkingBrake(t) !== true) return false;
    return since <= SUPPLY_FIRST_MS || this.#isRising(t);
  }

  #isRising(t: StreamMs): boolean {
    const s = this.state;
    let lowest = Number.POSITIVE_INFINITY;
    for (let i = s.traceAt.length - 1; i >= 0 && t - s.traceAt[i]! <= RISING_MS; i--)
      lowest = Math.min(lowest, s.trace[i]!);
    return s.lastLower > lowest;
  }

  #judgeUnequal(t: StreamMs, primary: Circuit, secondary: Circuit): void {
    const j = this.#unequal;
    if (j === undefined) return;
    const afterMs = j.constant('afterBrakingS') * 1000;
    const braking = this.applications.isJudged(t) || t - this.state.brakedAt < afterMs;
    if (braking || this.#isCharging(t) || this.#context.engineRunning(t) !== true) {
      j.stop(0, t);
      return;
    }
    const difference = Math.abs(primary.kpa - secondary.kpa);
    this.state.lastUnequal = difference;
    const canClear = !primary.differs && !secondary.differs;
    for (const [k, limit] of j.limits.entries()) {
      j.state(
        0,
        k,
        t,
        Math.min(primary.ageMs, secondary.ageMs),
        difference >= limit.raise,
        canClear && difference <= limit.clear,
      );
    }
  }

  #describeLow(_: Subject, t: StreamMs, level: Level) {
    const s = this.state;
    const limit = this.#low!.limits.find((l) => l.level === level);
    const disputed = this.#circuits.circuit(s.lowerIs, t)?.disputed === true;
    return {
      measured: {
        quantity: `${s.lowerIs} circuit pressure`,
        value: s.lastLower,
        ...(limit === undefined ? {} : { limit: limit.raise }),
        unit: KPA,
        quality: disputed ? ('disputed' as const) : ('good' as const),
      },
      evidence: { quantity: 'lower circuit pressure', unit: KPA, points: evidencePoints(s.traceAt, s.trace, t) },
    };
  }

  #describeUnequal() {
    const limit = this.#unequal!.limits[0]!;
    return {
      measured: {
        quantity: `circuit difference, ${this.state.lowerIs} lower`,
        value: this.state.lastUnequal,
        limit: limit.raise,
        unit: KPA,
        quality: 'good' as const,
      },
    };
  }
}
