import { airAmount, gaugeOf } from './gas.js';

/** Air pressure at which tires were filled, kPa, and the temperature of the gauge's "cold" (65 °F). */
const DEPOT_AIR_KPA = 101.325;
export const REFERENCE_C = 18;

/** Rubber of a loaded tire at 95 km/h over the air around it, K (a properly filled one runs near 150 °F in summer). */
const RISE_STEER_C = 33;
const RISE_C = 28;
const RISE_AT_KMH = 95;
/** A soft tire bends more: per share of missing pressure. */
const SOFT_HEAT = 1.2;
/** Rates per minute: rubber heating, rubber cooling at standstill, rim to rubber, rim to drum, rim to wind. */
const RUBBER_WARMS = 1 / 18;
const RUBBER_COOLS = 1 / 45;
const RIM_RUBBER = 0.05;
const RIM_DRUM_INNER = 0.042;
const RIM_DRUM_OUTER = 0.028;
const RIM_WIND = 0.03;
const RIM_WIND_PER_KMH = 0.0005;
/** Rubber takes some heat from a hot rim. */
const RUBBER_RIM = 0.014;
/**
 * What the sensor feels of the rim, the rest being cavity air; how fast, per minute; what it loses to the wind, and what the
 * drum's heat adds, each as a share of the difference.
 */
const SENSORS = {
  mixed: { rimShare: 0.6, lag: 1 / 2, windSteer: 0, wind: 0, drum: 0 },
  /** Strapped to the rim's well: thin, next to the drum, and in the wind, most so on a steer axle. */
  rim: { rimShare: 0.95, lag: 1 / 3, windSteer: 0.7, wind: 0.2, drum: 0.08 },
  /** On the valve, inside. */
  valve: { rimShare: 0.25, lag: 1 / 1.5, windSteer: 0, wind: 0, drum: 0 },
} as const;
/** Heat grows with what the tire carries: 1 at the load of 0.6. */
const RISE_EMPTY = 0.25;
const RISE_PER_LOAD = 1.25;

export interface TireSurroundings {
  ambientC: number;
  outsideKpa: number;
  speedKmh: number;
  drumC: number;
}

export interface TireOptions {
  /** Share of the load it may carry. */
  load: number;
  sensor: keyof typeof SENSORS;
  /** Air pressure where it was filled, kPa absolute. */
  depotKpa: number;
}

const USUAL: TireOptions = { load: 0.6, sensor: 'mixed', depotKpa: DEPOT_AIR_KPA };

/** One tire: its air by the gas law, and three masses with lag: rubber, rim, sensor. */
export class SimulatedTire {
  readonly targetKpa: number;
  airKpaPerK: number;
  rubberC: number;
  rimC: number;
  sensorC: number;
  private readonly riseC: number;
  private readonly rimDrum: number;
  private readonly sensor: { rimShare: number; lag: number; drum: number };
  /** Share of its warmth that the sensor loses to the wind at 95 km/h. */
  private readonly wind: number;
  private readonly depotKpa: number;

  /** share: how well it was filled; 1 is exactly on target at the reference temperature. */
  constructor(
    targetKpa: number,
    position: 'single' | 'outer' | 'inner',
    ambientC: number,
    share: number,
    options = USUAL,
  ) {
    this.targetKpa = targetKpa;
    this.depotKpa = options.depotKpa;
    this.sensor = SENSORS[options.sensor];
    this.wind = position === 'single' ? SENSORS[options.sensor].windSteer : SENSORS[options.sensor].wind;
    this.airKpaPerK = airAmount(targetKpa * share, REFERENCE_C, this.depotKpa);
    this.rubberC = ambientC;
    this.rimC = ambientC;
    this.sensorC = ambientC;
    this.riseC = (position === 'single' ? RISE_STEER_C : RISE_C) * (RISE_EMPTY + RISE_PER_LOAD * options.load);
    this.rimDrum = position === 'inner' ? RIM_DRUM_INNER : RIM_DRUM_OUTER;
  }

  get airC(): number {
    return 0.5 * this.rubberC + 0.5 * this.rimC;
  }

  gaugeKpa(outsideKpa: number): number {
    return gaugeOf(this.airKpaPerK, this.airC, outsideKpa);
  }

  /** Gauge pressure that it would have at the depot and at the reference temperature. */
  coldKpa(): number {
    return gaugeOf(this.airKpaPerK, REFERENCE_C, this.depotKpa);
  }

  step(dtS: number, s: TireSurroundings): void {
    const dtMin = dtS / 60;
    const soft = Math.max(0, 1 - this.coldKpa() / this.targetKpa);
    const warmC = s.ambientC + (this.riseC * s.speedKmh * (1 + SOFT_HEAT * soft)) / RISE_AT_KMH;
    const pace = warmC > this.rubberC ? RUBBER_WARMS : RUBBER_COOLS;
    const rubberC = (warmC - this.rubberC) * pace + (this.rimC - this.rubberC) * RUBBER_RIM;
    const wind = RIM_WIND + RIM_WIND_PER_KMH * s.speedKmh;
    const rimC =
      (this.rubberC - this.rimC) * RIM_RUBBER + (s.drumC - this.rimC) * this.rimDrum + (s.ambientC - this.rimC) * wind;
    const { rimShare, lag, drum } = this.sensor;
    const still = rimShare * this.rimC + (1 - rimShare) * this.airC;
    const inside = still + drum * Math.max(0, s.drumC - still);
    const blown = (this.wind * Math.min(s.speedKmh, RISE_AT_KMH)) / RISE_AT_KMH;
    const feels = inside - blown * (inside - s.ambientC);
    this.sensorC += (feels - this.sensorC) * lag * dtMin;
    this.rubberC += rubberC * dtMin;
    this.rimC += rimC * dtMin;
  }

  /** Loses air as a leak of so many kPa per minute at the reference temperature; never below the air outside. */
  leak(kpaPerMin: number, dtS: number): void {
    const empty = airAmount(0, REFERENCE_C, this.depotKpa);
    const lost = ((kpaPerMin / 60) * dtS) / (REFERENCE_C + 273.15);
    this.airKpaPerK = Math.max(empty, this.airKpaPerK - lost);
  }

  /** Fills towards a share of the target, at most so many kPa per minute. */
  fill(share: number, kpaPerMin: number, dtS: number): void {
    const wanted = airAmount(this.targetKpa * share, REFERENCE_C, this.depotKpa);
    const step = ((kpaPerMin / 60) * dtS) / (REFERENCE_C + 273.15);
    if (this.airKpaPerK < wanted) this.airKpaPerK = Math.min(wanted, this.airKpaPerK + step);
  }

  /** Air is added or let out until the gauge shows this, as warm as the tire is now. */
  fillByGauge(kpa: number, outsideKpa: number): void {
    this.airKpaPerK = airAmount(kpa, this.airC, outsideKpa);
  }
}
