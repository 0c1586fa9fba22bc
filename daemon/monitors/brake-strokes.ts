import { strokeExceeds, strokeLimit } from '../../config/chambers.js';
import type { Measured } from '../alerts/event.js';
import { type Judgement, type Level, type Limit, type Subject, UNTIL_NEXT_MS } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import type { Application, Applications } from './applications.js';
import { medianInPlace } from './arithmetic/median.js';
import { learned, strokeAge, toStep, type WheelEndState } from './brake-state.js';
import { MEASURED } from './brake-status.js';
import { type Marks, STROKE_MARGIN } from './marks.js';
import type { Workbench } from './monitor.js';

/** The rest of a stroke is the median of so many pauses, of at least three. */
const MOST_RESTS = 9;
const LEAST_RESTS = 3;
const WITH_HEAT = `${MEASURED}-with-heat`;

/** Measured pushrod stroke, from extra signals of the truck file: rules brake-overstroke, brake-not-applying and brake-dragging. */
export class MeasuredStrokes {
  readonly #layout: Layout;
  readonly #context: Context;
  readonly #marks: Marks;
  readonly #states: readonly WheelEndState[];
  readonly #applications: Applications;
  readonly #band: { bandLowKpa: number; bandHighKpa: number };
  readonly #over: Judgement | undefined;
  readonly #dead: Judgement | undefined;
  readonly #drag: Judgement | undefined;
  readonly #aboveRestMm: number;
  readonly #isHot: (wheelEnd: number, t: StreamMs) => boolean;

  /** limits: constants of brake-overstroke and brake-dragging, which count also where those rules are off. */
  constructor(
    bench: Workbench,
    states: readonly WheelEndState[],
    applications: Applications,
    limits: { bandLowKpa: number; bandHighKpa: number; aboveRestMm: number },
    isHot: (wheelEnd: number, t: StreamMs) => boolean,
  ) {
    this.#layout = bench.layout;
    this.#context = bench.context;
    this.#marks = bench.marks;
    this.#states = states;
    this.#applications = applications;
    this.#band = limits;
    this.#aboveRestMm = limits.aboveRestMm;
    this.#isHot = isHot;
    this.#over = bench.judgement('brake-overstroke');
    this.#dead = bench.judgement('brake-not-applying');
    this.#drag = bench.judgement('brake-dragging');
    // Where somebody says that it is repaired, the brake may rest elsewhere from now on.
    if (this.#drag) this.#drag.onReset = (s) => forgetRest(states[s.index]!);
  }

  /** One stroke, mm. */
  take(i: number, t: StreamMs, mm: number): void {
    const s = this.#states[i]!;
    s.strokeIntervalMs = learned(s.strokeIntervalMs, t - s.strokeAt);
    s.strokeMm = mm;
    s.strokeAt = t;
    const { subject } = this.#layout.wheelEnds[i]!;
    if (this.#marks.isMarked(subject)) this.#marks.reading(subject, t, strokeAge(s), Number.NaN, STROKE_MARGIN);
    if (this.#applications.isApplied()) this.#applied(s, t, mm);
    // Spring brakes push the rod out too: a stroke with them on, or perhaps on, is no rest.
    const atRest = this.#applications.isFree(t) && this.#applications.areSpringsOff(t);
    if (atRest) {
      s.restMm = mm;
      s.pauseMm = s.pauseMm < 0 ? mm : Math.min(s.pauseMm, mm);
    }
    this.#judgeDragging(i, t, atRest);
  }

  /** An application is over. */
  ended(i: number, { endedAt, qualifying, springsOff }: Application): void {
    const s = this.#states[i]!;
    this.#settleBand(s, this.#applications.pressure(endedAt));
    const rest = s.pauseMm >= 0 ? s.pauseMm : s.pauseBeforeMm;
    if (springsOff) {
      this.#judgeLimit(i, endedAt);
      if (qualifying && s.peakMm >= 0 && rest >= 0) {
        const isStill = toStep(s.peakMm - rest) < (this.#dead?.constant('minStrokeMm') ?? 0);
        this.#result(this.#dead, MEASURED, i, endedAt, isStill);
      }
    }
    if (s.pauseMm < 0) return;
    this.#learnRest(s);
    s.pauseBeforeMm = s.pauseMm;
    s.pauseMm = -1;
  }

  /** The table of the regulation does not have every chamber: then the event says where its limit is from. */
  basis({ name, basis }: Limit, s: Subject): string | null {
    const { chamber } = this.#layout.wheelEnds[s.index]!;
    if (!name.startsWith(MEASURED) || chamber === null) return null;
    const of = strokeLimit(chamber).basis;
    return basis.includes(of) ? null : `${basis}; limit of this chamber: ${of}`;
  }

  /** What was measured where a limit on measured stroke holds at the level; null: none does. */
  describe(j: Judgement, s: Subject, level: Level): Measured | null {
    const k = j.limits.findIndex((l, i) => l.name.startsWith(MEASURED) && l.level === level && s.evidence[i]!.up);
    const { chamber } = this.#layout.wheelEnds[s.index]!;
    const { judgedMm, strokeMm, learnedRestMm } = this.#states[s.index]!;
    if (k < 0) return null;
    const stroke = { unit: 'mm', quality: 'good' } as const;
    if (j === this.#over && chamber !== null)
      return { quantity: 'pushrod stroke', value: judgedMm, limit: strokeLimit(chamber).limitMm, ...stroke };
    if (j === this.#drag && strokeMm >= 0 && learnedRestMm >= 0) {
      const limit = learnedRestMm + this.#aboveRestMm;
      return { quantity: 'pushrod stroke, brakes released', value: strokeMm, limit, ...stroke };
    }
    return null;
  }

  #applied(s: WheelEndState, t: StreamMs, mm: number): void {
    if (mm > s.peakMm) s.peakMm = mm;
    const kpa = this.#applications.pressure(t);
    const toldAt = this.#applications.pressureAt(t);
    if (toldAt !== s.pressureAt) this.#settleBand(s, kpa);
    s.pressureAt = toldAt;
    const inBand = kpa >= this.#band.bandLowKpa && kpa <= this.#band.bandHighKpa;
    if (inBand && mm > s.pendingMm) s.pendingMm = mm;
  }

  /** A pressure comes once a second, strokes ten times: those after it count unless it has risen out of the band by the next. kpa NaN: none. */
  #settleBand(s: WheelEndState, kpa: number): void {
    if (!(kpa > this.#band.bandHighKpa) && s.pendingMm > s.bandPeakMm) s.bandPeakMm = s.pendingMm;
    s.pendingMm = -1;
  }

  /** Equal to the limit is legal (49 CFR 393.47(e)). A stroke outside the pressure band is shown and not judged. */
  #judgeLimit(i: number, t: StreamMs): void {
    const s = this.#states[i]!;
    const { chamber } = this.#layout.wheelEnds[i]!;
    if (s.bandPeakMm < 0 || chamber === null) return;
    const { limitMm } = strokeLimit(chamber);
    s.judgedMm = s.bandPeakMm;
    this.#result(this.#over, MEASURED, i, t, strokeExceeds(limitMm, s.bandPeakMm));
    const farMm = this.#over?.constant('farMm') ?? Number.POSITIVE_INFINITY;
    this.#result(this.#over, `${MEASURED}-far`, i, t, s.bandPeakMm >= toStep(limitMm + farMm));
  }

  #result(j: Judgement | undefined, limit: string, i: number, t: StreamMs, holds: boolean): void {
    if (j !== undefined) j.state(i, j.limit(limit), t, UNTIL_NEXT_MS, holds, false);
  }

  /** A pause in which the brake dragged teaches nothing. */
  #learnRest(s: WheelEndState): void {
    if (s.learnedRestMm >= 0 && s.pauseMm >= toStep(s.learnedRestMm + this.#aboveRestMm)) return;
    s.restsMm.push(s.pauseMm);
    if (s.restsMm.length > MOST_RESTS) s.restsMm.shift();
    if (s.restsMm.length >= LEAST_RESTS) s.learnedRestMm = medianInPlace([...s.restsMm]);
  }

  #judgeDragging(i: number, t: StreamMs, atRest: boolean): void {
    const j = this.#drag;
    const s = this.#states[i]!;
    if (j === undefined || s.learnedRestMm < 0) return;
    const judged = atRest && this.#context.parkingBrake(t) === false && this.#context.moving(t) === true;
    const drags = s.strokeMm >= toStep(s.learnedRestMm + this.#aboveRestMm);
    const hot = judged && drags && this.#isHot(i, t);
    for (let k = 0; k < j.limits.length; k++) {
      const { name } = j.limits[k]!;
      if (!name.startsWith(MEASURED)) continue;
      const holds = name === WITH_HEAT ? hot : drags;
      if (judged) j.state(i, k, t, strokeAge(s), holds, !holds);
      else j.stop(i, t, k);
    }
  }
}

function forgetRest(s: WheelEndState): void {
  s.restsMm = [];
  s.learnedRestMm = -1;
  s.pauseMm = -1;
}
