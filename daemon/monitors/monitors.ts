import type { RuleName, TruckConfig } from '../../config/resolved.js';
import type { Surroundings } from '../alerts/book-state.js';
import type { Judgement } from '../alerts/judgement.js';
import type { ReadingReport } from '../effects.js';
import type { GroupSinks } from '../intake.js';
import type { PipelineState } from '../pipeline-state.js';
import { NEVER, type StreamMs, type WallMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import { Minutes } from '../truck/minutes.js';
import type { Records } from '../truck/records.js';
import type { Sample } from '../truck/samples.js';
import { Tires } from '../truck/tires.js';
import type { TripSight } from '../truck/trip-sight.js';
import { Air } from './air.js';
import { type Applications, newApplication } from './applications.js';
import { StrokeFrames } from './brake-frames.js';
import { quiesceWheelEnd } from './brake-state.js';
import { Brakes } from './brakes.js';
import { BusMonitors } from './bus-monitors.js';
import { COLD_AFTER_MS } from './cold-starts.js';
import { areaOfSubject, Faults } from './faults.js';
import type { Marks } from './marks.js';
import type { TickFacts, Workbench } from './monitor.js';
import { circuitsOf, qualityOf, reportOf } from './reading-report.js';
import { TireMonitors } from './tire-monitors.js';

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
  readonly #tireRules: TireMonitors;
  readonly #brakes: Brakes;
  readonly #applications: Applications;
  readonly #air: Air;
  readonly #faults: Faults;
  readonly #bus: BusMonitors;
  readonly #slots: { primary: number; secondary: number; supply: number; speed: number };

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
    const isBus = config.vehicle === 'bus';
    const vehicles = config.units.filter(({ unit }) => unit !== 'dolly').length;
    const bench: Workbench = { layout, context, tires: this.#tires, marks, records, isBus, vehicles, judgement };
    this.minutes = new Minutes(state.minutes);
    this.#tireRules = new TireMonitors(bench, config, state, this.minutes);
    this.#brakes = new Brakes(bench, state, config.rules, this.#tireRules.hot);
    this.#air = new Air(bench, state.air, state.towed);
    this.#applications = this.#brakes.applications;
    this.#air.applications = this.#applications;
    this.#applications.serviceKpa = (t) => this.#air.mean(t);
    const codes = Object.keys(state.judgements['fault-code'] ?? {});
    this.#faults = new Faults(bench, buses, state.faults, codes);
    this.#bus = new BusMonitors(bench, config, state);
    const { sources } = this.#bus;
    if (sources !== undefined) this.#tireRules.silent?.tellsSource((source) => sources.subject(source));
    this.#slots = {
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
    this.#tireRules.coldStarts.wake(t, stoodMs);
  }

  tick(facts: TickFacts, isBlind: boolean, calendarMs: WallMs | null): void {
    const { t } = facts;
    this.#brakes.tick(t, calendarMs);
    this.#air.tick(facts, calendarMs);
    this.#tireRules.tick(facts, isBlind, calendarMs);
    this.#bus.tick(facts, isBlind);
    const speed = this.#context.speed(t);
    if (!Number.isNaN(speed)) this.minutes.add(this.#slots.speed, speed);
  }

  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    this.#tireRules.coldStarts.clock(t, zeroCalendarMs);
    this.#air.clock(t, zeroCalendarMs);
  }

  /** A frame of interest, before anything else is done with it. */
  heard(t: StreamMs, bus: number, id: number): void {
    this.#bus.frame(t, bus, id);
  }

  errorFrame(t: StreamMs, bus: number, id: number): void {
    this.#bus.errorFrame(t, bus, id);
  }

  /** Towed units that have not been heard for so long that they are not there any more; told once. */
  takeGone(): string[] {
    return this.#tireRules.trailer.takeGone();
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
    this.#air.quiesce();
    this.#bus.sources?.quiesce();
    for (const s of Object.values(tires)) {
      s.at = NEVER;
      s.temperatureAt = NEVER;
      s.coldKpa = null;
    }
    for (const s of Object.values(wheelEnds)) quiesceWheelEnd(s);
    this.#state.brakeHeat.at = NEVER;
    Object.assign(this.#state.application, newApplication());
  }

  #wire(config: TruckConfig): Omit<GroupSinks, 'speed'> {
    const { frames } = this.#tireRules;
    const strokes = new StrokeFrames(this.#layout, this.#brakes);
    const { lining, heat } = this.#brakes;
    return {
      tire1: (t, bus, sa, data, length) => frames.tire1(t, bus, sa, data, length),
      tire2: (t, bus, sa, data, length) => frames.tire2(t, bus, sa, data, length),
      stroke: (t, bus, sa, data, length) => strokes.stroke(t, (bus << 8) | sa, data, length),
      lining: (t, bus, sa, data, length) => lining?.frame(t, (bus << 8) | sa, data, length),
      brakeHeat: (t, bus, sa, data, length) => heat?.frame(t, (bus << 8) | sa, data, length),
      dm1: (t, bus, sa, data, length) => this.#faults.dm1(t, bus, sa, data, length),
      braking: (t) => this.#applications.update(t),
      air: (t) => this.#airPressure(t),
      extra: (t, k, bus, sa, value) => this.#extra(config.signals[k]!, t, bus, sa, value),
    };
  }

  #airPressure(t: StreamMs): void {
    this.#air.update(t);
    const { primary, secondary, supply } = this.#air.values(t);
    if (primary !== null) this.minutes.add(this.#slots.primary, primary);
    if (secondary !== null) this.minutes.add(this.#slots.secondary, secondary);
    if (supply !== null) this.minutes.add(this.#slots.supply, supply);
  }

  /** A good value of an extra signal of the truck file. */
  #extra(signal: TruckConfig['signals'][number], t: StreamMs, bus: number, sa: number, value: number): void {
    const tire = this.#layout.tires.findIndex((x) => x.subject === signal.subject);
    if (tire >= 0) {
      if (!this.#tires.believes(tire, t, (bus << 8) | sa)) return;
      const { quantity, scale } = signal;
      if (quantity === 'pressure' || quantity === 'temperature')
        this.#tireRules.frames.extra(tire, t, quantity, value, Math.abs(scale));
      return;
    }
    const end = this.#layout.wheelEnds.findIndex((x) => x.subject === signal.subject);
    if (end >= 0 && signal.quantity === 'stroke') this.#brakes.strokes.take(end, t, value);
    else if (signal.subject.startsWith('air/') && this.#air.extra(signal.subject, t, (bus << 8) | sa, value))
      this.#airPressure(t);
  }
}

const isSample = (value: unknown): value is Sample =>
  typeof value === 'object' && value !== null && 'intervalMs' in value && 'at' in value;
