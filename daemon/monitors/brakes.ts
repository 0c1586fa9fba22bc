import { strokeExceeds, strokeLimit } from '../../config/chambers.js';
import type { Measured } from '../alerts/event.js';
import { resultsHolding } from '../alerts/evidence.js';
import type { Description, Judgement, Level, Subject } from '../alerts/judgement.js';
import { UNTIL_NEXT_MS } from '../alerts/judgement.js';
import { roundedTo } from '../alerts/rounding.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import type { BrakeApplicationValues, Records } from '../truck/records.js';
import type { Application, Applications } from './applications.js';
import { CODE_MARGIN, type Marks, STROKE_MARGIN } from './marks.js';
import type { Workbench } from './monitor.js';
import type { TireHot } from './tire-hot.js';

/** States of BSA (SPN 3785–3804). */
export const STROKE = { ok: 0, notFunctioning: 1, overStroke: 2, dragging: 3 } as const;
const STROKE_TEXT = ['ok', 'non-functioning', 'over-stroke', 'dragging'];
/** BSA comes once a second. */
const FIRST_INTERVAL_MS = 1000;
const LEAST_AGE_MS = 2_000;
const MOST_AGE_MS = 10_000;

export interface WheelEndState {
  code: number;
  at: StreamMs;
  intervalMs: number;
  /** bus << 8 | source address that is believed; -1 none. */
  source: number;
  /** Frames of the running application, by code 0…3. */
  frames: number[];
  /** Measured pushrod stroke, mm; -1: none. Greatest inside the judged pressure band, greatest at all, and at rest. */
  bandPeakMm: number;
  peakMm: number;
  restMm: number;
  /** What the last judged application showed, mm. */
  judgedMm: number;
  /** Last measured stroke. */
  strokeAt: StreamMs;
}

export const newWheelEnd = (): WheelEndState => ({
  code: STROKE.ok,
  at: NEVER,
  intervalMs: FIRST_INTERVAL_MS,
  source: -1,
  frames: [0, 0, 0, 0],
  bandPeakMm: -1,
  peakMm: -1,
  restMm: -1,
  judgedMm: -1,
  strokeAt: NEVER,
});

/** Rules brake-overstroke and brake-not-applying on stroke status and on measured stroke, brake-dragging on stroke status. */
export class Brakes {
  readonly #layout: Layout;
  readonly #context: Context;
  readonly #states: WheelEndState[];
  readonly #over: Judgement | undefined;
  readonly #dead: Judgement | undefined;
  readonly #drag: Judgement | undefined;
  readonly #hot: TireHot | undefined;
  readonly #marks: Marks;
  readonly #records: Records;
  applications!: Applications;

  constructor(bench: Workbench, states: Record<string, WheelEndState>, hot: TireHot | undefined) {
    this.#layout = bench.layout;
    this.#context = bench.context;
    this.#hot = hot;
    this.#marks = bench.marks;
    this.#records = bench.records;
    this.#over = bench.judgement('brake-overstroke');
    this.#dead = bench.judgement('brake-not-applying');
    this.#drag = bench.judgement('brake-dragging');
    this.#states = bench.layout.wheelEnds.map((end, i) => {
      states[end.subject] ??= newWheelEnd();
      for (const j of [this.#over, this.#dead, this.#drag]) j?.add(end.subject, end.place, i);
      return states[end.subject]!;
    });
    for (const j of [this.#over, this.#dead]) if (j) j.describe = (s, _, level) => this.#describeCount(j, s, level);
    if (this.#drag) {
      this.#drag.describe = (s) => {
        const { code } = this.#states[s.index]!;
        return { measured: { code, text: STROKE_TEXT[code]! } };
      };
    }
    for (const j of [this.#over, this.#dead, this.#drag]) if (j) j.fresh = (s, t) => this.#isFresh(s.index, t);
  }

  /** One stroke state of a BSA frame: code 0…3; others are no reading. A second sender waits until the first is old. */
  stroke(wheelEnd: number, t: StreamMs, source: number, code: number): void {
    const s = this.#states[wheelEnd]!;
    const dt = t - s.at;
    if (s.source !== source) {
      if (dt <= this.#ageLimit(wheelEnd)) return;
      s.source = source;
    } else if (dt > 0 && dt < 6 * MOST_AGE_MS) s.intervalMs += (dt - s.intervalMs) / 8;
    s.code = code;
    s.at = t;
    const { subject } = this.#layout.wheelEnds[wheelEnd]!;
    if (this.#marks.isMarked(subject))
      this.#marks.reading(subject, t, this.#ageLimit(wheelEnd), Number.NaN, CODE_MARGIN);
    if (this.applications.isJudged(t)) s.frames[code] = s.frames[code]! + 1;
    this.#judgeDragging(wheelEnd, t, code);
  }

  /** A measured pushrod stroke, mm, from an extra signal of the truck file: no standard SPN tells it. */
  measured(wheelEnd: number, t: StreamMs, mm: number): void {
    const s = this.#states[wheelEnd]!;
    s.strokeAt = t;
    const { subject } = this.#layout.wheelEnds[wheelEnd]!;
    if (this.#marks.isMarked(subject)) this.#marks.reading(subject, t, MOST_AGE_MS, Number.NaN, STROKE_MARGIN);
    if (!this.applications.isApplied()) {
      if (this.applications.isReleased(t) === true) s.restMm = mm;
      return;
    }
    if (mm > s.peakMm) s.peakMm = mm;
    const kpa = this.applications.pressure(t);
    const inBand =
      kpa >= (this.#over?.constant('bandLowKpa') ?? 0) && kpa <= (this.#over?.constant('bandHighKpa') ?? 0);
    if (inBand && mm > s.bandPeakMm) s.bandPeakMm = mm;
  }

  /** An application is over: one result for each brake that told its state in it. */
  ended(application: Application): void {
    const judgedAt = application.endedAt;
    this.#keep(application);
    for (const [i, s] of this.#states.entries()) {
      const frames = s.frames;
      const seen = frames.reduce((a, b) => a + b, 0);
      if (application.qualifying && seen > 0) {
        this.#result(this.#over, i, judgedAt, this.#isOver(application, frames[STROKE.overStroke]!));
        this.#result(this.#dead, i, judgedAt, frames[STROKE.notFunctioning]! > 0);
      }
      this.#compareMarked(i, application);
      frames.fill(0);
      this.#judgeMeasured(i, application);
    }
  }

  /** The application as a record. A wheel end that told nothing in it is not listed. */
  #keep({ beganAt, endedAt, durationMs, ...values }: Application): void {
    const wheels: BrakeApplicationValues['wheels'] = {};
    for (const [i, { frames, peakMm }] of this.#states.entries()) {
      const code = frames.findLastIndex((n) => n > 0);
      if (code < 0 && peakMm < 0) continue;
      wheels[this.#layout.wheelEnds[i]!.subject] = {
        code: code < 0 ? null : code,
        strokeMm: peakMm < 0 ? null : roundedTo('mm', peakMm),
      };
    }
    this.#records.add({
      kind: 'brake-application',
      subject: 'brakes',
      startAt: beganAt,
      endAt: endedAt,
      values: {
        durationS: durationMs / 1000,
        peakKpa: rounded('kPa', values.peakKpa),
        meanKpa: rounded('kPa', values.meanKpa),
        startKmh: rounded('km/h', values.startKmh),
        endKmh: rounded('km/h', values.endKmh),
        from: values.from,
        qualifying: values.qualifying,
        wheels,
        airUsedKpa: rounded('kPa', values.airUsedKpa),
      },
    });
  }

  /** What a marked sensor has said: the worst state where it tells states, else the greatest stroke in the judged band. */
  #compareMarked(i: number, { endedAt, qualifying }: Application): void {
    const { subject } = this.#layout.wheelEnds[i]!;
    if (!this.#marks.isMarked(subject)) return;
    const { source, frames, bandPeakMm } = this.#states[i]!;
    if (source < 0) {
      if (bandPeakMm >= 0) this.#marks.application(subject, endedAt, bandPeakMm, STROKE_MARGIN);
      return;
    }
    const worst = frames.findLastIndex((n) => n > 0);
    if (qualifying && worst >= 0) this.#marks.application(subject, endedAt, worst, CODE_MARGIN);
  }

  /** Outside the pressure band a stroke is shown and not judged. Equal to the limit is legal (49 CFR 393.47(e)). */
  #judgeMeasured(i: number, { endedAt, qualifying }: Application): void {
    const s = this.#states[i]!;
    const { chamber } = this.#layout.wheelEnds[i]!;
    if (s.bandPeakMm >= 0 && chamber !== null) {
      const { limitMm } = strokeLimit(chamber);
      s.judgedMm = s.bandPeakMm;
      this.#resultOf(this.#over, 'measured', i, endedAt, strokeExceeds(limitMm, s.bandPeakMm));
      const far = s.bandPeakMm >= limitMm + (this.#over?.constant('farMm') ?? Number.POSITIVE_INFINITY);
      this.#resultOf(this.#over, 'measured-far', i, endedAt, far);
    }
    if (qualifying && s.peakMm >= 0 && s.restMm >= 0) {
      const least = this.#dead?.constant('minStrokeMm') ?? 0;
      this.#resultOf(this.#dead, 'measured', i, endedAt, s.peakMm - s.restMm < least);
    }
    s.bandPeakMm = -1;
    s.peakMm = -1;
  }

  #resultOf(j: Judgement | undefined, limit: string, i: number, t: StreamMs, holds: boolean): void {
    if (j !== undefined) j.state(i, j.limit(limit), t, UNTIL_NEXT_MS, holds, false);
  }

  /** A single frame of code 2 in a long application does not count. */
  #isOver(application: Application, frames: number): boolean {
    const longMs = (this.#over?.constant('singleFrameLongS') ?? 0) * 1000;
    return frames > (application.durationMs > longMs ? 1 : 0);
  }

  #result(j: Judgement | undefined, i: number, t: StreamMs, holds: boolean): void {
    if (j === undefined) return;
    for (const [k, limit] of j.limits.entries()) {
      if (limit.n > 0 && !limit.name.startsWith('measured')) j.state(i, k, t, UNTIL_NEXT_MS, holds, false);
    }
  }

  #judgeDragging(i: number, t: StreamMs, code: number): void {
    const j = this.#drag;
    if (j === undefined) return;
    const released = this.applications.isReleased(t) === true && this.#context.parkingBrake(t) === false;
    if (!released || this.#context.moving(t) !== true) {
      j.stop(i, t);
      return;
    }
    const drags = code === STROKE.dragging;
    const hot = drags && this.#isHot(i, t);
    const age = this.#ageLimit(i);
    for (const [k, limit] of j.limits.entries()) {
      const holds = limit.level === 3 ? hot : drags;
      j.state(i, k, t, age, holds, !holds);
    }
  }

  #isHot(i: number, t: StreamMs): boolean {
    return this.#hot !== undefined && this.#layout.wheelEnds[i]!.tires.some((tire) => this.#hot!.isHot(tire, t));
  }

  #ageLimit(i: number): number {
    return Math.max(LEAST_AGE_MS, Math.min(3 * this.#states[i]!.intervalMs, MOST_AGE_MS));
  }

  #isFresh(i: number, t: StreamMs): boolean {
    const { at, strokeAt } = this.#states[i]!;
    return t - at <= this.#ageLimit(i) || t - strokeAt <= MOST_AGE_MS;
  }

  #describeCount(j: Judgement, s: Subject, level: Level): Description {
    const state = this.#states[s.index]!;
    const { chamber } = this.#layout.wheelEnds[s.index]!;
    const byNumber = j.limits.findIndex(
      (l, i) => l.name.startsWith('measured') && l.level === level && s.evidence[i]!.up,
    );
    if (j === this.#over && byNumber >= 0 && chamber !== null) {
      const { limitMm } = strokeLimit(chamber);
      const measured: Measured = {
        quantity: 'pushrod stroke',
        value: state.judgedMm,
        limit: limitMm,
        unit: 'mm',
        quality: 'good',
      };
      return { measured };
    }
    const k = Math.max(
      0,
      j.limits.findIndex((l) => l.level === level && l.n > 0),
    );
    const code = j === this.#over ? STROKE.overStroke : STROKE.notFunctioning;
    const e = s.evidence[k]!;
    return {
      measured: { code, text: STROKE_TEXT[code]!, of: `${resultsHolding(e)} of ${Math.max(e.resultCount, 1)}` },
    };
  }
}

const rounded = (unit: string, value: number | null): number | null => (value === null ? null : roundedTo(unit, value));
