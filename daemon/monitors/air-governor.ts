import type { Description, Judgement, Level } from '../alerts/judgement.js';
import { roundedTo } from '../alerts/rounding.js';
import { NEVER, type StreamMs, TICK_MS, type WallMs } from '../time.js';
import type { Records } from '../truck/records.js';
import type { Effort } from './air-effort.js';
import { forgetLearned, judgeLearned, type LearnedState, learn, newLearned } from './air-learned.js';
import type { AirMoment } from './air-moment.js';
import { evidencePoints, KPA, type Workbench } from './monitor.js';

/** A cut-in is the valley of so long, and lies no further back than so. ticks */
const VALLEY_TICKS = 40;
const VALLEY_AGO_TICKS = 10;
/** No application within this before the valley, nor between it and the pumping. */
const CALM_MS = 5_000;
/** Pumping is over when its sender has said so for this long; where rising pressure tells it, when there was no new peak for that long. */
const OVER_TOLD_MS = 3_000;
const OVER_RISING_MS = 30_000;
/** One step of a service pressure: less is no new peak where rising pressure tells the pumping. kPa */
const PEAK_KPA = 4;
/** A governor that never cuts out has no peak: each of these above the limit without a higher one counts as one. */
const ENDLESS_MS = 120_000;

/**
 * A cut-out is another one when the pressure has sunk by so much since the last: no governor has a narrower range, and a sender that
 * flickers at the top has no cycles. kPa
 */
const CYCLE_KPA = 40;

/** Pumping that goes on. */
interface Phase {
  beganAt: StreamMs;
  /** As learned; -1: air was used, or the compressor was not seen to rest before. */
  cutInKpa: number;
  peakKpa: number;
  peakAt: StreamMs;
  /** Last instant at which it pumped. */
  pumpedAt: StreamMs;
  /** Since when it has been above the limit of cut-outs and got no further; NEVER: it is not. */
  aboveAt: StreamMs;
}

export interface GovernorState {
  /** Governed pressure at the last ticks, oldest first. */
  trace: number[];
  by: '' | AirMoment['governedBy'];
  phase: Phase | null;
  /** Last end of pumping with the engine going on. */
  cutOutAt: StreamMs;
  /** Lowest governed pressure since the cut-out that was counted last; -1: none was. */
  sunkToKpa: number;
  cutIns: LearnedState;
  cutOuts: LearnedState;
}

export const newGovernor = (): GovernorState => ({
  trace: [],
  by: '',
  phase: null,
  cutOutAt: NEVER,
  sunkToKpa: -1,
  cutIns: newLearned(),
  cutOuts: newLearned(),
});

/**
 * Rules air-cut-in-low and air-cut-out-high: the governor's limits as its cycles show them. A cut-in counts only after a
 * cut-out with the engine running since: pressure that has sunk overnight says nothing about the governor.
 */
export class Governor {
  readonly #state: GovernorState;
  readonly #bench: Workbench;
  readonly #records: Records;
  readonly #effort: Effort;
  readonly #low: Judgement | undefined;
  readonly #high: Judgement | undefined;

  constructor(bench: Workbench, state: GovernorState, effort: Effort) {
    this.#bench = bench;
    this.#state = state;
    this.#records = bench.records;
    this.#effort = effort;
    this.#low = bench.judgement('air-cut-in-low');
    this.#high = bench.judgement('air-cut-out-high');
    if (this.#low) {
      this.#low.add('air/supply', 'air supply');
      this.#low.onReset = () => forgetLearned(state.cutIns);
      this.#low.describe = (_, t) => describe('cut-in pressure', state.cutIns, this.#lowest(), t);
    }
    if (this.#high) {
      const high = this.#high;
      high.add('air/supply', 'air supply');
      high.onReset = () => {
        forgetLearned(state.cutOuts);
        state.sunkToKpa = -1;
      };
      high.describe = (_, t, level) => describe('cut-out pressure', state.cutOuts, limitOf(high, level), t);
    }
  }

  tick(m: AirMoment, calendarMs: WallMs | null): void {
    const s = this.#state;
    const isKnown = !Number.isNaN(m.governedKpa) && m.pumping !== undefined && !m.isFirst && s.by === m.governedBy;
    s.by = m.governedBy;
    if (!isKnown) {
      this.quiesce();
      if (!Number.isNaN(m.governedKpa)) s.trace.push(m.governedKpa);
      return;
    }
    s.trace.push(m.governedKpa);
    if (s.trace.length > VALLEY_TICKS + 1) s.trace.shift();
    s.sunkToKpa = Math.min(s.sunkToKpa, m.governedKpa);
    if (m.engineRunning === false) {
      if (s.phase !== null) this.#end(s.phase, m.t, false, calendarMs);
      return;
    }
    if (s.phase === null && m.pumping) s.phase = this.#begin(m);
    if (s.phase !== null) this.#goOn(s.phase, m, calendarMs);
  }

  /** What was going on is over, and nobody knows how it ended. */
  quiesce(): void {
    this.#state.trace = [];
    this.#state.phase = null;
    this.#effort.abandon();
  }

  #begin(m: AirMoment): Phase {
    const cutInKpa = this.#cutIn(m);
    if (cutInKpa >= 0) this.#learnCutIn(m.t, cutInKpa);
    const { t, governedKpa } = m;
    return { beganAt: t, cutInKpa, peakKpa: governedKpa, peakAt: t, pumpedAt: t, aboveAt: NEVER };
  }

  /** The valley before the pumping that begins now; -1: there is none that the governor has made. */
  #cutIn({ t, usedAt }: AirMoment): number {
    const { trace, cutOutAt } = this.#state;
    if (trace.length <= VALLEY_TICKS || cutOutAt <= this.#bench.context.state.engineStartedAt) return -1;
    let low = trace.length - 1;
    for (let i = low; i >= 0; i--) if (trace[i]! < trace[low]!) low = i;
    const ago = trace.length - 1 - low;
    const isCalm = usedAt < t - ago * TICK_MS - CALM_MS;
    return ago <= VALLEY_AGO_TICKS && isCalm ? trace[low]! : -1;
  }

  #goOn(phase: Phase, m: AirMoment, calendarMs: WallMs | null): void {
    const { t, governedKpa } = m;
    if (m.pumping) phase.pumpedAt = t;
    if (governedKpa >= phase.peakKpa + (m.pumpingTold ? 1 : PEAK_KPA)) {
      phase.peakKpa = governedKpa;
      phase.peakAt = t;
      phase.aboveAt = NEVER;
    }
    const last = m.pumpingTold ? phase.pumpedAt : Math.max(phase.pumpedAt, phase.peakAt);
    if (t - last >= (m.pumpingTold ? OVER_TOLD_MS : OVER_RISING_MS)) {
      // Pressure that only seems to rest because air was used is no cut-out.
      this.#end(phase, t, m.pumpingTold || m.usedAt < phase.peakAt, calendarMs);
      return;
    }
    this.#effort.pumps(m, calendarMs);
    if (m.pumpingTold) this.#endless(phase, m);
  }

  #end(phase: Phase, t: StreamMs, isCutOut: boolean, calendarMs: WallMs | null): void {
    const s = this.#state;
    s.phase = null;
    const revs = this.#effort.ends(t, calendarMs);
    if (isCutOut) {
      s.cutOutAt = t;
      if (this.#isAnother(phase.peakKpa)) this.#learnCutOut(t, phase.peakKpa);
    }
    const endAt = Math.max(phase.pumpedAt, phase.peakAt);
    this.#records.add({
      kind: 'air-cycle',
      subject: 'air/supply',
      startAt: phase.beganAt,
      endAt,
      values: {
        cutInKpa: phase.cutInKpa < 0 ? null : roundedTo(KPA, phase.cutInKpa),
        cutOutKpa: isCutOut ? roundedTo(KPA, phase.peakKpa) : null,
        pumpingS: Math.round((endAt - phase.beganAt) / 1000),
        revolutionsPer100Kpa: revs === null ? null : roundedTo('rpm', revs),
      },
    });
  }

  #endless(phase: Phase, { t, governedKpa }: AirMoment): void {
    if (this.#high === undefined) return;
    if (governedKpa <= limitOf(this.#high, 1)) phase.aboveAt = NEVER;
    else if (phase.aboveAt === NEVER) phase.aboveAt = t;
    else if (t - phase.aboveAt >= ENDLESS_MS) {
      phase.aboveAt = t;
      this.#learnCutOut(t, phase.peakKpa);
    }
  }

  #learnCutIn(t: StreamMs, kpa: number): void {
    const j = this.#low;
    if (j === undefined) return;
    const lowest = this.#lowest();
    const [limit] = j.limits;
    const clear = lowest + (limit!.clear - limit!.raise);
    learn(this.#state.cutIns, t, kpa);
    judgeLearned(
      j,
      0,
      this.#state.cutIns,
      (v) => v < lowest,
      (v) => v >= clear,
    );
  }

  /** Or is it the last one once more? What the pumping in between has told of is over with it. */
  #isAnother(kpa: number): boolean {
    const { sunkToKpa } = this.#state;
    return sunkToKpa < 0 || sunkToKpa <= kpa - CYCLE_KPA;
  }

  /** Plan is above its limit, next-stop from its limit on. */
  #learnCutOut(t: StreamMs, kpa: number): void {
    const j = this.#high;
    if (j === undefined) return;
    this.#state.sunkToKpa = kpa;
    learn(this.#state.cutOuts, t, kpa);
    for (const [k, { level, raise, clear }] of j.limits.entries()) {
      judgeLearned(
        j,
        k,
        this.#state.cutOuts,
        (v) => (level === 1 ? v > raise : v >= raise),
        (v) => v <= clear,
      );
    }
  }

  #lowest(): number {
    return this.#bench.isBus ? this.#low!.constant('busKpa') : this.#low!.limits[0]!.raise;
  }
}

const limitOf = (j: Judgement, level: Level): number => j.limits.find((l) => l.level === level)?.raise ?? Number.NaN;

function describe(quantity: string, s: LearnedState, limit: number, t: StreamMs): Description {
  const value = s.values.at(-1);
  if (value === undefined) return { measured: null };
  return {
    measured: { quantity, value, limit, unit: KPA, quality: 'good' },
    evidence: { quantity, unit: KPA, points: evidencePoints(s.learnedAt, s.values, t) },
  };
}
