import type { SimulatedTruck } from './truck.js';

const RUNNING_RPM = 400;
const MOVING_KMH = 5;
const APPLIED_KPA = 20;
const CHARGED_KPA = 620;
const CHARGING_S = 300;
const CRANK_S = 10;

/** What all witnesses need to know of the second that just ended. */
export class Moment {
  readonly truck: SimulatedTruck;
  t = 0;
  /** Since the last look, s; a night counts as a gap. */
  dtS = 1;
  awake = false;
  running = false;
  moving = false;
  applied = false;
  /** Parked since the engine started, and not charged yet. */
  charging = false;
  /** Since the brakes were last applied, s. */
  releasedS = 1e9;
  runningS = 0;
  private charged = false;

  constructor(truck: SimulatedTruck) {
    this.truck = truck;
  }

  next(): void {
    const { vehicle, air, t, mode } = this.truck;
    this.dtS = (t - this.t) / 1000;
    this.t = t;
    this.awake = mode !== 'off';
    this.moving = vehicle.speedKmh >= MOVING_KMH;
    this.applied = vehicle.brakeKpa >= APPLIED_KPA;
    this.releasedS = this.applied ? 0 : this.releasedS + this.dtS;
    this.running = vehicle.rpm >= RUNNING_RPM;
    this.runningS = this.running ? this.runningS + this.dtS : 0;
    const lower = Math.min(air.primaryKpa, air.secondaryKpa);
    if (!this.running) this.charged = false;
    else if (lower > CHARGED_KPA || !vehicle.parkingBrake || this.runningS > CHARGING_S) this.charged = true;
    this.charging = this.running && !this.charged;
  }

  /** The starter turns, or turned just now: pressure senders dip. */
  get cranked(): boolean {
    return this.runningS < CRANK_S;
  }
}

export function medianOf(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2;
}
