import { NEVER, type StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import { valueAt } from '../truck/samples.js';
import type { CircuitsState } from './air-circuits.js';
import type { AirMoment } from './air-moment.js';
import type { Applications } from './applications.js';

/** Wheel speed senders that stand still may say a little. */
const STANDING_KMH = 0.5;
/** Application and suspension pressure follow a leak slowly; what differs by more from so long ago was changed. kPa, ms */
const APPLICATION_KPA = 16;
const SUSPENSION_KPA = 8;
const COMPARE_MS = 10_000;

export type BrakesAre = 'released' | 'applied';

export interface SteadyState {
  /** '': no test. */
  brakes: BrakesAre | '';
  /** Since when nothing but a leak changes the circuits. */
  steadyAt: StreamMs;
  /** 1 set, 0 released. */
  parked: number;
  /** As they were some seconds ago; -1: not known. */
  applicationKpa: number;
  suspensionKpa: number;
  comparedAt: StreamMs;
}

export const newSteady = (): SteadyState => ({
  brakes: '',
  steadyAt: NEVER,
  parked: -1,
  applicationKpa: -1,
  suspensionKpa: -1,
  comparedAt: NEVER,
});

/**
 * Is the truck at rest so that nothing but a leak changes the service circuits? At speed 0, compressor not pumping, brakes
 * released or applied and held, parking brake set. The driver's own test is made with the engine off and the parking brake released
 * (driver manuals 5.3; D-06, D-07): with the engine off it counts either way. With the engine running and the parking brake released
 * the truck only stops.
 */
export class Steady {
  readonly #state: SteadyState;
  readonly #circuits: CircuitsState;
  readonly #context: Context;
  readonly #appliedKpa: number;

  constructor(state: SteadyState, circuits: CircuitsState, context: Context, appliedKpa: number) {
    this.#state = state;
    this.#circuits = circuits;
    this.#context = context;
    this.#appliedKpa = appliedKpa;
  }

  /** False: it is not, or something has changed; if it is at rest now, then since this tick. */
  tick(m: AirMoment, applications: Applications): boolean {
    const s = this.#state;
    const { t } = m;
    const brakes = this.#brakes(m, applications);
    const parked = this.#context.parkingBrake(t) === true ? 1 : 0;
    const application = known(applications.pressure(t));
    const suspension = known(valueAt(this.#circuits.suspension, t));
    const isChanged =
      m.isFirst ||
      brakes !== s.brakes ||
      parked !== s.parked ||
      changed(s.applicationKpa, application, APPLICATION_KPA) ||
      changed(s.suspensionKpa, suspension, SUSPENSION_KPA);
    if (isChanged || t - s.comparedAt >= COMPARE_MS) {
      s.applicationKpa = application;
      s.suspensionKpa = suspension;
      s.comparedAt = t;
    }
    if (isChanged) Object.assign(s, { brakes, parked, steadyAt: t });
    return !isChanged && brakes !== '';
  }

  #brakes(m: AirMoment, applications: Applications): SteadyState['brakes'] {
    const parkingBrake = this.#context.parkingBrake(m.t);
    const stands = this.#context.speed(m.t) <= STANDING_KMH && parkingBrake !== undefined;
    const rests = parkingBrake === true || m.engineRunning === false;
    if (!stands || !rests || m.pumping !== false) return '';
    if (applications.pressure(m.t) >= this.#appliedKpa) return 'applied';
    return applications.isReleased(m.t) === true && !applications.isJudged(m.t) ? 'released' : '';
  }
}

const known = (kpa: number): number => (Number.isNaN(kpa) ? -1 : kpa);

/** What is not known now has not changed. */
const changed = (before: number, now: number, by: number): boolean =>
  before >= 0 && now >= 0 && Math.abs(now - before) > by;
