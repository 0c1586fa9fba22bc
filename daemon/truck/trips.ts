import type { TripRecord } from '../effects.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';

export interface TripState {
  /** Counted from 1. */
  trip: number;
  open: boolean;
  startAt: StreamMs;
  /** Odometer at the start and last, m; -1 unknown. */
  startM: number;
  lastM: number;
  alertsBefore: number;
  gapMs: number;
}

export const newTrips = (): TripState => ({
  trip: 0,
  open: false,
  startAt: NEVER,
  startM: -1,
  lastM: -1,
  alertsBefore: 0,
  gapMs: 0,
});

/** From engine start or movement to parked. */
export class Trips {
  readonly state: TripState;

  constructor(state: TripState) {
    this.state = state;
  }

  /** True at the tick at which a trip begins. */
  tick(t: StreamMs, isUnderWay: boolean, isQuiet: boolean, odometerM: number, alerts: number): boolean {
    const s = this.state;
    if (s.open) {
      if (isQuiet) s.gapMs += TICK_MS;
      if (!Number.isNaN(odometerM)) this.#odometer(odometerM);
      return false;
    }
    if (!isUnderWay) return false;
    s.open = true;
    s.trip++;
    s.startAt = t;
    s.startM = -1;
    s.lastM = -1;
    s.alertsBefore = alerts;
    s.gapMs = 0;
    if (!Number.isNaN(odometerM)) this.#odometer(odometerM);
    return true;
  }

  /** The trip as far as it got; null when there is none. Ends it unless provisional. */
  record(t: StreamMs, provisional: boolean, alerts: number): TripRecord | null {
    const s = this.state;
    if (!s.open) return null;
    if (!provisional) s.open = false;
    const known = s.startM >= 0 && s.lastM >= s.startM;
    return {
      trip: s.trip,
      provisional,
      startAt: s.startAt,
      endAt: t,
      distanceKm: known ? (s.lastM - s.startM) / 1000 : null,
      alerts: alerts - s.alertsBefore,
      gapS: Math.round(s.gapMs / 1000),
    };
  }

  #odometer(m: number): void {
    if (this.state.startM < 0) this.state.startM = m;
    this.state.lastM = m;
  }
}
