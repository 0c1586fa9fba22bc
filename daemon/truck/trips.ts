import type { Mark } from '../../config/resolved.js';
import type { TripRecord } from '../effects.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';

export interface TripState {
  /** Counted from 1. */
  trip: number;
  open: boolean;
  startAt: StreamMs;
  /** End of the last trip: since then the truck has stood. NEVER: unknown. */
  endedAt: StreamMs;
  /** Odometer at the start and last, m; -1 unknown. */
  startM: number;
  lastM: number;
  alertsBefore: number;
  gapMs: number;
  /** Marks in force at any time during it; of several on one subject the last. */
  notJudged: Mark[];
  /** A trip whose end was not seen, not told yet. */
  untold: TripRecord | null;
}

export const newTrips = (): TripState => ({
  trip: 0,
  open: false,
  startAt: NEVER,
  endedAt: NEVER,
  startM: -1,
  lastM: -1,
  alertsBefore: 0,
  gapMs: 0,
  notJudged: [],
  untold: null,
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
    s.notJudged = [];
    if (!Number.isNaN(odometerM)) this.#odometer(odometerM);
    return true;
  }

  /** The trip as far as it got; null when there is none. Ends it unless provisional. */
  record(t: StreamMs, provisional: boolean, alerts: number): TripRecord | null {
    const s = this.state;
    if (!s.open) return null;
    if (!provisional) {
      s.open = false;
      s.endedAt = t;
    }
    const known = s.startM >= 0 && s.lastM >= s.startM;
    return {
      trip: s.trip,
      provisional,
      startAt: s.startAt,
      endAt: t,
      distanceKm: known ? (s.lastM - s.startM) / 1000 : null,
      alerts: alerts - s.alertsBefore,
      gapS: Math.round(s.gapMs / 1000),
      notJudged: s.notJudged,
      summary: null,
    };
  }

  /** These marks are in force in it. */
  noteMarks(marks: readonly Mark[]): void {
    const { open, notJudged } = this.state;
    if (!open) return;
    const others = notJudged.filter((m) => marks.every((x) => x.subject !== m.subject));
    this.state.notJudged = [...others, ...marks];
  }

  /** After a restart: a trip whose end nobody saw ended at lastAt, as far as is known. */
  restart(lastAt: StreamMs, alerts: number): void {
    this.state.untold = this.record(lastAt, false, alerts) ?? this.state.untold;
  }

  /** Once, the trip whose end was not seen. */
  takeUntold(): TripRecord | null {
    const { untold } = this.state;
    this.state.untold = null;
    return untold;
  }

  /** How long the truck has stood, ms; 0 when nobody knows. */
  stoodMs(t: StreamMs): number {
    const { endedAt } = this.state;
    return endedAt === NEVER ? 0 : t - endedAt;
  }

  #odometer(m: number): void {
    if (this.state.startM < 0) this.state.startM = m;
    this.state.lastM = m;
  }
}
