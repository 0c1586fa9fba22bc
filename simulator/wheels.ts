import type { Subjects } from '../daemon/truck/subjects.js';
import type { Faults } from './faults.js';
import { WheelBrake } from './physics/brake.js';
import { gaugeOf } from './physics/gas.js';
import { REFERENCE_C, SimulatedTire, type TireOptions } from './physics/tire.js';
import type { Vehicle } from './physics/vehicle.js';
import { SEA_LEVEL_KPA } from './physics/weather.js';
import type { Random } from './random.js';
import type { Scenario } from './scenario.js';

const SENSOR_PERIOD_MS = 10_000;
const TEMPERATURE_NOISE_C = 0.3;
const MIN_PER_DAY = 1440;
/** What a sensor in trouble says, where it says something that cannot be. */
const IMPOSSIBLE_C = 400;

/** What a wheel's sensor measured last. */
export interface TireSample {
  kpa: number;
  celsius: number;
}

/** The air around the wheels, and how they turn. */
export interface Around {
  ambientC: number;
  outsideKpa: number;
  vehicle: Vehicle;
}

/** Tires, brakes, and the sensors in them. Heat moves slowly: advanced once a second. */
export class Wheels {
  readonly tires: SimulatedTire[];
  readonly brakes: WheelBrake[];
  readonly samples: TireSample[];
  /** By place: the place whose tire the receiver calls by it. Its own, unless sensors were swapped. */
  readonly heardFrom: number[];
  /** Wheel ends that are there: those of a dropped trailer are not. */
  readonly present: boolean[];
  private readonly scenario: Scenario;
  private readonly subjects: Subjects;
  private readonly faults: Faults;
  private readonly random: Random;
  private readonly fill: Random;
  private readonly options: TireOptions;
  private readonly bias: number[];
  private readonly nextSample: number[];

  constructor(scenario: Scenario, subjects: Subjects, faults: Faults, air: Around, randoms: [Random, Random, Random]) {
    this.scenario = scenario;
    this.subjects = subjects;
    this.faults = faults;
    [this.random, this.fill] = randoms;
    const { altitudeM } = scenario.weather;
    const depotKpa = altitudeM === undefined ? SEA_LEVEL_KPA : air.outsideKpa;
    this.options = { load: scenario.truck.load, sensor: scenario.sensors.kind, depotKpa };
    this.tires = subjects.tires.map(({ subject }, i) =>
      this.newTire(i, scenario.tires.each[subject] ?? scenario.tires.share, air.ambientC),
    );
    this.brakes = subjects.wheelEnds.map(() => new WheelBrake(air.ambientC));
    this.heardFrom = subjects.tires.map((_, i) => i);
    this.present = subjects.wheelEnds.map(() => true);
    const { biasKpa } = scenario.sensors;
    this.bias = this.tires.map(() => (biasKpa > 0 ? randoms[2].between(-biasKpa, biasKpa) : 0));
    this.samples = this.tires.map((tire, i) => ({
      kpa: tire.gaugeKpa(air.outsideKpa) + (this.bias[i]! + this.absoluteKpa(air.outsideKpa)),
      celsius: tire.sensorC,
    }));
    this.nextSample = this.tires.map(() => this.random.between(0, SENSOR_PERIOD_MS));
  }

  /** A tire as the shop fills it, to a share of its target, by the gauge and as warm as the day of filling. */
  newTire(index: number, share: number, ambientC: number): SimulatedTire {
    const { spread, filledAtC } = this.scenario.tires;
    const { coldPressureKpa, position } = this.subjects.tires[index]!;
    const target = coldPressureKpa!;
    const filled = share * this.fill.between(1 - spread, 1 + spread);
    const { depotKpa } = this.options;
    const cold =
      filledAtC === REFERENCE_C
        ? filled
        : gaugeOf((target * filled + depotKpa) / (filledAtC + 273.15), REFERENCE_C, depotKpa) / target;
    return new SimulatedTire(target, position, ambientC, cold, this.options);
  }

  isPresent(tire: number): boolean {
    return this.present[this.subjects.tires[tire]!.wheelEnd]!;
  }

  /** brakingKw: mean of all brakes together over the last dtS, which began at s and ends at t (ms). */
  step(s: number, t: number, dtS: number, around: Around, brakingKw: number): void {
    const { vehicle, ambientC } = around;
    const { wheelEnds } = this.faults;
    let braking = 0;
    for (const [i, end] of wheelEnds.entries()) if (this.present[i] && !end.notApplying) braking += 1;
    const kwEach = brakingKw / Math.max(1, braking);
    for (let i = 0; i < this.brakes.length; i += 1) {
      const fault = wheelEnds[i]!;
      const dragKw = fault.dragKw * Math.min(1, vehicle.speedKmh / 80);
      const kw = (fault.notApplying ? 0 : kwEach) + dragKw;
      this.brakes[i]!.step(dtS, vehicle, ambientC, kw, fault, this.random.next());
    }
    for (let i = 0; i < this.tires.length; i += 1) this.roll(i, s, t, dtS, around);
  }

  /** A long time at a stand, ending at t. */
  rest(t: number, dtS: number, around: Around): void {
    for (const brake of this.brakes) brake.rest(dtS, around.ambientC);
    for (let i = 0; i < this.tires.length; i += 1) {
      this.exchange(i, dtS);
      const drumC = this.brakes[this.subjects.tires[i]!.wheelEnd]!.drumC;
      this.tires[i]!.step(dtS, { ...around, speedKmh: 0, drumC });
      if (this.nextSample[i]! < t) this.nextSample[i] = t;
    }
  }

  /** Air in and out. */
  private exchange(index: number, dtS: number): void {
    const tire = this.tires[index]!;
    const fault = this.faults.tires[index]!;
    const { permeationKpaPerDay } = this.scenario.tires;
    const lost = fault.leakKpaPerMin + permeationKpaPerDay / MIN_PER_DAY;
    if (lost > 0) tire.leak(lost, dtS);
    if (fault.refill) tire.fill(fault.refill.share, fault.refill.kpaPerMin, dtS);
  }

  private roll(index: number, s: number, t: number, dtS: number, around: Around): void {
    const tire = this.tires[index]!;
    this.exchange(index, dtS);
    const { ambientC, outsideKpa, vehicle } = around;
    const drumC = this.brakes[this.subjects.tires[index]!.wheelEnd]!.drumC;
    tire.step(dtS, { ambientC, outsideKpa, speedKmh: vehicle.speedKmh, drumC });
    if (this.scenario.sensors.sending === 'single' || t < this.nextSample[index]!) return;
    this.nextSample[index]! += SENSOR_PERIOD_MS;
    this.measure(index, s, outsideKpa);
  }

  /** What the sensor that is heard as this place would say now, before anything is rounded. */
  trueGaugeKpa(place: number, outsideKpa: number): number {
    return this.tires[this.heardFrom[place]!]!.gaugeKpa(outsideKpa);
  }

  /** What a sensor without a hole to the outside shows more, or less. */
  private absoluteKpa(outsideKpa: number): number {
    return this.scenario.sensors.gauge === 'fixed' ? outsideKpa - SEA_LEVEL_KPA : 0;
  }

  /** The sensor that is heard as this place takes a reading. */
  measure(place: number, s: number, outsideKpa: number): void {
    const tire = this.tires[this.heardFrom[place]!]!;
    const fault = this.faults.tires[place]!;
    const noise = this.random.normal() * this.scenario.sensors.noiseKpa;
    const warm = this.random.normal() * TEMPERATURE_NOISE_C;
    if (fault.stuck) return;
    const drift = fault.driftKpaPerHour === 0 ? 0 : (fault.driftKpaPerHour * (s - fault.driftFromS)) / 3600;
    const sample = this.samples[place]!;
    sample.kpa = tire.gaugeKpa(outsideKpa) + noise + (this.bias[place]! + drift + this.absoluteKpa(outsideKpa));
    sample.celsius = fault.says === 'impossible' ? IMPOSSIBLE_C : tire.sensorC + warm;
  }

  /** Tires change places together with their sensors. */
  swap(a: number, b: number): void {
    const swapIn = <T>(list: T[]): void => {
      [list[a], list[b]] = [list[b]!, list[a]!];
    };
    swapIn(this.tires);
    swapIn(this.heardFrom);
  }
}
