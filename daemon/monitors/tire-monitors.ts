import type { RuleName, TruckConfig } from '../../config/resolved.js';
import type { Judgement } from '../alerts/judgement.js';
import type { PipelineState } from '../pipeline-state.js';
import type { StreamMs, WallMs } from '../time.js';
import type { Minutes } from '../truck/minutes.js';
import type { TireReading, Tires } from '../truck/tires.js';
import { ColdStarts } from './cold-starts.js';
import { DualsUnequal } from './duals-unequal.js';
import { LayoutMismatch } from './layout-mismatch.js';
import { COLD_MARGIN, type Marks, RAW_MARGIN } from './marks.js';
import type { TickFacts, Workbench } from './monitor.js';
import { TireFrames } from './tire-frames.js';
import { TireHot } from './tire-hot.js';
import { TireLosingAir } from './tire-losing-air.js';
import { TireOverinflated } from './tire-overinflated.js';
import { TirePressure } from './tire-pressure.js';
import { TireSensorFault } from './tire-sensor-fault.js';
import { TireSensorSilent } from './tire-sensor-silent.js';
import { TrailerNotSeen } from './trailer-not-seen.js';

/** The monitors of the tire rules, wired to their readings. */
export class TireMonitors {
  readonly frames: TireFrames;
  readonly hot: TireHot | undefined;
  readonly silent: TireSensorSilent | undefined;
  readonly trailer: TrailerNotSeen;
  readonly coldStarts: ColdStarts;
  readonly #bench: Workbench;
  readonly #tires: Tires;
  readonly #marks: Marks;
  readonly #minutes: Minutes;
  readonly #pressure: TirePressure;
  readonly #over: TireOverinflated | undefined;
  readonly #losing: TireLosingAir | undefined;
  readonly #duals: DualsUnequal | undefined;
  readonly #fault: TireSensorFault | undefined;
  readonly #mismatch: LayoutMismatch | undefined;
  readonly #slots: { pressure: number[]; temperature: number[] };

  constructor(bench: Workbench, config: TruckConfig, state: PipelineState, minutes: Minutes) {
    const { layout, tires, marks } = bench;
    this.#bench = bench;
    this.#tires = tires;
    this.#marks = marks;
    this.#minutes = minutes;
    const ruled = <T>(rule: RuleName, make: (j: Judgement) => T): T | undefined => {
      const j = bench.judgement(rule);
      return j === undefined ? undefined : make(j);
    };
    const buses = config.buses.map((bus) => bus.name);
    const goneAfterMs = config.rules['trailer-not-seen'].criteria.plan!.raiseAfterS * 1000;
    this.#pressure = new TirePressure(bench);
    this.#over = ruled('tire-overinflated', (j) => new TireOverinflated(bench, j, this.#pressure));
    this.#losing = ruled('tire-losing-air', (j) => new TireLosingAir(bench, j, state.leaks));
    const losing = this.#losing;
    if (losing !== undefined) this.#pressure.forecast = (i, t, share) => losing.forecast(i, t, share);
    this.hot = ruled('tire-hot', (j) => new TireHot(bench, j));
    this.#duals = ruled('duals-unequal', (j) => new DualsUnequal(bench, j, state.pairs));
    this.trailer = new TrailerNotSeen(bench, state.wheelEnds, state.towed, goneAfterMs);
    this.silent = ruled('tire-sensor-silent', (j) => new TireSensorSilent(bench, j, this.trailer, state.unheard));
    this.#fault = ruled('tire-sensor-fault', (j) => new TireSensorFault(bench, j));
    this.#mismatch = ruled('layout-mismatch', (j) => new LayoutMismatch(bench, j, buses, state.strangers));
    this.coldStarts = new ColdStarts(bench, state.coldStarts, this.#losing, this.#duals);
    this.#slots = {
      pressure: layout.tires.map((tire) => minutes.slot(tire.subject, 'pressure')),
      temperature: layout.tires.map((tire) => minutes.slot(tire.subject, 'temperature')),
    };
    this.frames = new TireFrames(layout, tires, bench.context, state.counters, {
      leakKpaPerMin: this.#losing?.senderLeakKpaPerMin ?? Number.POSITIVE_INFINITY,
      pressure: (r) => this.#reading(r),
      temperature: (i, t) => {
        minutes.add(this.#slots.temperature[i]!, tires.states[i]!.temperatureC);
        this.hot?.reading(i, t);
      },
      verdict: (i, t) => this.#verdict(i, t),
      fault: (i, t, isFault) => this.#fault?.frame(i, t, isFault),
      stranger: (t, bus, sa, location) => this.#mismatch?.frame(t, bus, sa, location),
    });
  }

  tick(facts: TickFacts, isBlind: boolean, calendarMs: WallMs | null): void {
    const { t } = facts;
    this.#pressure.tick(t);
    this.#losing?.tick(facts);
    this.trailer.tick(facts);
    this.silent?.tick(facts, isBlind);
    this.#mismatch?.tick(t);
    this.coldStarts.tick(t, calendarMs);
  }

  #reading(r: TireReading): void {
    this.#minutes.add(this.#slots.pressure[r.tire]!, r.kpa);
    if (this.#tires.isMarked(r.tire)) {
      const { subject } = this.#bench.layout.tires[r.tire]!;
      const isCold = !Number.isNaN(r.coldKpa);
      this.#marks.reading(subject, r.t, r.ageMs, isCold ? r.coldKpa : r.kpa, isCold ? COLD_MARGIN : RAW_MARGIN);
      return;
    }
    this.coldStarts.reading(r);
    this.#pressure.reading(r);
    this.#over?.reading(r);
    this.#losing?.reading(r);
    this.#duals?.reading(r);
    this.silent?.reading(r.tire, r.t, r.ageMs);
  }

  #verdict(i: number, t: StreamMs): void {
    const moving = this.#bench.context.moving(t) === true;
    this.#losing?.senderVerdict(i, t, moving);
    this.#pressure.senderVerdict(i, t, moving);
  }
}
