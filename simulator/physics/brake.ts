import type { Vehicle } from './vehicle.js';

/** Drum and lining of one wheel end, kJ/K (about 50 kg of iron). */
const HEAT_CAPACITY = 24;
/** Cooling in kW/K: standing, and per km/h of wind. */
const COOLING = 0.012;
const COOLING_PER_KMH = 0.0004;
/** Below this application pressure a stroke sensor does not judge. */
const JUDGED_KPA = 60;
/** A real sensor misses the end of the stroke now and then. */
const OVERSTROKE_SEEN = 0.9;

/** Type 30 at 690 kPa: free stroke, then what drum, shoes and linkage give; 1.5 in when adjusted. */
const FREE_MM = 15;
const FREE_AT_KPA = 35;
const GIVES_MM = 23;
const GIVES_AT_KPA = 690;
/** A hot drum is wider (often quoted: 10 mm more stroke on a hot 16.5 in drum). */
const HEAT_MM_PER_K = 10 / 300;
const DRAGGING_MM = 16;
const STUCK_MM = 2;
/** Smaller chambers, with a shorter way, give less. */
const USUAL_RATED_MM = 63.5;

export const STROKE_OK = 0;
export const STROKE_NOT_APPLYING = 1;
export const STROKE_OVER = 2;
export const STROKE_DRAGGING = 3;
export const STROKE_SENSOR_ERROR = 6;

export interface BrakeFault {
  /** Application pressure from which the stroke is too long, or null. */
  overstrokeKpa: number | null;
  dragging: boolean;
  notApplying?: boolean;
  sensorError?: boolean;
}

/** One wheel end: how hot the drum is, and what its stroke sensor says (codes of SPN 3785–3804). */
export class WheelBrake {
  drumC: number;
  stroke = STROKE_OK;
  private releasedS = 0;
  private seen = false;
  private wasApplied = false;

  constructor(ambientC: number) {
    this.drumC = ambientC;
  }

  /**
   * heatKw: its share of the braking power. seen: a number in [0, 1) that decides whether the sensor catches this
   * application.
   */
  step(dtS: number, vehicle: Vehicle, ambientC: number, heatKw: number, fault: BrakeFault, seen: number): void {
    const cooling = COOLING + COOLING_PER_KMH * vehicle.speedKmh;
    this.drumC += ((heatKw - cooling * (this.drumC - ambientC)) * dtS) / HEAT_CAPACITY;
    const applied = vehicle.brakeKpa >= JUDGED_KPA;
    if (applied && !this.wasApplied) this.seen = seen < OVERSTROKE_SEEN;
    this.wasApplied = applied;
    this.releasedS = vehicle.brakeKpa > 5 || vehicle.parkingBrake ? 0 : this.releasedS + dtS;
    this.stroke = STROKE_OK;
    if (fault.overstrokeKpa !== null && this.seen && vehicle.brakeKpa >= fault.overstrokeKpa) this.stroke = STROKE_OVER;
    if (fault.dragging && this.releasedS >= 1) this.stroke = STROKE_DRAGGING;
    if (fault.notApplying && applied && this.seen) this.stroke = STROKE_NOT_APPLYING;
    if (fault.sensorError) this.stroke = STROKE_SENSOR_ERROR;
  }

  /** The sensor caught the present application. */
  get isSeen(): boolean {
    return this.seen;
  }

  /** Cools at a stand for a long time. */
  rest(dtS: number, ambientC: number): void {
    this.drumC += Math.max(-1, (-COOLING * dtS) / HEAT_CAPACITY) * (this.drumC - ambientC);
    this.stroke = STROKE_OK;
    this.wasApplied = false;
    this.releasedS = 0;
  }

  /** Pushrod stroke in mm at a pressure. ratedMm: of the chamber. extraMm: wear, bad adjustment. */
  strokeMm(kpa: number, ambientC: number, ratedMm: number, extraMm: number, fault: BrakeFault): number {
    const rest = fault.dragging ? DRAGGING_MM : 0;
    if (kpa <= 0) return rest;
    const free = FREE_MM * Math.min(1, kpa / FREE_AT_KPA);
    if (fault.notApplying) return Math.min(STUCK_MM, free);
    const gives = (GIVES_MM * Math.min(1.2, kpa / GIVES_AT_KPA) * ratedMm) / USUAL_RATED_MM;
    const heat = Math.max(0, this.drumC - ambientC) * HEAT_MM_PER_K;
    // At the end of its way the pushrod stands against the chamber.
    return Math.min(ratedMm, Math.max(rest, free + gives + heat + extraMm * Math.min(1, kpa / FREE_AT_KPA)));
  }
}
