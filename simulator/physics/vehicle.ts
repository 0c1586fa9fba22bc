/**
 * One thing the driver does. `park` lasts until something else is asked; with a pressure the brakes are held as well.
 * `descend`: down a grade (meters per meter), braking again and again to stay near a speed.
 */
export type Maneuver =
  | { do: 'drive'; kmh: number; holdS: number; grade?: number }
  | { do: 'brake'; toKmh: number; kpa: number }
  | { do: 'descend'; kmh: number; holdS: number; grade: number; kpa: number }
  | { do: 'wait'; s: number; kpa: number }
  | { do: 'park'; kpa?: number };

export type EngineState = 'off' | 'cranking' | 'running';

/** Application pressure rises and falls so fast, kPa/s. */
const APPLY_KPA_PER_S = 350;
const RELEASE_KPA_PER_S = 600;
/** Shoes touch at this pressure; from there so much deceleration per kPa, m/s². */
const TOUCH_KPA = 30;
const DECELERATION_PER_KPA = 0.0042;
const COAST_MPS2 = 0.12;
const KMH = 3.6;
/** km/h at 1,000 rpm in each gear used on the road. */
const GEARS = [7, 11, 17, 25, 36, 50, 72];
const SHIFT_DOWN_RPM = 1080;
const IDLE_RPM = 650;
const CRANK_S = 3;
/** Gross mass of five axles: empty, and what they carry at full load; 31 t at 0.6. Fewer axles carry less. */
const EMPTY_KG = 16_000;
const LOAD_KG = 25_000;
const GRAVITY = 9.81;
/** Down a grade: engine brake, and tires on the road, m/s². */
const ENGINE_BRAKE_MPS2 = 0.27;
const ROLLING_MPS2 = 0.07;
/** Snub braking as drivers are taught: on above the speed, off well below it. */
const SNUB_ABOVE_KMH = 3;
const SNUB_BELOW_KMH = 5;

/** The truck as a point: speed, brakes, engine. Advances in steps of a tenth of a second. */
export class Vehicle {
  speedKmh = 0;
  odometerM: number;
  tripM = 0;
  /** What the foot valve asks for and what it gives, kPa. */
  demandKpa = 0;
  brakeKpa = 0;
  parkingBrake = true;
  engine: EngineState = 'off';
  rpm = 0;
  torquePercent = 0;
  /** Heat that all brakes together make now, kW. */
  brakingKw = 0;
  /** Higher than at the start. */
  climbedM = 0;
  /** Of the mass of five axles: a dropped trailer takes its own along. */
  massShare: number;
  private readonly massKg: number;
  private snubbing = false;
  private maneuver: Maneuver = { do: 'park' };
  private spentS = 0;
  private crankedS = 0;

  /** load: share of what it may carry. */
  constructor(odometerM: number, load = 0.6, massShare = 1) {
    this.massShare = massShare;
    this.odometerM = odometerM;
    this.massKg = EMPTY_KG + LOAD_KG * load;
  }

  begin(maneuver: Maneuver): void {
    this.maneuver = maneuver;
    this.spentS = 0;
  }

  /** True when the maneuver is over and the next one may begin. */
  get done(): boolean {
    const m = this.maneuver;
    if (m.do === 'drive' || m.do === 'descend') return this.spentS >= m.holdS;
    if (m.do === 'brake') return this.speedKmh <= m.toKmh;
    return m.do === 'park' || this.spentS >= m.s;
  }

  startEngine(): void {
    if (this.engine !== 'off') return;
    this.engine = 'cranking';
    this.crankedS = 0;
  }

  stopEngine(): void {
    this.engine = 'off';
    this.rpm = 0;
    this.torquePercent = 0;
  }

  /** availableKpa: the fuller service circuit. idleRpm: what the engine turns while nobody drives. */
  step(dtS: number, availableKpa: number, idleRpm = IDLE_RPM): void {
    const m = this.maneuver;
    this.parkingBrake = m.do === 'park';
    this.demandKpa = this.demand(m);
    const asked = Math.min(this.demandKpa, availableKpa);
    this.brakeKpa =
      asked > this.brakeKpa
        ? Math.min(asked, this.brakeKpa + APPLY_KPA_PER_S * dtS)
        : Math.max(asked, this.brakeKpa - RELEASE_KPA_PER_S * dtS);
    const before = this.speedKmh;
    const braking = Math.max(0, this.brakeKpa - TOUCH_KPA) * DECELERATION_PER_KPA;
    this.speedKmh = Math.max(0, before + this.acceleration(m, braking) * dtS * KMH);
    if (m.do === 'park') this.speedKmh = 0;
    if (m.do === 'drive' ? this.atSpeed(m.kmh) : true) this.spentS += dtS;
    this.brakingKw = (this.massKg * this.massShare * braking * (before / KMH)) / 1000;
    const meters = (((before + this.speedKmh) / 2) * dtS) / KMH;
    this.odometerM += meters;
    this.tripM += meters;
    if (m.do === 'descend') this.climbedM -= meters * m.grade;
    else if (m.do === 'drive' && m.grade !== undefined) this.climbedM += meters * m.grade;
    this.turn(dtS, m, idleRpm);
  }

  private demand(m: Maneuver): number {
    if (m.do === 'brake' || m.do === 'wait') return m.kpa;
    if (m.do === 'park') return m.kpa ?? 0;
    if (m.do !== 'descend') return 0;
    if (this.speedKmh > m.kmh + SNUB_ABOVE_KMH) this.snubbing = true;
    if (this.speedKmh < m.kmh - SNUB_BELOW_KMH) this.snubbing = false;
    return this.snubbing ? m.kpa : 0;
  }

  private atSpeed(kmh: number): boolean {
    return this.speedKmh >= kmh - 0.8 && this.speedKmh <= kmh + 0.8;
  }

  /** m/s². A loaded combination gains speed ever more slowly. */
  private acceleration(m: Maneuver, braking: number): number {
    if (m.do === 'descend') return GRAVITY * m.grade - ROLLING_MPS2 - ENGINE_BRAKE_MPS2 - braking;
    if (m.do !== 'drive' || this.brakeKpa > TOUCH_KPA) return this.speedKmh > 0 ? -braking - COAST_MPS2 * 0.5 : 0;
    if (this.engine !== 'running') return -COAST_MPS2;
    const missing = (m.kmh - this.speedKmh) / KMH;
    const most = 0.75 - this.speedKmh / 150;
    return Math.max(-COAST_MPS2, Math.min(most, missing * 0.5));
  }

  private turn(dtS: number, m: Maneuver, idleRpm: number): void {
    if (this.engine === 'off') return;
    if (this.engine === 'cranking') {
      this.crankedS += dtS;
      this.rpm = 190;
      if (this.crankedS >= CRANK_S) this.engine = 'running';
      return;
    }
    const gear = GEARS.findLast((kmh) => (this.speedKmh / kmh) * 1000 >= SHIFT_DOWN_RPM);
    const wanted =
      gear === undefined ? Math.max(idleRpm, Math.min(1200, this.speedKmh * 90)) : (this.speedKmh / gear) * 1000;
    this.rpm += (wanted - this.rpm) * Math.min(1, dtS * 2.5);
    const pulls = m.do === 'drive' && this.speedKmh > 1;
    const short = m.do === 'drive' ? m.kmh - this.speedKmh : 0;
    this.torquePercent = pulls ? Math.max(0, Math.min(90, 22 + this.speedKmh * 0.15 + short * 8)) : 9;
  }
}
