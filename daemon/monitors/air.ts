import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import { ageLimit, isFresh, newSample, type Sample, take } from '../truck/samples.js';
import type { Applications } from './applications.js';
import { AIR_MARGIN, type Marks } from './marks.js';
import { evidencePoints, KPA, type TickFacts, type Workbench } from './monitor.js';

/** SPN 117/118 and 1087/1088 that differ by more than this for this long are both disputed. kPa, ms */
const DISPUTE_KPA = 24;
const DISPUTE_MS = 10_000;
/** "Rising": higher than the lowest value of this long ago. */
const RISING_MS = 15_000;
const TRACE_STEP_MS = 2_000;
const TRACE_POINTS = 60;

export interface AirState {
  /** Service circuits in kPa: SPN 117/118 in 4 kPa steps, SPN 1087/1088 in 8 kPa steps. */
  primaryFine: Sample;
  secondaryFine: Sample;
  primaryCoarse: Sample;
  secondaryCoarse: Sample;
  /** SPN 46 and 1086. */
  supply: Sample;
  parking: Sample;
  /** Since when the two senders have differed; NEVER: they agree. */
  primaryDisputedAt: StreamMs;
  secondaryDisputedAt: StreamMs;
  /** Lower circuit over time. */
  traceAt: StreamMs[];
  trace: number[];
  /** The lower circuit has passed the charged pressure since the engine started. */
  charged: boolean;
  chargedForStartAt: StreamMs;
  brakedAt: StreamMs;
  lastLower: number;
  lastUnequal: number;
  lowerIs: 'primary' | 'secondary';
}

export const newAir = (): AirState => ({
  primaryFine: newSample(1000),
  secondaryFine: newSample(1000),
  primaryCoarse: newSample(1000),
  secondaryCoarse: newSample(1000),
  supply: newSample(1000),
  parking: newSample(1000),
  primaryDisputedAt: NEVER,
  secondaryDisputedAt: NEVER,
  traceAt: [],
  trace: [],
  charged: false,
  chargedForStartAt: NEVER,
  brakedAt: NEVER,
  lastLower: -1,
  lastUnequal: -1,
  lowerIs: 'primary',
});

/** One service circuit as it is judged. */
interface Circuit {
  kpa: number;
  /** The two senders differ now; have done so for long. */
  differs: boolean;
  disputed: boolean;
  ageMs: number;
}

/** Rules air-low and circuits-unequal on the two service circuits. */
export class Air {
  readonly state: AirState;
  readonly #context: Context;
  readonly #low: Judgement | undefined;
  readonly #unequal: Judgement | undefined;
  readonly #marks: Marks;
  applications!: Applications;

  constructor(bench: Workbench, state: AirState) {
    this.state = state;
    this.#context = bench.context;
    this.#marks = bench.marks;
    this.#low = bench.judgement('air-low');
    this.#unequal = bench.judgement('circuits-unequal');
    for (const j of [this.#low, this.#unequal]) {
      j?.add('air/service', 'service air');
      if (j) j.fresh = (_, t) => this.#isWhole(t);
    }
    if (this.#low) this.#low.describe = (s, t, level) => this.#describeLow(s, t, level);
    if (this.#unequal) this.#unequal.describe = () => this.#describeUnequal();
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
    s.primaryDisputedAt = this.#disputedSince(s.primaryFine, s.primaryCoarse, s.primaryDisputedAt, t);
    s.secondaryDisputedAt = this.#disputedSince(s.secondaryFine, s.secondaryCoarse, s.secondaryDisputedAt, t);
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

  tick(facts: TickFacts): void {
    if (this.applications.isJudged(facts.t)) this.state.brakedAt = facts.t;
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
      primary: this.#circuit('primary', t)?.kpa ?? null,
      secondary: this.#circuit('secondary', t)?.kpa ?? null,
      supply: isFresh(s.supply, t) ? s.supply.value : null,
      parking: isFresh(s.parking, t) ? s.parking.value : null,
    };
  }

  /** Mean of the service circuits that are known, kPa; NaN: none is. */
  mean(t: StreamMs): number {
    const { primary, secondary } = this.values(t);
    return ((primary ?? secondary ?? Number.NaN) + (secondary ?? primary ?? Number.NaN)) / 2;
  }

  /** The circuit, unless its sensor was called bad. */
  #judged(name: 'primary' | 'secondary', t: StreamMs): Circuit | null {
    const circuit = this.#circuit(name, t);
    if (!this.#marks.isMarked(`air/${name}`)) return circuit;
    if (circuit !== null) this.#compareMarked(`air/${name}`, t, circuit);
    return null;
  }

  /** While tanks are filled any pressure is one that a good sensor tells too. */
  #compareMarked(sensor: string, t: StreamMs, { kpa, ageMs }: Circuit): void {
    const isSettled = this.state.charged && this.#context.engineRunning(t) === true;
    this.#marks.reading(sensor, t, ageMs, isSettled ? kpa : Number.NaN, AIR_MARGIN);
  }

  /** The finer sender where it is fresh, else the coarser; disputed: the lower of the two. */
  #circuit(name: 'primary' | 'secondary', t: StreamMs): Circuit | null {
    const s = this.state;
    const fine = name === 'primary' ? s.primaryFine : s.secondaryFine;
    const coarse = name === 'primary' ? s.primaryCoarse : s.secondaryCoarse;
    const since = name === 'primary' ? s.primaryDisputedAt : s.secondaryDisputedAt;
    if (isFresh(fine, t)) {
      const differs = since > NEVER;
      const disputed = differs && t - since >= DISPUTE_MS;
      const kpa = disputed ? Math.min(fine.value, coarse.value) : fine.value;
      return { kpa, differs, disputed, ageMs: ageLimit(fine) };
    }
    return isFresh(coarse, t) ? { kpa: coarse.value, differs: false, disputed: false, ageMs: ageLimit(coarse) } : null;
  }

  /** Every circuit that this truck has ever told is heard, but for a marked one: a circuit that fell silent is no good news. */
  #isWhole(t: StreamMs): boolean {
    const { primaryFine, primaryCoarse, secondaryFine, secondaryCoarse } = this.state;
    const isMissing = (name: 'primary' | 'secondary', fine: Sample, coarse: Sample): boolean =>
      (fine.source >= 0 || coarse.source >= 0) &&
      this.#circuit(name, t) === null &&
      !this.#marks.isMarked(`air/${name}`);
    return !isMissing('primary', primaryFine, primaryCoarse) && !isMissing('secondary', secondaryFine, secondaryCoarse);
  }

  #disputedSince(fine: Sample, coarse: Sample, since: StreamMs, t: StreamMs): StreamMs {
    if (!isFresh(fine, t) || !isFresh(coarse, t)) return NEVER;
    if (Math.abs(fine.value - coarse.value) <= DISPUTE_KPA) return NEVER;
    return since === NEVER ? t : since;
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
    const canClear = !lower.differs && this.#isWhole(t);
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
    return since <= RISING_MS || this.#isRising(t);
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
    const disputed = this.#circuit(s.lowerIs, t)?.disputed === true;
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
