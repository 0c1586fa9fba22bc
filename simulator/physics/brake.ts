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

export const STROKE_OK = 0;
export const STROKE_OVER = 2;
export const STROKE_DRAGGING = 3;

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
   * heatKw: its share of the braking power. overstroke: pressure from which the stroke is too long, or null.
   * seen: a number in [0, 1) that decides whether the sensor catches this application.
   */
  step(
    dtS: number,
    vehicle: Vehicle,
    ambientC: number,
    heatKw: number,
    fault: { overstrokeKpa: number | null; dragging: boolean },
    seen: number,
  ): void {
    const cooling = COOLING + COOLING_PER_KMH * vehicle.speedKmh;
    this.drumC += ((heatKw - cooling * (this.drumC - ambientC)) * dtS) / HEAT_CAPACITY;
    const applied = vehicle.brakeKpa >= JUDGED_KPA;
    if (applied && !this.wasApplied) this.seen = seen < OVERSTROKE_SEEN;
    this.wasApplied = applied;
    this.releasedS = vehicle.brakeKpa > 5 || vehicle.parkingBrake ? 0 : this.releasedS + dtS;
    this.stroke = STROKE_OK;
    if (fault.overstrokeKpa !== null && this.seen && vehicle.brakeKpa >= fault.overstrokeKpa) this.stroke = STROKE_OVER;
    if (fault.dragging && this.releasedS >= 1) this.stroke = STROKE_DRAGGING;
  }
}
