import { reader } from '../j1939/decode.js';
import type { Counters } from '../pipeline-state.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import type { TireReading, TireState, Tires } from '../truck/tires.js';

/** SPN 2586 is sent in Pa/s. */
const KPA_PER_MIN_PER_PA_PER_S = 0.06;
/** Raw 0: a sender's idle pattern. */
const IDLE_C = -273;
/** No air in a tire is colder or hotter. */
const LEAST_C = -60;
const MOST_C = 200;
/** No road tire holds more. kPa */
const MOST_KPA = 1_500;
const STEP_KPA = { tire1: 4, tire2: 1 };

/** SPN 2587. */
const UNDER = 3;
const EXTREME_UNDER = 4;

/** Groups that tell of faults, as `TireState.faultGroup` has them. */
const GROUP = { tire1: 1, tire2: 2, extra: 3 } as const;
const FAULT = {
  none: '',
  electrical: 'sensor electrical fault',
  pressureError: 'error code in place of pressure',
  temperatureError: 'error code in place of temperature',
  pressure: 'impossible pressure',
  temperature: 'impossible temperature',
} as const;

export interface TireSinks {
  pressure(r: TireReading): void;
  temperature(tire: number, t: StreamMs): void;
  /** From this leakage rate on (SPN 2586) the sender calls it a leak, whatever its status bits say. */
  readonly leakKpaPerMin: number;
  /** The sender's own verdict in this frame was taken in. */
  verdict(tire: number, t: StreamMs): void;
  /** A frame that says something: is it that the sensor is faulty? */
  fault(tire: number, t: StreamMs, isFault: boolean): void;
  /** A pressure from a location that the layout does not have. */
  stranger(t: StreamMs, bus: number, sa: number, location: number): void;
}

/** TIRE1 and TIRE2 frames to readings: positions, idle patterns, which of the two groups gives the pressure. */
export class TireFrames {
  readonly #layout: Layout;
  readonly #tires: Tires;
  readonly #context: Context;
  readonly #counters: Counters;
  readonly #sinks: TireSinks;
  readonly #location1 = reader(929);
  readonly #pressure1 = reader(241);
  readonly #temperature1 = reader(242);
  readonly #fault1 = reader(1697);
  readonly #leak1 = reader(1698);
  readonly #extended1 = reader(6990);
  readonly #rate1 = reader(2586);
  readonly #threshold1 = reader(2587);
  readonly #location2 = reader(6987);
  readonly #pressure2 = reader(6988);

  constructor(layout: Layout, tires: Tires, context: Context, counters: Counters, sinks: TireSinks) {
    this.#layout = layout;
    this.#tires = tires;
    this.#context = context;
    this.#counters = counters;
    this.#sinks = sinks;
  }

  tire1(t: StreamMs, bus: number, sa: number, data: Uint8Array, length: number): void {
    const kpa = this.#pressure1.read(data, length);
    const celsius = this.#temperature1.read(data, length);
    // 0 kPa with 0 °C or with -273 °C is what senders send while they have heard nothing.
    const isIdle = kpa === 0 && (celsius === 0 || celsius === IDLE_C);
    const i = this.#tireAt(t, bus, sa, this.#location1.read(data, length), isIdle ? Number.NaN : kpa);
    if (i < 0) return;
    this.#tires.states[i]!.heardAt = t;
    const source = (bus << 8) | sa;
    if (!this.#tires.believes(i, t, source)) return;
    const electrical = this.#fault1;
    electrical.read(data, length);
    if (electrical.quality === 'error') this.#faulty(i, t, GROUP.tire1, FAULT.electrical, electrical.raw);
    else if (!isIdle) this.#checkTire1(i, t, kpa, celsius);
    if (isIdle) return;
    const extended = this.#extended1.read(data, length);
    this.#tires.states[i]!.extended = Number.isNaN(extended) ? -1 : extended;
    this.temperature(i, t, celsius);
    if (kpa === 0 || !this.#pressureIsInTire2(i, t)) this.pressure(i, t, kpa, STEP_KPA.tire1);
    this.#verdicts(i, t, data, length);
  }

  tire2(t: StreamMs, bus: number, sa: number, data: Uint8Array, length: number): void {
    const kpa = this.#pressure2.read(data, length);
    const i = this.#tireAt(t, bus, sa, this.#location2.read(data, length), kpa === 0 ? Number.NaN : kpa);
    if (i < 0) return;
    const s = this.#tires.states[i]!;
    s.heardAt = t;
    if (!this.#tires.believes(i, t, (bus << 8) | sa)) return;
    this.#checkTire2(i, t, kpa);
    if (Number.isNaN(kpa) || s.extended === 0) return;
    if (kpa > 0) s.zeroAt = NEVER;
    else if (!this.#isFlat(s, t)) return;
    s.fineAt = t;
    this.pressure(i, t, kpa, STEP_KPA.tire2);
  }

  /**
   * TIRE2 says 0 kPa, as an idle sender does, and has no temperature to tell the two apart: so it takes a temperature of the
   * same sensor in TIRE1 since it first said so. An idle sender says 0 °C there, or -273.
   */
  #isFlat(s: TireState, t: StreamMs): boolean {
    if (s.zeroAt === NEVER) s.zeroAt = t;
    return s.temperatureAt > s.zeroAt && s.temperatureC !== 0;
  }

  /** A good value of an extra signal of the truck file. */
  extra(i: number, t: StreamMs, quantity: string, value: number, step: number): void {
    const isPressure = quantity === 'pressure';
    const isFault = isPressure ? isImpossiblePressure(value) : isImpossibleTemperature(value);
    if (isFault) this.#faulty(i, t, GROUP.extra, isPressure ? FAULT.pressure : FAULT.temperature, Math.round(value));
    else if (isPressure) this.#sound(i, t, GROUP.extra);
    if (isPressure) this.pressure(i, t, value, step);
    else this.temperature(i, t, value);
  }

  /** A pressure that the sender calls good. */
  pressure(i: number, t: StreamMs, kpa: number, stepKpa: number): void {
    if (Number.isNaN(kpa)) return;
    if (isImpossiblePressure(kpa)) {
      this.#counters.implausible++;
      return;
    }
    this.#sinks.pressure(this.#tires.takePressure(i, t, kpa, stepKpa, this.#context.moving(t) === true));
  }

  temperature(i: number, t: StreamMs, celsius: number): void {
    if (Number.isNaN(celsius) || celsius === IDLE_C) return;
    if (isImpossibleTemperature(celsius)) {
      this.#counters.implausible++;
      return;
    }
    this.#tires.takeTemperature(i, t, celsius);
    this.#sinks.temperature(i, t);
  }

  /** kpa: NaN when the frame says nothing: a receiver may have more places than the truck has tires. */
  #tireAt(t: StreamMs, bus: number, sa: number, location: number, kpa: number): number {
    if (Number.isNaN(location)) return -1;
    const i = this.#layout.tireIndexAt(bus, sa, location);
    if (i >= 0) return i;
    this.#counters.strangeLocations++;
    if (!Number.isNaN(kpa)) this.#sinks.stranger(t, bus, sa, location);
    return -1;
  }

  #checkTire1(i: number, t: StreamMs, kpa: number, celsius: number): void {
    const pressure = this.#pressure1;
    const temperature = this.#temperature1;
    if (pressure.quality === 'error') this.#faulty(i, t, GROUP.tire1, FAULT.pressureError, pressure.raw);
    else if (temperature.quality === 'error') this.#faulty(i, t, GROUP.tire1, FAULT.temperatureError, temperature.raw);
    else if (isImpossibleTemperature(celsius)) this.#faulty(i, t, GROUP.tire1, FAULT.temperature, temperature.raw);
    else if (!Number.isNaN(kpa)) this.#sound(i, t, GROUP.tire1);
  }

  #checkTire2(i: number, t: StreamMs, kpa: number): void {
    const { quality, raw } = this.#pressure2;
    if (quality === 'error') this.#faulty(i, t, GROUP.tire2, FAULT.pressureError, raw);
    else if (isImpossiblePressure(kpa)) this.#faulty(i, t, GROUP.tire2, FAULT.pressure, raw);
    // Zero is what an idle sender says.
    else if (kpa > 0) this.#sound(i, t, GROUP.tire2);
  }

  #faulty(i: number, t: StreamMs, group: number, fault: string, code: number): void {
    const s = this.#tires.states[i]!;
    s.fault = fault;
    s.faultCode = code;
    s.faultAt = t;
    s.faultGroup = group;
    this.#sinks.fault(i, t, true);
  }

  /** A good pressure. It says nothing against what another group of the same tire says. */
  #sound(i: number, t: StreamMs, group: number): void {
    const s = this.#tires.states[i]!;
    if (s.faultGroup === group || t - s.faultAt > this.#tires.ageLimit(i)) this.#sinks.fault(i, t, false);
  }

  /** Unless SPN 6990 denies it. TIRE2 that has stopped coming is not waited for. */
  #pressureIsInTire2(i: number, t: StreamMs): boolean {
    const s = this.#tires.states[i]!;
    return s.extended !== 0 && t - s.fineAt <= this.#tires.ageLimit(i);
  }

  #verdicts(i: number, t: StreamMs, data: Uint8Array, length: number): void {
    const s = this.#tires.states[i]!;
    const rate = this.#rate1.read(data, length) * KPA_PER_MIN_PER_PA_PER_S;
    const threshold = this.#threshold1.read(data, length);
    s.senderLeakKpaPerMin = Number.isNaN(rate) ? 0 : rate;
    const leaks = this.#leak1.read(data, length) === 1 || rate >= this.#sinks.leakKpaPerMin;
    s.leakFrames = leaks ? s.leakFrames + 1 : 0;
    s.lowFrames = threshold === UNDER || threshold === EXTREME_UNDER ? s.lowFrames + 1 : 0;
    s.extremeLowFrames = threshold === EXTREME_UNDER ? s.extremeLowFrames + 1 : 0;
    if (s.leakFrames > 0 || s.lowFrames > 0) this.#sinks.verdict(i, t);
  }
}

const isImpossiblePressure = (kpa: number): boolean => kpa < 0 || kpa > MOST_KPA;
const isImpossibleTemperature = (celsius: number): boolean =>
  celsius !== IDLE_C && (celsius < LEAST_C || celsius > MOST_C);
