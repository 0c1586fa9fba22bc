import { NEVER, type StreamMs } from '../time.js';
import { isFresh, newSample, type Sample, valueAt } from './samples.js';

export const ENGINE_RUNNING_RPM = 400;
const CRANKING_RPM = 50;
const AFTER_CRANKING_MS = 10_000;
export const MOVING_KMH = 5;

export interface ContextState {
  /** SPN 84, and what stands in for it in this order: wheel speeds, tachograph, odometer. km/h */
  wheelSpeed: Sample;
  wheelEndSpeed: Sample;
  tachographSpeed: Sample;
  odometerSpeed: Sample;
  /** rpm */
  engineSpeed: Sample;
  /** SPN 70 and 619: 1 set, 0 released. */
  parkingSwitch: Sample;
  parkingActuator: Sample;
  /** SPN 521 in %, SPN 597 as 0/1. */
  pedal: Sample;
  brakeSwitch: Sample;
  /** SPN 1351: 1 pumping. */
  compressor: Sample;
  /** °C, kPa absolute */
  ambient: Sample;
  barometer: Sample;
  latitude: Sample;
  longitude: Sample;
  /** m */
  odometer: Sample;
  engineStartedAt: StreamMs;
  crankedAt: StreamMs;
  /** Last instant at which the truck is known to have moved. */
  movedAt: StreamMs;
}

export const newContextState = (): ContextState => ({
  wheelSpeed: newSample(100),
  wheelEndSpeed: newSample(100),
  tachographSpeed: newSample(100),
  odometerSpeed: newSample(1000),
  engineSpeed: newSample(100),
  parkingSwitch: newSample(100),
  parkingActuator: newSample(1000),
  pedal: newSample(100),
  brakeSwitch: newSample(100),
  compressor: newSample(1000),
  ambient: newSample(1000),
  barometer: newSample(1000),
  latitude: newSample(1000),
  longitude: newSample(1000),
  odometer: newSample(1000),
  engineStartedAt: NEVER,
  crankedAt: NEVER,
  movedAt: NEVER,
});

/** What tells the speed now: the first that is fresh of those that can; the last where none is. */
export function speedSample(s: ContextState, t: StreamMs): Sample {
  if (isFresh(s.wheelSpeed, t)) return s.wheelSpeed;
  if (isFresh(s.wheelEndSpeed, t)) return s.wheelEndSpeed;
  return isFresh(s.tachographSpeed, t) ? s.tachographSpeed : s.odometerSpeed;
}

/** What the truck is doing. Every answer is `undefined` when the signals behind it are old: unknown is not false. */
export class Context {
  readonly state: ContextState;

  constructor(state: ContextState) {
    this.state = state;
  }

  /** km/h, NaN when unknown. */
  speed(t: StreamMs): number {
    return valueAt(speedSample(this.state, t), t);
  }

  moving(t: StreamMs): boolean | undefined {
    const speed = this.speed(t);
    return Number.isNaN(speed) ? undefined : speed >= MOVING_KMH;
  }

  engineRunning(t: StreamMs): boolean | undefined {
    return isFresh(this.state.engineSpeed, t) ? this.state.engineSpeed.value >= ENGINE_RUNNING_RPM : undefined;
  }

  cranking(t: StreamMs): boolean {
    return t - this.state.crankedAt <= AFTER_CRANKING_MS;
  }

  /** The switch is sent ten times a second, the actuator once: the switch is asked first. */
  parkingBrake(t: StreamMs): boolean | undefined {
    const { parkingSwitch, parkingActuator } = this.state;
    if (isFresh(parkingSwitch, t)) return parkingSwitch.value === 1;
    if (isFresh(parkingActuator, t)) return parkingActuator.value === 1;
    return undefined;
  }

  /** Called when engineSpeed was taken. */
  noteEngineSpeed(t: StreamMs, before: number, beforeFresh: boolean): void {
    const rpm = this.state.engineSpeed.value;
    if (rpm >= CRANKING_RPM && rpm < ENGINE_RUNNING_RPM) this.state.crankedAt = t;
    if (rpm >= ENGINE_RUNNING_RPM && (!beforeFresh || before < ENGINE_RUNNING_RPM)) this.state.engineStartedAt = t;
  }

  /** Speed, position and its age for an event. */
  vehicle(t: StreamMs): { speed: number | null; lat: number | null; lon: number | null; ageS: number | null } {
    const speed = this.speed(t);
    const { latitude, longitude } = this.state;
    const known = latitude.at > NEVER && longitude.at > NEVER;
    return {
      speed: Number.isNaN(speed) ? null : Math.round(speed * 10) / 10,
      lat: known ? latitude.value : null,
      lon: known ? longitude.value : null,
      ageS: known ? Math.floor((t - latitude.at) / 1000) : null,
    };
  }
}
