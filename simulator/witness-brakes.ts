import { strokeLimit } from '../config/chambers.js';
import type { Moment } from './moment.js';
import { NEAR, NO, SURE, THERE, Watch } from './watch.js';

const QUALIFYING_KPA = 140;
/** A peak that B1, once a second, may have seen lower. */
const SURE_KPA = 170;
const BAND_KPA = { low: 550, high: 690, doubt: 25 };
const FAR_MM = 6.35;
const UNEVEN_MM = 12.7;
const STROKE_DOUBT_MM = 1.5;
const DRAG_FROM_S = 3;
/** Growth shows from one day to another, and a hot day hides some of it. */
const GROWS_S = 5 * 86_400;

interface EndWatches {
  over: Watch;
  overAgain: Watch;
  measured: Watch;
  measuredFar: Watch;
  dead: Watch;
  drags: Watch;
  sensor: Watch;
  lining: Watch;
  worn: Watch;
  uneven: Watch;
  grows: Watch;
}

/** Looks at the wheel ends, application by application. */
export class BrakeWitness {
  readonly watches: Watch[] = [];
  private readonly at: Moment;
  private readonly ends: EndWatches[];
  /** The wheel end across the axle. */
  private readonly mates: number[];
  private readonly hot: Watch;
  private readonly strokes: number[];
  private applied = false;
  private beganAt = 0;
  private peakKpa = 0;

  constructor(at: Moment) {
    this.at = at;
    const { wheelEnds } = at.truck.subjects;
    const watch = (options: ConstructorParameters<typeof Watch>[0]): Watch => {
      const made = new Watch(options);
      this.watches.push(made);
      return made;
    };
    const times = { of: 'occurrences' } as const;
    this.ends = wheelEnds.map(({ subject }) => ({
      over: watch({ rule: 'brake-overstroke', subject, urgency: 'plan', need: 2, ...times }),
      overAgain: watch({ rule: 'brake-overstroke', subject, urgency: 'next-stop', need: 4, nth: 2, ...times }),
      measured: watch({ rule: 'brake-overstroke', subject, urgency: 'next-stop', need: 3, nth: 2, ...times }),
      measuredFar: watch({ rule: 'brake-overstroke', subject, urgency: 'pull-over', need: 2, ...times }),
      dead: watch({ rule: 'brake-not-applying', subject, urgency: 'next-stop', need: 4, nth: 2, ...times }),
      drags: watch({ rule: 'brake-dragging', subject, urgency: 'next-stop', need: 30 }),
      sensor: watch({ rule: 'brake-sensor-fault', subject, urgency: 'plan', need: 60 }),
      lining: watch({ rule: 'brake-lining-low', subject, urgency: 'plan', need: 300 }),
      worn: watch({ rule: 'brake-lining-low', subject, urgency: 'next-stop', need: 300 }),
      uneven: watch({ rule: 'brake-stroke-uneven', subject, urgency: 'plan', need: 5, nth: 3, ...times }),
      grows: watch({ rule: 'brake-stroke-growing', subject, urgency: 'plan', need: 10, nth: 20, ...times }),
    }));
    this.mates = wheelEnds.map(({ subject, side }) => {
      const mate = subject.replace(side, side === 'left' ? 'right' : 'left');
      return wheelEnds.findIndex((other) => other.subject === mate);
    });
    this.hot = watch({ rule: 'brake-hot', subject: 'brakes', urgency: 'next-stop', need: 15 });
    this.strokes = wheelEnds.map(() => 0);
  }

  look(): void {
    const { at } = this;
    if (!at.awake) {
      this.applied = false;
      return;
    }
    this.follow();
    const { faults, scenario, wheels, vehicle } = at.truck;
    const released = at.releasedS >= DRAG_FROM_S && !vehicle.parkingBrake;
    const hears = !faults.busSilent && !faults.silentSources.has(11) && !faults.missing.has(3785);
    this.ends.forEach((end, i) => {
      const fault = faults.wheelEnds[i]!;
      const seen = hears && wheels.present[i]!;
      end.drags.see(at.t, fault.dragging ? (released ? SURE : THERE) : NO, seen && at.moving);
      end.sensor.see(at.t, fault.sensorError ? SURE : NO, seen);
      const tells = seen && scenario.also.includes('EBC4') && i < 8;
      const left = fault.lining ?? 100;
      end.lining.see(at.t, left <= 20 ? (left < 19 ? SURE : THERE) : left <= 21 ? NEAR : NO, tells);
      end.worn.see(at.t, left <= 10 ? (left < 9 ? SURE : THERE) : left <= 11 ? NEAR : NO, tells);
    });
    this.hot.see(at.t, faults.brakeHot ? SURE : NO, scenario.also.includes('EBC5') && hears);
  }

  /** Keeps an application's peak and strokes; judges it when it is over. */
  private follow(): void {
    const { at } = this;
    const { vehicle } = at.truck;
    if (at.applied && !this.applied) {
      this.beganAt = at.t;
      this.peakKpa = 0;
    }
    if (at.applied && vehicle.brakeKpa >= this.peakKpa) {
      this.peakKpa = vehicle.brakeKpa;
      for (let i = 0; i < this.strokes.length; i += 1) this.strokes[i] = at.truck.strokeMm(i);
    }
    if (!at.applied && this.applied) this.judge();
    this.applied = at.applied;
  }

  private judge(): void {
    const { truck } = this.at;
    const { faults, scenario, wheels, subjects } = truck;
    const sure = this.peakKpa >= SURE_KPA;
    const qualifies = this.peakKpa >= QUALIFYING_KPA;
    const inBand = this.peakKpa >= BAND_KPA.low + BAND_KPA.doubt && this.peakKpa <= BAND_KPA.high - BAND_KPA.doubt;
    this.ends.forEach((end, i) => {
      if (!wheels.present[i]) return;
      const { overstrokeKpa, notApplying, mmPerHour, growsFromS } = faults.wheelEnds[i]!;
      const told = !faults.missing.has(3785) && truck.brakes[i]!.isSeen;
      if (overstrokeKpa !== null && this.peakKpa >= overstrokeKpa && qualifies) {
        end.over.happened(this.beganAt, sure && told);
        end.overAgain.happened(this.beganAt, sure && told);
      }
      if (notApplying && qualifies) end.dead.happened(this.beganAt, sure && told);
      if (!scenario.brakes.measured || !inBand) return;
      if (mmPerHour > 0) end.grows.happened(this.beganAt, this.beganAt / 1000 - growsFromS >= GROWS_S);
      const { chamber } = subjects.wheelEnds[i]!;
      const past = this.strokes[i]! - strokeLimit(chamber).limitMm;
      if (past > -STROKE_DOUBT_MM) end.measured.happened(this.beganAt, past > STROKE_DOUBT_MM);
      if (past > FAR_MM - STROKE_DOUBT_MM) end.measuredFar.happened(this.beganAt, past > FAR_MM + STROKE_DOUBT_MM);
    });
    if (scenario.brakes.measured && qualifies) this.compare();
  }

  /** The one with the longer stroke is the odd one. */
  private compare(): void {
    this.ends.forEach(({ uneven }, i) => {
      if (!this.at.truck.wheels.present[i]) return;
      const longer = this.strokes[i]! - this.strokes[this.mates[i]!]! - UNEVEN_MM;
      if (longer > -STROKE_DOUBT_MM)
        uneven.happened(this.beganAt, longer > STROKE_DOUBT_MM && !this.at.truck.faults.wheelEnds[i]!.dragging);
      else uneven.broken();
    });
  }
}
