import type { Mark } from '../../config/resolved.js';
import type { EventDraft } from '../alerts/event.js';
import type { TripRecord } from '../effects.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import { type CheckState, newCheck, TripCheck } from './trip-check.js';
import type { TripFacts, TripSight } from './trip-sight.js';
import { newSummary, type SummaryState, type TripSummary, TripSums } from './trip-summary.js';

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
  check: CheckState;
  summary: SummaryState;
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
  check: newCheck(),
  summary: newSummary(),
});

/** From engine start or movement to parked. */
export class Trips {
  readonly state: TripState;
  readonly #sight: TripSight;
  readonly #check: TripCheck;
  readonly #sums: TripSums;

  constructor(state: TripState, sight: TripSight) {
    this.state = state;
    this.#sight = sight;
    this.#check = new TripCheck(state, sight);
    this.#sums = new TripSums(state, sight);
    sight.records.listen = (record) => {
      if (!state.open) return;
      this.#check.record(record);
      this.#sums.record(record);
    };
    this.#noteMarks();
  }

  /** True at the tick at which a trip begins. isQuiet: nothing at all is heard; alerts: raised so far, of all time. */
  tick(t: StreamMs, facts: TripFacts, isQuiet: boolean, alerts: number): boolean {
    const s = this.state;
    if (s.open) {
      if (isQuiet) s.gapMs += TICK_MS;
      this.#odometer();
      this.#sums.tick(t, facts);
      this.#check.tick(t, s.trip, facts);
      return false;
    }
    if (!facts.engineRunning && !facts.moving) {
      this.#check.wait(t);
      return false;
    }
    s.open = true;
    s.trip++;
    s.startAt = t;
    s.startM = -1;
    s.lastM = -1;
    s.alertsBefore = alerts;
    s.gapMs = 0;
    s.notJudged = [];
    this.#noteMarks();
    this.#odometer();
    this.#check.begin(t, s.endedAt === NEVER ? -1 : t - s.endedAt);
    this.#sums.begin();
    return true;
  }

  /** Of what happened to alerts, that which is of this trip. */
  note(events: readonly EventDraft[]): void {
    if (!this.state.open) return;
    for (const event of events) if (event.alert > this.state.alertsBefore) this.#sums.event(event);
  }

  /** The trip as far as it got; null when there is none. Ends it unless provisional. */
  record(t: StreamMs, provisional: boolean, alerts: number): TripRecord | null {
    const s = this.state;
    if (!s.open) return null;
    if (!provisional) {
      this.#check.finish(t, s.trip, 'trip-end');
      s.open = false;
      s.endedAt = t;
    }
    const [metres, distanceFrom] = this.#distance();
    return {
      trip: s.trip,
      provisional,
      startAt: s.startAt,
      endAt: t,
      distanceKm: metres === null ? null : metres / 1000,
      alerts: alerts - s.alertsBefore,
      gapS: Math.round(s.gapMs / 1000),
      notJudged: s.notJudged,
      summary: this.#sums.summary(t - s.startAt, distanceFrom),
    };
  }

  /** The marks that are in force in it. */
  #noteMarks(): void {
    const { open, notJudged } = this.state;
    if (!open) return;
    const marks = this.#sight.marks.inForce;
    const others = notJudged.filter((m) => marks.every((x) => x.subject !== m.subject));
    this.state.notJudged = [...others, ...marks];
  }

  /** After a restart: a trip whose end nobody saw ended at lastAt, as far as is known. */
  restart(lastAt: StreamMs, alerts: number): void {
    this.state.untold = this.record(lastAt, false, alerts) ?? this.state.untold;
  }

  /** Once, the trip whose end was not seen; else the one that ends, or as far as it got where the bus has gone quiet. */
  told(t: StreamMs, ended: boolean, wentQuiet: boolean, alerts: number): TripRecord | null {
    const { untold } = this.state;
    this.state.untold = null;
    return untold ?? (ended || wentQuiet ? this.record(t, !ended, alerts) : null);
  }

  /** How long the truck has stood, ms; 0 when nobody knows. */
  stoodMs(t: StreamMs): number {
    const { endedAt } = this.state;
    return endedAt === NEVER ? 0 : t - endedAt;
  }

  #distance(): [metres: number | null, from: TripSummary['distanceFrom']] {
    const { startM, lastM } = this.state;
    if (startM >= 0 && lastM >= startM) return [lastM - startM, 'odometer'];
    const { metres } = this.#sums;
    return [metres, metres === null ? null : 'speed'];
  }

  #odometer(): void {
    const { at, value: m } = this.#sight.context.state.odometer;
    if (at === NEVER) return;
    if (this.state.startM < 0) this.state.startM = m;
    this.state.lastM = m;
  }
}
