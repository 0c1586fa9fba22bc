import type { RuleName, TruckConfig } from '../../config/resolved.js';
import type { Surroundings } from '../alerts/book-state.js';
import type { Judgement } from '../alerts/judgement.js';
import type { ReadingReport } from '../effects.js';
import type { GroupSinks } from '../intake.js';
import { readerFor, type SignalReader } from '../j1939/decode.js';
import type { PipelineState } from '../pipeline-state.js';
import { NEVER, type StreamMs, type WallMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import { Minutes } from '../truck/minutes.js';
import type { Records } from '../truck/records.js';
import type { Sample } from '../truck/samples.js';
import { type TireReading, Tires } from '../truck/tires.js';
import type { TripSight } from '../truck/trip-sight.js';
import { Air } from './air.js';
import { Applications, newApplication } from './applications.js';
import { Brakes } from './brakes.js';
import { BusSilent } from './bus-silent.js';
import { COLD_AFTER_MS, ColdStarts } from './cold-starts.js';
import { DualsUnequal } from './duals-unequal.js';
import { areaOfSubject, Faults } from './faults.js';
import { COLD_MARGIN, type Marks, RAW_MARGIN } from './marks.js';
import type { TickFacts, Workbench } from './monitor.js';
import { circuitsOf, qualityOf, reportOf } from './reading-report.js';
import { TireFrames } from './tire-frames.js';
import { TireHot } from './tire-hot.js';
import { TireLosingAir } from './tire-losing-air.js';
import { TirePressure } from './tire-pressure.js';
import { TireSensorSilent } from './tire-sensor-silent.js';

/** Bits of one wheel end in BSA. */
const BSA_BITS = 3;
/** Codes 0…3 are states; 4…7 are reserved, error and not available. */
const LAST_STATE = 3;

/** All monitors of one truck, wired to their readings. A new monitor gets its line here and nowhere else. */
export class Monitors {
  readonly sinks: Omit<GroupSinks, 'speed'>;
  readonly minutes: Minutes;
  readonly areaOf = areaOfSubject;
  readonly #state: PipelineState;
  readonly #context: Context;
  readonly #layout: Layout;
  readonly #tires: Tires;
  readonly #marks: Marks;
  readonly #records: Records;
  readonly #pressure: TirePressure;
  readonly #losing: TireLosingAir | undefined;
  readonly #hot: TireHot | undefined;
  readonly #duals: DualsUnequal | undefined;
  readonly #silent: TireSensorSilent | undefined;
  readonly #coldStarts: ColdStarts;
  readonly #brakes: Brakes;
  readonly #applications: Applications;
  readonly #air: Air;
  readonly #faults: Faults;
  readonly #busSilent: BusSilent | undefined;
  readonly #slots: {
    pressure: number[];
    temperature: number[];
    primary: number;
    secondary: number;
    supply: number;
    speed: number;
  };

  constructor(
    config: TruckConfig,
    layout: Layout,
    context: Context,
    state: PipelineState,
    judgements: Judgement[],
    marks: Marks,
    records: Records,
  ) {
    this.#marks = marks;
    this.#records = records;
    this.#state = state;
    this.#context = context;
    this.#layout = layout;
    const judgement = (rule: RuleName): Judgement | undefined => judgements.find((j) => j.rule.name === rule);
    const buses = config.buses.map((bus) => bus.name);
    const air = {
      referenceC: config.coldReferenceC,
      depotAirKpa: config.depotAirKpa,
      fixedGauge: new Set(config.fixedGaugeSources.map((f) => (buses.indexOf(f.bus) << 8) | f.source)),
    };
    this.#tires = new Tires(layout, state.tires, context, air, (sensor) => marks.isMarked(sensor));
    const bench: Workbench = { layout, context, tires: this.#tires, marks, records, judgement };
    const with_ = <T>(rule: RuleName, make: (j: Judgement) => T): T | undefined => {
      const j = judgement(rule);
      return j === undefined ? undefined : make(j);
    };
    this.#pressure = new TirePressure(bench);
    this.#losing = with_('tire-losing-air', (j) => new TireLosingAir(bench, j, state.leaks));
    this.#hot = with_('tire-hot', (j) => new TireHot(bench, j));
    this.#duals = with_('duals-unequal', (j) => new DualsUnequal(bench, j, state.pairs));
    this.#silent = with_('tire-sensor-silent', (j) => new TireSensorSilent(bench, j));
    this.#coldStarts = new ColdStarts(bench, state.coldStarts, this.#losing, this.#duals);
    this.#brakes = new Brakes(bench, state.wheelEnds, this.#hot);
    this.#air = new Air(bench, state.air);
    const over = judgement('brake-overstroke') ?? judgement('brake-not-applying');
    const qualifying = {
      kpa: over?.constants.qualifyingKpa ?? Number.POSITIVE_INFINITY,
      ms: (over?.constants.qualifyingS ?? Number.POSITIVE_INFINITY) * 1000,
    };
    this.#applications = new Applications(state.application, context, state.pressures, qualifying, (a) =>
      this.#brakes.ended(a),
    );
    this.#brakes.applications = this.#applications;
    this.#air.applications = this.#applications;
    this.#applications.serviceKpa = (t) => this.#air.mean(t);
    const codes = Object.keys(state.judgements['fault-code'] ?? {});
    this.#faults = new Faults(bench, buses, state.faults, codes);
    this.#busSilent = with_(
      'bus-silent',
      (j) => new BusSilent(j, buses, (bus, t) => (t - state.life.busFrameAt[bus]!) / 1000),
    );
    this.minutes = new Minutes(state.minutes);
    this.#slots = {
      pressure: layout.tires.map((tire) => this.minutes.slot(tire.subject, 'pressure')),
      temperature: layout.tires.map((tire) => this.minutes.slot(tire.subject, 'temperature')),
      primary: this.minutes.slot('air/primary', 'pressure'),
      secondary: this.minutes.slot('air/secondary', 'pressure'),
      supply: this.minutes.slot('air/supply', 'pressure'),
      speed: this.minutes.slot('tractor', 'speed'),
    };
    this.sinks = this.#wire(config);
  }

  /** What a trip is told from. */
  get sight(): TripSight {
    return {
      layout: this.#layout,
      context: this.#context,
      tires: this.#tires,
      wheelEnds: this.#state.wheelEnds,
      circuits: (t) => circuitsOf(this.#air, this.#marks, t),
      isBraking: (t) => this.#applications.isJudged(t),
      marks: this.#marks,
      records: this.#records,
      coldAfterMs: COLD_AFTER_MS,
    };
  }

  wake(t: StreamMs, stoodMs: number): void {
    this.#coldStarts.wake(t, stoodMs);
  }

  tick(facts: TickFacts, isBlind: boolean, calendarMs: WallMs | null): void {
    const { t } = facts;
    this.#applications.tick(t);
    this.#air.tick(facts);
    this.#pressure.tick(t);
    this.#losing?.tick(facts);
    this.#silent?.tick(facts, isBlind);
    this.#coldStarts.tick(t, calendarMs);
    this.#busSilent?.tick(t, isBlind);
    const speed = this.#context.speed(t);
    if (!Number.isNaN(speed)) this.minutes.add(this.#slots.speed, speed);
  }

  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    this.#coldStarts.clock(t, zeroCalendarMs);
  }

  forgetCodes(t: StreamMs, around: Surroundings, hasAlert: (key: string) => boolean): void {
    const { moving, engineRunning } = around;
    this.#faults.tick({ t, moving, engineRunning }, (subject) => hasAlert(`fault-code ${subject}`));
  }

  /** One character per tire and circuit: is it heard? */
  quality(t: StreamMs): string {
    return qualityOf(this.#tires, this.#air, t);
  }

  report(t: StreamMs): ReadingReport['r'] {
    return reportOf(this.#layout, this.#tires, this.#state, this.#air, t);
  }

  /** Nothing that was heard is fresh any more. What was learned stays. */
  quiesce(): void {
    const { context, pressures, air, tires, wheelEnds } = this.#state;
    for (const group of [context, pressures, air]) {
      for (const value of Object.values(group)) if (isSample(value)) value.at = NEVER;
    }
    for (const s of Object.values(tires)) {
      s.at = NEVER;
      s.temperatureAt = NEVER;
      s.coldKpa = null;
    }
    for (const s of Object.values(wheelEnds)) {
      s.at = NEVER;
      s.strokeAt = NEVER;
      s.frames.fill(0);
    }
    Object.assign(this.#state.application, newApplication());
  }

  #wire(config: TruckConfig): Omit<GroupSinks, 'speed'> {
    const frames = new TireFrames(this.#layout, this.#tires, this.#context, this.#state.counters, {
      leakKpaPerMin: this.#losing?.senderLeakKpaPerMin ?? Number.POSITIVE_INFINITY,
      pressure: (r) => this.#tirePressure(r),
      temperature: (i, t) => {
        this.minutes.add(this.#slots.temperature[i]!, this.#tires.states[i]!.temperatureC);
        this.#hot?.reading(i, t);
      },
      verdict: (i, t) => {
        const moving = this.#context.moving(t) === true;
        this.#losing?.senderVerdict(i, t, moving);
        this.#pressure.senderVerdict(i, t, moving);
      },
    });
    const strokes = Array.from({ length: this.#layout.wheelEndOfBsa.length }, (_, field) =>
      readerFor({ startBit: field * BSA_BITS, bits: BSA_BITS, scale: 1, offset: 0, kind: 'state' }),
    );
    return {
      tire1: (t, bus, sa, data, length) => frames.tire1(t, bus, sa, data, length),
      tire2: (t, bus, sa, data, length) => frames.tire2(t, bus, sa, data, length),
      stroke: (t, bus, sa, data, length) => this.#stroke(strokes, t, (bus << 8) | sa, data, length),
      dm1: (t, bus, sa, data, length) => this.#faults.dm1(t, bus, sa, data, length),
      braking: (t) => this.#applications.update(t),
      air: (t) => this.#airPressure(t),
      extra: (t, k, bus, sa, value) => this.#extra(frames, config.signals[k]!, t, bus, sa, value),
    };
  }

  #tirePressure(r: TireReading): void {
    this.minutes.add(this.#slots.pressure[r.tire]!, r.kpa);
    if (this.#tires.isMarked(r.tire)) {
      const { subject } = this.#layout.tires[r.tire]!;
      const isCold = !Number.isNaN(r.coldKpa);
      this.#marks.reading(subject, r.t, r.ageMs, isCold ? r.coldKpa : r.kpa, isCold ? COLD_MARGIN : RAW_MARGIN);
      return;
    }
    this.#coldStarts.reading(r);
    this.#pressure.reading(r);
    this.#losing?.reading(r);
    this.#duals?.reading(r);
    this.#silent?.reading(r.tire, r.t, r.ageMs);
  }

  #stroke(
    strokes: SignalReader<never>[] | ReturnType<typeof readerFor>[],
    t: StreamMs,
    source: number,
    data: Uint8Array,
    length: number,
  ): void {
    for (let field = 0; field < strokes.length; field++) {
      const wheelEnd = this.#layout.wheelEndOfBsa[field]!;
      if (wheelEnd < 0) continue;
      const code = strokes[field]!.read(data, length);
      if (code <= LAST_STATE) this.#brakes.stroke(wheelEnd, t, source, code);
    }
  }

  #airPressure(t: StreamMs): void {
    this.#air.update(t);
    const { primary, secondary, supply } = this.#air.values(t);
    if (primary !== null) this.minutes.add(this.#slots.primary, primary);
    if (secondary !== null) this.minutes.add(this.#slots.secondary, secondary);
    if (supply !== null) this.minutes.add(this.#slots.supply, supply);
  }

  /** A good value of an extra signal of the truck file. */
  #extra(
    frames: TireFrames,
    signal: TruckConfig['signals'][number],
    t: StreamMs,
    bus: number,
    sa: number,
    value: number,
  ): void {
    const tire = this.#layout.tires.findIndex((x) => x.subject === signal.subject);
    if (tire >= 0) {
      if (!this.#tires.believes(tire, t, (bus << 8) | sa)) return;
      if (signal.quantity === 'pressure') frames.pressure(tire, t, value, Math.abs(signal.scale));
      else if (signal.quantity === 'temperature') frames.temperature(tire, t, value);
      return;
    }
    const end = this.#layout.wheelEnds.findIndex((x) => x.subject === signal.subject);
    if (end >= 0 && signal.quantity === 'stroke') this.#brakes.measured(end, t, value);
    else if (signal.subject.startsWith('air/') && this.#air.extra(signal.subject, t, (bus << 8) | sa, value))
      this.#airPressure(t);
  }
}

const isSample = (value: unknown): value is Sample =>
  typeof value === 'object' && value !== null && 'intervalMs' in value && 'at' in value;
