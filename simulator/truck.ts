import { listSubjects, type Subjects } from '../daemon/truck/subjects.js';
import { isDriving, type Mode, planAhead, slowDownFor, stopAndPark } from './drive-cycle.js';
import { Faults } from './faults.js';
import { type AirLeak, AirSupply, NO_AIR_LEAK } from './physics/air-supply.js';
import type { WheelBrake } from './physics/brake.js';
import { type Maneuver, Vehicle } from './physics/vehicle.js';
import { Weather } from './physics/weather.js';
import type { Random } from './random.js';
import { Route } from './route.js';
import type { Scenario, ScenarioEvent } from './scenario.js';
import { type TireSample, Wheels } from './wheels.js';

export const STEP_MS = 100;
const STEP_S = STEP_MS / 1000;
/** Heat moves slowly: tires and drums are advanced once a second. */
const HEAT_STEPS = 10;
/** A night is passed in steps of this; one that is shorter than half an hour is not hurried. */
const REST_MS = 60_000;
const REST_LEAST_MS = 1_800_000;
const APPLIED_KPA = 20;
/** Wheel ends of the usual combination. */
const FIVE_AXLES = 10;
/** A truck that is built to tow nothing has fewer chambers, and reservoirs for them. */
const ALONE_RESERVOIRS = 0.75;
/** Gauges stand well over the low-air warning. */
const DRIVES_FROM_KPA = 640;
/** Nobody lets an engine idle slowly while waiting for air. */
const WAITING_RPM = 1100;
const USUAL_RATED_MM = 63.5;

/** The whole truck and the weather around it, advanced step by step. */
export class SimulatedTruck {
  readonly scenario: Scenario;
  readonly subjects: Subjects;
  readonly faults: Faults;
  readonly vehicle: Vehicle;
  readonly air: AirSupply;
  readonly wheels: Wheels;
  mode: Mode = 'off';
  ambientC: number;
  outsideKpa: number;
  /** Start of the present moment, ms. */
  t = 0;
  /** Since the truck last stood still, or since it last moved, s. */
  stoodS = 0;
  trailerId: string | null;
  private readonly weather: Weather;
  private readonly route: Route;
  private readonly random: Random;
  private readonly events: ScenarioEvent[];
  private leg = 0;
  private plan: Maneuver[] = [];
  private steps = 0;
  private brakingKw = 0;

  constructor(scenario: Scenario, random: Random) {
    this.scenario = scenario;
    this.random = random.fork(1);
    this.subjects = listSubjects(scenario.truck.units);
    this.faults = new Faults(scenario, this.subjects);
    this.faults.advance(0);
    this.weather = new Weather(scenario);
    this.route = new Route(scenario.route);
    const massShare = this.subjects.wheelEnds.length / FIVE_AXLES;
    this.vehicle = new Vehicle(scenario.truck.odometerKm * 1000, scenario.truck.load, massShare);
    const trailer = scenario.truck.units[1];
    this.trailerId = trailer?.id ?? null;
    const { primaryKpa, secondaryKpa, ...supply } = scenario.air;
    const reservoirs = trailer ? 1 : ALONE_RESERVOIRS;
    this.air = new AirSupply(primaryKpa, secondaryKpa, { ...supply, trailer: trailer !== undefined, reservoirs });
    this.ambientC = this.weather.ambientC(0, 0);
    this.outsideKpa = this.weather.outsideKpa(0, 0);
    this.wheels = new Wheels(scenario, this.subjects, this.faults, this, [this.random, random.fork(2), random.fork(4)]);
    this.events = [...scenario.events].sort((a, b) => a.at - b.at);
    this.change();
  }

  get position(): [number, number] {
    return this.route.at(this.vehicle.tripM);
  }

  get brakes(): readonly WheelBrake[] {
    return this.wheels.brakes;
  }

  get samples(): readonly TireSample[] {
    return this.wheels.samples;
  }

  /** Pushrod stroke of a wheel end now, mm. */
  strokeMm(wheelEnd: number): number {
    const fault = this.faults.wheelEnds[wheelEnd]!;
    const { chamber } = this.subjects.wheelEnds[wheelEnd]!;
    const grown = (fault.mmPerHour * Math.max(0, this.t / 1000 - fault.growsFromS)) / 3600;
    const rated = chamber?.ratedStrokeMm ?? USUAL_RATED_MM;
    return this.brakes[wheelEnd]!.strokeMm(this.vehicle.brakeKpa, this.ambientC, rated, fault.extraMm + grown, fault);
  }

  /** Advances by STEP_MS and leaves `t` at the new moment. */
  step(): void {
    const s = this.t / 1000;
    const { vehicle, air } = this;
    const { drive } = this.scenario;
    while (this.leg < drive.length - 1 && s >= drive[this.leg]!.until) this.nextLeg();
    const leg = drive[this.leg]!;
    if (leg.mode !== this.mode) this.enter(leg.mode);
    if (this.faults.advance(s)) this.change();
    this.occasions(s);
    if (vehicle.done) this.nextManeuver();
    const waits = isDriving(leg.mode) && this.waitsForAir;
    vehicle.step(STEP_S, Math.max(air.primaryKpa, air.secondaryKpa), waits ? WAITING_RPM : leg.idleRpm);
    air.step(STEP_S, vehicle.rpm, vehicle.brakeKpa, vehicle.parkingBrake, this.leak(), this.outsideKpa);
    this.stoodS = vehicle.speedKmh > 0 ? 0 : this.stoodS + STEP_S;
    this.brakingKw += vehicle.brakingKw;
    this.steps += 1;
    if (this.steps % HEAT_STEPS === 0) this.heat(s);
    this.t += STEP_MS;
  }

  /** Passes what is left of a night in one go. False when there is no night now. */
  rest(): boolean {
    const { drive } = this.scenario;
    const leg = drive[this.leg]!;
    const until = leg.until * 1000;
    if (this.mode !== 'off' || leg.mode !== 'off' || until - this.t < REST_LEAST_MS || !this.settled) return false;
    while (this.t + REST_MS <= until) {
      const s = this.t / 1000;
      if (this.faults.advance(s)) this.change();
      this.occasions(s);
      this.t += REST_MS;
      this.blow(s);
      this.air.rest(REST_MS / 1000, this.leak(), this.outsideKpa);
      this.wheels.rest(this.t, REST_MS / 1000, this);
      this.stoodS += REST_MS / 1000;
    }
    return true;
  }

  /** Nothing moves any more. */
  private get settled(): boolean {
    return this.vehicle.speedKmh === 0 && this.vehicle.brakeKpa === 0 && this.vehicle.engine === 'off';
  }

  private leak(): AirLeak {
    const { airLeak, appliedLeak } = this.faults;
    if (appliedLeak === NO_AIR_LEAK || this.vehicle.brakeKpa < APPLIED_KPA) return airLeak;
    return {
      supplyKpaPerMin: airLeak.supplyKpaPerMin + appliedLeak.supplyKpaPerMin,
      primaryKpaPerMin: airLeak.primaryKpaPerMin + appliedLeak.primaryKpaPerMin,
      secondaryKpaPerMin: airLeak.secondaryKpaPerMin + appliedLeak.secondaryKpaPerMin,
      trailerKpaPerMin: (airLeak.trailerKpaPerMin ?? 0) + (appliedLeak.trailerKpaPerMin ?? 0),
    };
  }

  /** What is broken in the air supply has changed. */
  private change(): void {
    const { faults, air, scenario } = this;
    const { cutInKpa, cutOutKpa, compressor } = scenario.air;
    Object.assign(air.blocked, faults.blocked);
    air.options.cutInKpa = faults.governor?.cutInKpa ?? cutInKpa;
    air.options.cutOutKpa = faults.governor?.cutOutKpa ?? cutOutKpa;
    air.options.compressor = compressor * faults.compressorShare;
  }

  private nextLeg(): void {
    this.leg += 1;
    const before = this.scenario.drive[this.leg - 1]!;
    const leg = this.scenario.drive[this.leg]!;
    if (isDriving(leg.mode) || leg.mode !== before.mode || leg.holdKpa === before.holdKpa) return;
    this.plan = [this.parked(leg.holdKpa)];
    this.nextManeuver();
  }

  private parked(holdKpa: number | undefined): Maneuver {
    return holdKpa === undefined ? { do: 'park' } : { do: 'park', kpa: holdKpa };
  }

  private enter(mode: Mode): void {
    const wasDriving = isDriving(this.mode);
    this.mode = mode;
    if (mode === 'off' || mode === 'key') this.vehicle.stopEngine();
    else this.vehicle.startEngine();
    const { holdKpa } = this.scenario.drive[this.leg]!;
    if (isDriving(mode)) this.plan = slowDownFor(mode, this.vehicle.speedKmh, this.random);
    else this.plan = wasDriving ? stopAndPark(this.random) : [this.parked(holdKpa)];
    this.nextManeuver();
  }

  private nextManeuver(): void {
    if (isDriving(this.mode) && (this.vehicle.engine !== 'running' || this.waitsForAir)) return;
    const { driver, passM } = this.scenario;
    if (this.plan.length === 0)
      this.plan = isDriving(this.mode)
        ? planAhead(this.mode, this.random, { climbedM: this.vehicle.climbedM, passM, driver })
        : [this.parked(this.scenario.drive[this.leg]!.holdKpa)];
    this.vehicle.begin(this.plan.shift()!);
  }

  /** Nobody releases the parking brake before both circuits are full enough. */
  private get waitsForAir(): boolean {
    const { vehicle, air } = this;
    return vehicle.parkingBrake && Math.min(air.primaryKpa, air.secondaryKpa) < DRIVES_FROM_KPA;
  }

  private blow(s: number): void {
    const before = this.outsideKpa;
    this.ambientC = this.weather.ambientC(s, this.vehicle.climbedM);
    this.outsideKpa = this.weather.outsideKpa(s, this.vehicle.climbedM);
    // A shift whose weather is given as pressures stays at its height.
    if (!Number.isNaN(this.weather.startM)) this.air.rise(before - this.outsideKpa);
  }

  private heat(s: number): void {
    this.blow(s);
    const kw = this.brakingKw / HEAT_STEPS;
    this.brakingKw = 0;
    this.wheels.step(s, this.t, (HEAT_STEPS * STEP_MS) / 1000, this, kw);
  }

  private occasions(s: number): void {
    while (this.events.length > 0 && this.events[0]!.at <= s) this.happen(this.events.shift()!);
  }

  private happen(event: ScenarioEvent): void {
    const index = (subject: string) => this.subjects.tires.findIndex((tire) => tire.subject === subject);
    const { wheels } = this;
    if (event.kind === 'sensors-swapped') wheels.swap(index(event.tires[0]), index(event.tires[1]));
    else if (event.kind === 'tire-fill') this.fillByGauge(index(event.tire), event.share);
    else if (event.kind === 'tire-change') {
      const i = index(event.tire);
      wheels.tires[i] = wheels.newTire(i, 1, this.ambientC);
      this.fillByGauge(i, 1);
    } else this.couple(event);
  }

  private fillByGauge(i: number, share: number): void {
    const tire = this.wheels.tires[i]!;
    tire.fillByGauge(tire.targetKpa * share, this.outsideKpa);
  }

  private couple(event: Extract<ScenarioEvent, { kind: 'trailer-drop' | 'trailer-couple' }>): void {
    const there = event.kind === 'trailer-couple';
    this.air.options.trailer = there;
    this.trailerId = there ? (event.id ?? null) : null;
    this.subjects.wheelEnds.forEach(({ unit }, i) => {
      if (unit !== 'tractor') this.wheels.present[i] = there;
    });
    this.vehicle.massShare = this.wheels.present.filter(Boolean).length / FIVE_AXLES;
    if (!there) return;
    this.subjects.tires.forEach(({ unit }, i) => {
      if (unit !== 'tractor') this.wheels.tires[i] = this.wheels.newTire(i, event.fillShare, this.ambientC);
    });
  }
}
