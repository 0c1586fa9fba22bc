import type { TruckConfig } from '../../config/resolved.js';
import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import { roundedTo } from '../alerts/rounding.js';
import type { PipelineState } from '../pipeline-state.js';
import type { StreamMs, WallMs } from '../time.js';
import type { Layout } from '../truck/layout.js';
import type { BrakeApplicationValues, Records } from '../truck/records.js';
import { type Application, Applications } from './applications.js';
import { StrokeGrowth } from './brake-growth.js';
import { BrakeHot } from './brake-hot.js';
import { BrakeLining } from './brake-lining.js';
import { STROKE_TEXT, tellsState, tellsStroke, type WheelEndState, wheelEndOf } from './brake-state.js';
import { StrokeStatus } from './brake-status.js';
import { MeasuredStrokes } from './brake-strokes.js';
import { StrokeUneven } from './brake-uneven.js';
import { BrakesDefective } from './brakes-defective.js';
import { CODE_MARGIN, type Marks, STROKE_MARGIN } from './marks.js';
import type { Workbench } from './monitor.js';
import type { TireHot } from './tire-hot.js';

/** All rules on brakes. Stroke status and measured stroke judge overstroke, not-applying and dragging side by side. */
export class Brakes {
  readonly applications: Applications;
  readonly status: StrokeStatus;
  readonly strokes: MeasuredStrokes;
  readonly lining: BrakeLining | undefined;
  readonly heat: BrakeHot | undefined;
  readonly #growth: StrokeGrowth | undefined;
  readonly #uneven: StrokeUneven | undefined;
  readonly #defective: BrakesDefective | undefined;
  readonly #layout: Layout;
  readonly #states: readonly WheelEndState[];
  readonly #marks: Marks;
  readonly #records: Records;

  constructor(bench: Workbench, state: PipelineState, rules: TruckConfig['rules'], hot: TireHot | undefined) {
    this.#layout = bench.layout;
    this.#marks = bench.marks;
    this.#records = bench.records;
    const ends = bench.layout.wheelEnds;
    const states = ends.map(({ subject }) => wheelEndOf(state.wheelEnds, subject));
    this.#states = states;
    const with_ = <T>(name: Parameters<Workbench['judgement']>[0], make: (j: Judgement) => T): T | undefined => {
      const j = bench.judgement(name);
      return j === undefined ? undefined : make(j);
    };
    for (const name of ['brake-overstroke', 'brake-dragging', 'brake-not-applying'] as const)
      with_(name, (j) => this.#prepare(j));
    this.applications = new Applications(state.application, bench.context, state.pressures, limitsOf(rules), (a) =>
      this.#ended(a),
    );
    const isHot = (i: number, t: StreamMs): boolean =>
      hot !== undefined && ends[i]!.tires.some((tire) => hot.isHot(tire, t));
    const measured = {
      bandLowKpa: rules['brake-overstroke'].constants.bandLowKpa!,
      bandHighKpa: rules['brake-overstroke'].constants.bandHighKpa!,
      aboveRestMm: rules['brake-dragging'].constants.aboveRestMm!,
    };
    this.status = new StrokeStatus(bench, states, this.applications, isHot);
    this.strokes = new MeasuredStrokes(bench, states, this.applications, measured, isHot);
    this.#uneven = with_('brake-stroke-uneven', (j) => new StrokeUneven(bench, j, states));
    this.#growth = with_('brake-stroke-growing', (j) => new StrokeGrowth(bench, j, states));
    this.lining = with_('brake-lining-low', (j) => new BrakeLining(bench, j, states));
    this.heat = with_('brake-hot', (j) => new BrakeHot(j, state.brakeHeat));
    this.#defective = with_('brakes-defective-share', (j) => new BrakesDefective(bench, j));
  }

  /** @param calendarMs wall time of this tick where the clock of the run is known to be right, else null */
  tick(t: StreamMs, calendarMs: WallMs | null): void {
    this.#growth?.tick(t, calendarMs);
    this.applications.tick(t);
    this.#defective?.tick(t);
  }

  #prepare(j: Judgement): void {
    for (const [i, end] of this.#layout.wheelEnds.entries()) j.add(end.subject, end.place, i);
    j.fresh = (s, t) => tellsState(this.#states[s.index]!, t) || tellsStroke(this.#states[s.index]!, t);
    j.describe = (s, _, level) => this.#describe(j, s, level);
    if (j.rule.name === 'brake-overstroke') j.basisOf = (s, limit) => this.strokes.basis(limit, s);
  }

  #describe(j: Judgement, s: Subject, level: Level) {
    const measured = this.strokes.describe(j, s, level);
    if (measured !== null) return { measured };
    if (j.rule.name !== 'brake-dragging') return this.status.describe(j, s, level);
    const { code } = this.#states[s.index]!;
    return { measured: { code, text: STROKE_TEXT[code]! } };
  }

  /** An application is over, and 1.5 s have passed or the next one begins. */
  #ended(application: Application): void {
    this.#keep(application);
    for (let i = 0; i < this.#states.length; i++) {
      const s = this.#states[i]!;
      this.status.ended(i, application);
      this.strokes.ended(i, application);
      this.#compareMarked(i, application);
      const { subject } = this.#layout.wheelEnds[i]!;
      if (s.bandPeakMm >= 0 && application.springsOff && !this.#marks.isMarked(subject))
        this.#growth?.applied(i, application.endedAt, s.bandPeakMm);
    }
    this.#uneven?.ended(application);
    for (const s of this.#states) {
      s.frames.fill(0);
      s.peakMm = -1;
      s.bandPeakMm = -1;
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
}

/** What makes an application: of the rules that judge by it, whether they are on or not. */
function limitsOf(rules: TruckConfig['rules']): ConstructorParameters<typeof Applications>[3] {
  const over = rules[rules['brake-overstroke'].enabled ? 'brake-overstroke' : 'brake-not-applying'];
  const drag = rules['brake-dragging'];
  return {
    qualifyingKpa: over.constants.qualifyingKpa!,
    qualifyingMs: over.constants.qualifyingS! * 1000,
    freeKpa: drag.constants.releasedKpa!,
    freeMs: drag.constants.releasedS! * 1000,
  };
}

const rounded = (unit: string, value: number | null): number | null => (value === null ? null : roundedTo(unit, value));
