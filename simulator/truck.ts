import { listSubjects, type Subjects } from '../daemon/truck/subjects.js';
import { isDriving, type Mode, planAhead, slowDownFor, stopAndPark } from './drive-cycle.js';
import { Faults } from './faults.js';
import { AirSupply } from './physics/air-supply.js';
import { WheelBrake } from './physics/brake.js';
import { SimulatedTire } from './physics/tire.js';
import { type Maneuver, Vehicle } from './physics/vehicle.js';
import type { Random } from './random.js';
import { Route } from './route.js';
import type { Scenario } from './scenario.js';

export const STEP_MS = 100;
const STEP_S = STEP_MS / 1000;
/** Heat moves slowly: tires and drums are advanced once a second. */
const HEAT_STEPS = 10;
/** How well the shop filled the tires: every wheel a little different, all within two percent of the target. */
const FILL_LOW = 0.985;
const FILL_HIGH = 1.015;
const SENSOR_PERIOD_MS = 10_000;

/** What a wheel's sensor measured last. */
export interface TireSample {
  kpa: number;
  celsius: number;
}

/** The whole truck and the weather around it, advanced step by step. */
export class SimulatedTruck {
  readonly scenario: Scenario;
  readonly subjects: Subjects;
  readonly faults: Faults;
  readonly vehicle: Vehicle;
  readonly air: AirSupply;
  readonly tires: SimulatedTire[];
  readonly brakes: WheelBrake[];
  readonly samples: TireSample[];
  mode: Mode = 'off';
  ambientC: number;
  outsideKpa: number;
  /** Start of the present moment, ms. */
  t = 0;
  private readonly route: Route;
  private readonly random: Random;
  private readonly nextSample: number[];
  private plan: Maneuver[] = [];
  private steps = 0;
  private brakingKw = 0;

  constructor(scenario: Scenario, random: Random) {
    this.scenario = scenario;
    this.random = random.fork(1);
    this.subjects = listSubjects(scenario.truck.units);
    this.faults = new Faults(scenario);
    this.route = new Route(scenario.route);
    this.vehicle = new Vehicle(scenario.truck.odometerKm * 1000);
    this.air = new AirSupply(scenario.air.primaryKpa, scenario.air.secondaryKpa);
    this.ambientC = scenario.weather.ambientC[0];
    this.outsideKpa = scenario.weather.outsideKpa[0];
    const fill = random.fork(2);
    this.tires = this.subjects.tires.map((tire) => {
      const share = fill.between(FILL_LOW, FILL_HIGH);
      return new SimulatedTire(tire.coldPressureKpa!, tire.position, this.ambientC, share);
    });
    this.brakes = this.subjects.wheelEnds.map(() => new WheelBrake(this.ambientC));
    this.samples = this.tires.map((tire) => ({ kpa: tire.gaugeKpa(this.outsideKpa), celsius: tire.sensorC }));
    this.nextSample = this.tires.map(() => this.random.between(0, SENSOR_PERIOD_MS));
  }

  get position(): [number, number] {
    return this.route.at(this.vehicle.tripM);
  }

  /** Advances by STEP_MS and leaves `t` at the new moment. */
  step(): void {
    const s = this.t / 1000;
    const { vehicle, air } = this;
    const leg = this.scenario.drive.find((l) => s < l.until) ?? this.scenario.drive.at(-1)!;
    if (leg.mode !== this.mode) this.enter(leg.mode);
    if (vehicle.done) this.nextManeuver();
    vehicle.step(STEP_S, Math.max(air.primaryKpa, air.secondaryKpa), leg.idleRpm);
    air.step(STEP_S, vehicle.rpm, vehicle.brakeKpa, vehicle.parkingBrake, this.faults.airLeak(s), this.outsideKpa);
    this.brakingKw += vehicle.brakingKw;
    this.steps += 1;
    if (this.steps % HEAT_STEPS === 0) this.heat(s, (HEAT_STEPS * STEP_MS) / 1000);
    this.t += STEP_MS;
  }

  private enter(mode: Mode): void {
    const wasDriving = isDriving(this.mode);
    this.mode = mode;
    if (mode === 'off' || mode === 'key') this.vehicle.stopEngine();
    else this.vehicle.startEngine();
    if (isDriving(mode)) this.plan = slowDownFor(mode, this.vehicle.speedKmh, this.random);
    else this.plan = wasDriving ? stopAndPark(this.random) : [{ do: 'park' }];
    this.nextManeuver();
  }

  private nextManeuver(): void {
    if (isDriving(this.mode) && this.vehicle.engine !== 'running') return;
    if (this.plan.length === 0) this.plan = planAhead(this.mode, this.random);
    this.vehicle.begin(this.plan.shift()!);
  }

  private heat(s: number, dtS: number): void {
    const share = s / this.scenario.durationS;
    const { ambientC, outsideKpa } = this.scenario.weather;
    this.ambientC = ambientC[0] + (ambientC[1] - ambientC[0]) * share;
    this.outsideKpa = outsideKpa[0] + (outsideKpa[1] - outsideKpa[0]) * share;
    const kwEach = this.brakingKw / HEAT_STEPS / this.brakes.length;
    this.brakingKw = 0;
    this.brakes.forEach((brake, i) => {
      const end = this.subjects.wheelEnds[i]!.subject;
      const dragKw = this.faults.dragKw(end, s) * Math.min(1, this.vehicle.speedKmh / 80);
      const fault = { overstrokeKpa: this.faults.overstrokeKpa(end, s), dragging: this.faults.dragKw(end, s) > 0 };
      brake.step(dtS, this.vehicle, this.ambientC, kwEach + dragKw, fault, this.random.next());
    });
    this.tires.forEach((tire, i) => {
      this.rollTire(tire, i, s, dtS);
    });
  }

  private rollTire(tire: SimulatedTire, index: number, s: number, dtS: number): void {
    const { subject, wheelEnd } = this.subjects.tires[index]!;
    const { ambientC, outsideKpa } = this;
    const drumC = this.brakes[wheelEnd]!.drumC;
    tire.leak(this.faults.tireLeak(subject, s), dtS);
    const refill = this.faults.refill(subject, s);
    if (refill) tire.fill(refill.share, refill.kpaPerMin, dtS);
    tire.step(dtS, { ambientC, outsideKpa, speedKmh: this.vehicle.speedKmh, drumC });
    if (this.t < this.nextSample[index]!) return;
    this.nextSample[index]! += SENSOR_PERIOD_MS;
    this.samples[index] = {
      kpa: tire.gaugeKpa(outsideKpa) + this.random.normal() * 0.8,
      celsius: tire.sensorC + this.random.normal() * 0.3,
    };
  }
}
