import { resultsHolding } from '../alerts/evidence.js';
import type { Description, Judgement, Level, Subject } from '../alerts/judgement.js';
import { UNTIL_NEXT_MS } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import type { Application, Applications } from './applications.js';
import { learned, STROKE, STROKE_TEXT, statusAge, tellsStatus, type WheelEndState } from './brake-state.js';
import { CODE_MARGIN, type Marks } from './marks.js';
import type { Workbench } from './monitor.js';

/** Limits that are judged on measured stroke have names that begin so. */
export const MEASURED = 'measured';

/** Stroke status (BSA): rules brake-overstroke, brake-not-applying and brake-dragging as the sender sees them, brake-sensor-fault. */
export class StrokeStatus {
  readonly #layout: Layout;
  readonly #context: Context;
  readonly #marks: Marks;
  readonly #states: readonly WheelEndState[];
  readonly #applications: Applications;
  readonly #over: Judgement | undefined;
  readonly #dead: Judgement | undefined;
  readonly #drag: Judgement | undefined;
  readonly #fault: Judgement | undefined;
  readonly #isHot: (wheelEnd: number, t: StreamMs) => boolean;

  /** isHot: is a tire of the wheel end hot, or above its peers? */
  constructor(
    bench: Workbench,
    states: readonly WheelEndState[],
    applications: Applications,
    isHot: (wheelEnd: number, t: StreamMs) => boolean,
  ) {
    this.#layout = bench.layout;
    this.#context = bench.context;
    this.#marks = bench.marks;
    this.#states = states;
    this.#applications = applications;
    this.#isHot = isHot;
    this.#over = bench.judgement('brake-overstroke');
    this.#dead = bench.judgement('brake-not-applying');
    this.#drag = bench.judgement('brake-dragging');
    this.#fault = bench.judgement('brake-sensor-fault');
    const fault = this.#fault;
    if (fault === undefined) return;
    for (const [i, end] of bench.layout.wheelEnds.entries()) fault.add(end.subject, end.place, i);
    fault.fresh = (s, t) => tellsStatus(states[s.index]!, t);
    fault.describe = () => ({ measured: { code: STROKE.error, text: 'sensor error' } });
  }

  /** One state of a BSA frame: code 0…3. A second sender waits until the first is old. */
  take(wheelEnd: number, t: StreamMs, source: number, code: number): void {
    const s = this.#states[wheelEnd]!;
    if (!believes(s, t, source)) return;
    s.intervalMs = learned(s.intervalMs, t - s.at);
    s.code = code;
    s.at = t;
    const { subject } = this.#layout.wheelEnds[wheelEnd]!;
    if (this.#marks.isMarked(subject)) this.#marks.reading(subject, t, statusAge(s), Number.NaN, CODE_MARGIN);
    if (this.#applications.isJudged(t)) s.frames[code] = s.frames[code]! + 1;
    this.#judgeDragging(wheelEnd, t, code);
    this.#fault?.state(wheelEnd, 0, t, statusAge(s), false, true);
  }

  /** Code 6: the sender says that the sensor is faulty. */
  fault(wheelEnd: number, t: StreamMs, source: number): void {
    const s = this.#states[wheelEnd]!;
    if (!believes(s, t, source)) return;
    s.faultAt = t;
    this.#drag?.stop(wheelEnd, t);
    this.#fault?.state(wheelEnd, 0, t, statusAge(s), true, false);
  }

  /** An application is over: one result of a brake that told its state in it. */
  ended(i: number, { endedAt, durationMs, qualifying }: Application): void {
    const { frames } = this.#states[i]!;
    const seen = frames[0]! + frames[1]! + frames[2]! + frames[3]!;
    if (!qualifying || seen === 0) return;
    // A single frame of code 2 in a long application does not count.
    const longMs = (this.#over?.constant('singleFrameLongS') ?? 0) * 1000;
    const least = durationMs > longMs ? 2 : 1;
    this.#result(this.#over, i, endedAt, frames[STROKE.overStroke]! >= least);
    this.#result(this.#dead, i, endedAt, frames[STROKE.notFunctioning]! > 0);
  }

  /** What brake-overstroke and brake-not-applying have counted for the level. */
  describe(j: Judgement, s: Subject, level: Level): Description {
    const k = Math.max(
      0,
      j.limits.findIndex((l) => l.level === level && !l.name.startsWith(MEASURED)),
    );
    const code = j === this.#over ? STROKE.overStroke : STROKE.notFunctioning;
    const e = s.evidence[k]!;
    const of = `${resultsHolding(e)} of ${Math.max(e.resultCount, 1)}`;
    return { measured: { code, text: STROKE_TEXT[code]!, of } };
  }

  #result(j: Judgement | undefined, i: number, t: StreamMs, holds: boolean): void {
    if (j === undefined) return;
    for (let k = 0; k < j.limits.length; k++) {
      if (!j.limits[k]!.name.startsWith(MEASURED)) j.state(i, k, t, UNTIL_NEXT_MS, holds, false);
    }
  }

  #judgeDragging(i: number, t: StreamMs, code: number): void {
    const j = this.#drag;
    if (j === undefined) return;
    const released = this.#applications.isReleased(t) === true && this.#context.parkingBrake(t) === false;
    const judged = released && this.#context.moving(t) === true;
    const drags = code === STROKE.dragging;
    const hot = judged && drags && this.#isHot(i, t);
    const age = statusAge(this.#states[i]!);
    for (let k = 0; k < j.limits.length; k++) {
      const { name, level } = j.limits[k]!;
      if (name.startsWith(MEASURED)) continue;
      const holds = level === 3 ? hot : drags;
      if (judged) j.state(i, k, t, age, holds, !holds);
      else j.stop(i, t, k);
    }
  }
}

/** Is the sender believed? Another one is heard when the first has said nothing for its age limit. */
function believes(s: WheelEndState, t: StreamMs, source: number): boolean {
  if (s.source === source) return true;
  if (t - Math.max(s.at, s.faultAt) <= statusAge(s)) return false;
  s.source = source;
  return true;
}
