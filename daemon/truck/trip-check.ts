import { roundedTo } from '../alerts/rounding.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import { ENGINE_RUNNING_RPM } from './context.js';
import type { TruckRecord } from './records.js';
import { valueAt } from './samples.js';
import type { AirCheck, BrakeCheck, LeakTestSeen, StartCheck, TireCheck } from './start-check.js';
import { isBrakeHeard, type TripFacts, type TripSight } from './trip-sight.js';

/** As brake-overstroke judges: the last three of them. */
const APPLICATIONS = 3;
/**
 * Told after so much driving whatever is missing: a sensor that slept has spoken by then or is called silent (nine minutes at
 * most), and a dispatcher can still act on it.
 */
const LATEST_MOVING_MS = 15 * 60_000;
/** Cold pressures are medians of the first three minutes. */
const COLLECT_MS = 180_000;
/** 49 CFR 571.121 S5.1.5: the low-air warning at 60 psi. */
const LOW_AIR_KPA = 414;
/** Commercial driver's manual, air brakes: 85 to 100 psi within 45 s. */
const BUILD_FROM_KPA = 586;
const BUILD_TO_KPA = 689;
/** What the air was like before the starter turned says what there is after it for so long. */
const BEFORE_MS = 60_000;
/** A circuit has two states. */
const MOST_TESTS = 8;

export interface CheckState {
  /** Not told yet. */
  open: boolean;
  startAt: StreamMs;
  /** -1: not known. */
  stoodMs: number;
  movingMs: number;
  /** Lower circuit when last heard before the trip, but for the seconds of cranking; NEVER: not heard. */
  beforeKpa: number;
  beforeAt: StreamMs;
  /** Lower circuit when first heard; -1: not yet. */
  startKpa: number;
  /** It was at or below the warning; how long until it was past, -1: it is not. */
  wasLow: boolean;
  lowAirMs: number;
  /** Since when it is above the lower of the two limits on its way up; NEVER: not on its way. */
  buildAt: StreamMs;
  rpmSum: number;
  rpmTicks: number;
  wasBelow: boolean;
  buildUp: AirCheck['buildUp'];
  applications: number;
  wheels: Record<string, BrakeCheck>;
  leakTests: LeakTestSeen[];
}

export const newCheck = (): CheckState => ({
  open: false,
  startAt: NEVER,
  stoodMs: -1,
  movingMs: 0,
  beforeKpa: -1,
  beforeAt: NEVER,
  startKpa: -1,
  wasLow: false,
  lowAirMs: -1,
  buildAt: NEVER,
  rpmSum: 0,
  rpmTicks: 0,
  wasBelow: false,
  buildUp: null,
  applications: 0,
  wheels: {},
  leakTests: [],
});

/** Gathers the start check of a trip and adds it to the records, once: when all of it was seen, or it is time. */
export class TripCheck {
  readonly #holder: { check: CheckState };
  readonly #sight: TripSight;

  constructor(holder: { check: CheckState }, sight: TripSight) {
    this.#holder = holder;
    this.#sight = sight;
  }

  /** A tick without a trip. */
  wait(t: StreamMs): void {
    const kpa = this.#lowerKpa(t);
    if (kpa === null) return;
    this.#holder.check.beforeKpa = kpa;
    this.#holder.check.beforeAt = t;
  }

  /** stoodMs: -1 when not known. */
  begin(t: StreamMs, stoodMs: number): void {
    const { beforeKpa, beforeAt } = this.#holder.check;
    const s = { ...newCheck(), open: true, startAt: t, stoodMs };
    this.#holder.check = s;
    if (t - beforeAt <= BEFORE_MS && this.#sight.context.cranking(t)) this.#seen(t, beforeKpa);
  }

  record(record: TruckRecord): void {
    const s = this.#holder.check;
    if (!s.open) return;
    if (record.kind === 'air-test') {
      const { state, circuit, seconds, kpaPerMin, limit } = record.values;
      const others = s.leakTests.filter((x) => x.state !== state || x.circuit !== circuit);
      s.leakTests = [...others, { state, circuit, seconds, kpaPerMin, limit }].slice(-MOST_TESTS);
    } else if (record.kind === 'brake-application' && record.values.qualifying && s.applications < APPLICATIONS) {
      s.applications++;
      for (const [subject, { code, strokeMm }] of Object.entries(record.values.wheels)) {
        if (this.#sight.marks.isMarked(subject)) continue;
        const wheel = this.#wheel(subject);
        wheel.applied = most(wheel.applied, code);
        wheel.strokeMm = most(wheel.strokeMm, strokeMm);
      }
    }
  }

  tick(t: StreamMs, trip: number, { moving }: TripFacts): void {
    const s = this.#holder.check;
    if (!s.open) return;
    if (moving) s.movingMs += TICK_MS;
    this.#air(t);
    if (!this.#sight.isBraking(t)) this.#released(t);
    if (this.#isComplete(t)) this.finish(t, trip, 'complete');
    else if (s.movingMs >= LATEST_MOVING_MS) this.finish(t, trip, 'time');
  }

  /** Told as far as it is known, unless it has been told. */
  finish(t: StreamMs, trip: number, why: StartCheck['why']): void {
    const s = this.#holder.check;
    if (!s.open) return;
    s.open = false;
    const { tires } = this.#sight.layout;
    this.#sight.records.add({
      kind: 'start-check',
      subject: 'tractor',
      startAt: s.startAt,
      endAt: t,
      values: {
        trip,
        why,
        stoodS: s.stoodMs < 0 ? null : Math.round(s.stoodMs / 1000),
        tires: Object.fromEntries(tires.map(({ subject }, i) => [subject, this.#tire(i, t)])),
        brakes: { applications: s.applications, wheels: s.wheels },
        air: {
          startKpa: s.startKpa < 0 ? null : s.startKpa,
          lowAirS: s.lowAirMs < 0 ? null : s.lowAirMs / 1000,
          buildUp: s.buildUp,
          leakTests: s.leakTests,
        },
      },
    });
  }

  #wheel(subject: string): BrakeCheck {
    const { wheels } = this.#holder.check;
    wheels[subject] ??= { applied: null, released: null, strokeMm: null, restMm: null };
    return wheels[subject];
  }

  #released(t: StreamMs): void {
    const { startAt } = this.#holder.check;
    for (const [subject, seen] of Object.entries(this.#sight.wheelEnds)) {
      if (!isBrakeHeard(seen, t) || this.#sight.marks.isMarked(subject)) continue;
      if (seen.at >= startAt) this.#wheel(subject).released = seen.code;
      if (seen.strokeAt >= startAt && seen.restMm >= 0) this.#wheel(subject).restMm = roundedTo('mm', seen.restMm);
    }
  }

  #air(t: StreamMs): void {
    const kpa = this.#lowerKpa(t);
    if (kpa !== null) this.#seen(t, kpa);
    // How long a build-up took is not known where a part of it was not seen.
    else if (this.#sight.context.cranking(t)) this.#holder.check.buildAt = NEVER;
  }

  #seen(t: StreamMs, kpa: number): void {
    const s = this.#holder.check;
    if (s.startKpa < 0) s.startKpa = kpa;
    if (kpa <= LOW_AIR_KPA) s.wasLow = true;
    else if (s.wasLow && s.lowAirMs < 0) s.lowAirMs = t - s.startAt;
    this.#buildUp(t, kpa);
  }

  /** The first time that it passes from below the lower limit to the upper one without falling back. */
  #buildUp(t: StreamMs, kpa: number): void {
    const s = this.#holder.check;
    if (s.buildUp !== null) return;
    if (kpa <= BUILD_FROM_KPA) {
      s.wasBelow = true;
      s.buildAt = NEVER;
      return;
    }
    // It passed the lower limit while nobody looked.
    if (s.buildAt === NEVER && this.#sight.context.cranking(t - TICK_MS)) s.wasBelow = false;
    if (!s.wasBelow) return;
    if (s.buildAt === NEVER) {
      s.buildAt = t;
      s.rpmSum = 0;
      s.rpmTicks = 0;
    }
    const rpm = valueAt(this.#sight.context.state.engineSpeed, t);
    if (rpm >= ENGINE_RUNNING_RPM) {
      s.rpmSum += rpm;
      s.rpmTicks++;
    }
    if (kpa < BUILD_TO_KPA) return;
    const meanRpm = s.rpmTicks > 0 ? Math.round(s.rpmSum / s.rpmTicks) : null;
    s.buildUp = { seconds: (t - s.buildAt) / 1000, meanRpm };
  }

  /** null while one of the circuits that this truck has is silent: the lower one may be that; and while the engine is cranked. */
  #lowerKpa(t: StreamMs): number | null {
    if (this.#sight.context.cranking(t)) return null;
    const values = this.#sight.circuits(t).map(({ kpa }) => kpa);
    return values.length === 0 || values.includes(null) ? null : Math.min(...(values as number[]));
  }

  #isComplete(t: StreamMs): boolean {
    const s = this.#holder.check;
    const { tires, layout } = this.#sight;
    const isBuilding = s.wasBelow && s.buildUp === null;
    if (s.applications < APPLICATIONS || t - s.startAt <= COLLECT_MS || isBuilding) return false;
    return layout.tires.every((_, i) => tires.isMarked(i) || (tires.isFresh(i, t) && tires.states[i]!.at >= s.startAt));
  }

  #tire(i: number, t: StreamMs): TireCheck {
    const { tires, coldAfterMs } = this.#sight;
    const s = tires.states[i]!;
    const target = tires.target(i);
    const targetKpa = Number.isNaN(target) ? null : roundedTo('kPa', target);
    if (tires.isMarked(i) || s.at === NEVER)
      return { kpa: null, coldKpa: null, targetKpa, share: null, ageS: null, sure: false };
    const isHeard = tires.isFresh(i, t);
    const isCold = this.#holder.check.stoodMs >= coldAfterMs && s.baseColdKpa > 0;
    const now = { cold: isHeard ? s.coldKpa : null, share: isHeard && s.share >= 0 ? s.share : null };
    const cold = isCold ? s.baseColdKpa : now.cold;
    const share = isCold ? (targetKpa === null ? null : s.baseColdKpa / target) : now.share;
    return {
      kpa: isHeard ? roundedTo('kPa', s.pressureKpa) : null,
      coldKpa: cold === null ? null : roundedTo('kPa', cold),
      targetKpa,
      share: share === null ? null : roundedTo('share', share),
      ageS: Math.round((t - s.at) / 1000),
      sure: share !== null && (isCold || s.shareSure),
    };
  }
}

const most = (a: number | null, b: number | null): number | null => (a === null || (b !== null && b > a) ? b : a);
