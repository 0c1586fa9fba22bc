import { NEVER, type StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import { isFresh, type Sample } from '../truck/samples.js';
import { type PressureSamples, pressureSample } from './application-pressure.js';

/** An application begins at this pressure and ends below the other for half a second. kPa */
const BEGIN_KPA = 20;
const END_KPA = 10;
const END_MS = 500;
const PEDAL_PERCENT = 5;
/** Pressure that is told so long after the foot has left the pedal is none of its own: B1 may be told, and fall, late. */
const ALONE_MS = 3_000;
/** Stroke states are judged up to this long after the end: BSA comes once a second. */
export const AFTER_END_MS = 1_500;

export interface ApplicationState {
  /** NEVER: brakes released. */
  beganAt: StreamMs;
  /** First instant at which it was seen released, by pressure; NEVER: pressed. */
  releasedAt: StreamMs;
  endedAt: StreamMs;
  /** When pedal or switch said pressed last. */
  footAt: StreamMs;
  /** Since when the brakes have been free: released, and no pressure left that could hold them; NEVER: they are not. */
  freeAt: StreamMs;
  /** Spring brakes were off for certain when it began, and not seen on in it. */
  springsOff: boolean;
  peakKpa: number;
  /** Some pressure was known in it. */
  pressureKnown: boolean;
  /** What sets begin and end: pedal and switch ten times a second, pressure once. */
  from: 'pressure' | 'pedal' | 'switch';
  /** Pressures told in it, for their mean, and when the last of them was. */
  sumKpa: number;
  told: number;
  toldAt: StreamMs;
  /** km/h; -1: not known. */
  startKmh: number;
  endKmh: number;
  /** Service pressure at the last tick with the brakes released, kPa; -1: not known. */
  serviceKpa: number;
}

export const newApplication = (): ApplicationState => ({
  beganAt: NEVER,
  releasedAt: NEVER,
  endedAt: NEVER,
  footAt: NEVER,
  freeAt: NEVER,
  springsOff: false,
  peakKpa: 0,
  pressureKnown: false,
  from: 'pressure',
  sumKpa: 0,
  told: 0,
  toldAt: NEVER,
  startKmh: -1,
  endKmh: -1,
  serviceKpa: -1,
});

/** One brake application as it ended. */
export interface Application {
  beganAt: StreamMs;
  endedAt: StreamMs;
  durationMs: number;
  peakKpa: number | null;
  /** Mean of the pressures told in it. */
  meanKpa: number | null;
  startKmh: number | null;
  endKmh: number | null;
  from: ApplicationState['from'];
  qualifying: boolean;
  /** Fall of the service pressure over it; null: not known, as while the engine is cranked. */
  airUsedKpa: number | null;
  /** The parking brake was off all the time: only then does a stroke tell how the service brake is adjusted (B-08). */
  springsOff: boolean;
}

/** An application qualifies by its peak, or where no pressure is known by its time; free brakes hold less than freeKpa for freeMs. */
export interface ApplicationLimits {
  qualifyingKpa: number;
  qualifyingMs: number;
  freeKpa: number;
  freeMs: number;
}

/** Finds brake applications. B1 comes once a second, so a stab may be missed and its peak is a lower bound. */
export class Applications {
  readonly state: ApplicationState;
  readonly #context: Context;
  readonly #pressures: PressureSamples;
  readonly #limits: ApplicationLimits;
  readonly #onEnd: (application: Application) => void;
  /** Pressure of the service circuits, kPa; NaN: not known. */
  serviceKpa: (t: StreamMs) => number = () => Number.NaN;

  /** onEnd: called when its judgement is over, 1.5 s after its end or when the next one begins. */
  constructor(
    state: ApplicationState,
    context: Context,
    pressures: PressureSamples,
    limits: ApplicationLimits,
    onEnd: (application: Application) => void,
  ) {
    this.state = state;
    this.#context = context;
    this.#pressures = pressures;
    this.#limits = limits;
    this.#onEnd = onEnd;
  }

  /** kPa, NaN when unknown. */
  pressure(t: StreamMs): number {
    return this.#sample(t)?.value ?? Number.NaN;
  }

  /** When that pressure was told; NEVER when unknown. */
  pressureAt(t: StreamMs): StreamMs {
    return this.#sample(t)?.at ?? NEVER;
  }

  #sample(t: StreamMs): Sample | undefined {
    return pressureSample(this.#pressures, t);
  }

  /** Begun, or ended so shortly that stroke states still belong to it. */
  isJudged(t: StreamMs): boolean {
    const s = this.state;
    return s.beganAt > NEVER && (s.endedAt === NEVER || t - s.endedAt <= AFTER_END_MS);
  }

  isApplied(): boolean {
    return this.state.beganAt > NEVER && this.state.endedAt === NEVER;
  }

  /**
   * Released for certain: undefined when nothing tells. Brakes can be pressed without the pedal (a hand valve, a driver
   * assistance system): a pressure that could hold a brake is none released.
   */
  isReleased(t: StreamMs): boolean | undefined {
    const pressed = this.#pressed(t);
    return pressed === undefined ? undefined : this.#isLoose(pressed, this.#sample(t));
  }

  /** Released, with less pressure than could hold a brake, for long enough that a stroke has come to rest. */
  isFree(t: StreamMs): boolean {
    const { freeAt } = this.state;
    return freeAt > NEVER && t - freeAt >= this.#limits.freeMs;
  }

  /** Are the spring brakes off for certain? A truck that moves says so where the parking brake is not told. */
  areSpringsOff(t: StreamMs): boolean {
    const parking = this.#context.parkingBrake(t);
    return parking === undefined ? this.#context.moving(t) === true : !parking;
  }

  /** Called after each frame that carries pedal, switch or pressure. */
  update(t: StreamMs): void {
    const s = this.state;
    if (this.#foot(t)) s.footAt = t;
    const pressed = this.#pressed(t);
    const pressure = this.#sample(t);
    this.#followFree(t, pressed, pressure);
    if (s.beganAt > NEVER && s.endedAt > NEVER && (pressed || t - s.endedAt > AFTER_END_MS)) this.#finish(t);
    if (s.beganAt === NEVER) {
      if (pressed) this.#begin(t);
    }
    if (s.beganAt === NEVER) return;
    if (pressure !== undefined) {
      s.pressureKnown = true;
      // What was told before it began belongs to the application before.
      if (pressure.at >= s.beganAt) this.#told(pressure);
    }
    if (s.endedAt > NEVER) return;
    if (this.#context.parkingBrake(t) === true) s.springsOff = false;
    if (pressed) s.releasedAt = NEVER;
    else if (s.releasedAt === NEVER) s.releasedAt = t;
    const byPressure = s.from === 'pressure' || this.#teller(t) === 'pressure';
    if (pressed || (pressed === false && byPressure && t - s.releasedAt < END_MS)) return;
    s.endedAt = pressed === undefined ? this.#toldLastAt() : t;
    s.endKmh = known(this.#context.speed(t));
  }

  #followFree(t: StreamMs, pressed: boolean | undefined, pressure: Sample | undefined): void {
    const s = this.state;
    if (pressed === undefined || !this.#isLoose(pressed, pressure)) s.freeAt = NEVER;
    else if (s.freeAt === NEVER) s.freeAt = t;
  }

  #isLoose(pressed: boolean, pressure: Sample | undefined): boolean {
    return !pressed && !this.isApplied() && !(pressure !== undefined && pressure.value >= this.#limits.freeKpa);
  }

  /** Nothing tells any more: it lasted at least until something did. */
  #toldLastAt(): StreamMs {
    const { pedal, brakeSwitch } = this.#context.state;
    const { application, demanded, chamber } = this.#pressures;
    return Math.max(this.state.beganAt, pedal.at, brakeSwitch.at, application.at, demanded.at, chamber.at);
  }

  /** Also keeps what the air is like before an application. */
  tick(t: StreamMs): void {
    this.update(t);
    if (this.state.beganAt === NEVER) this.state.serviceKpa = known(this.#trueKpa(t));
  }

  /** The mean is of what the brakes were pressed with; what is told after their end lowers no mean. */
  #told({ value, at }: Sample): void {
    const s = this.state;
    if (value > s.peakKpa) s.peakKpa = value;
    if (s.endedAt > NEVER || at <= s.toldAt) return;
    s.toldAt = at;
    s.sumKpa += value;
    s.told++;
  }

  #begin(t: StreamMs): void {
    const s = this.state;
    s.beganAt = t;
    s.releasedAt = NEVER;
    s.endedAt = NEVER;
    s.freeAt = NEVER;
    s.springsOff = this.areSpringsOff(t);
    s.peakKpa = 0;
    s.pressureKnown = false;
    s.from = this.#foot(t) ? this.#teller(t) : 'pressure';
    s.sumKpa = 0;
    s.told = 0;
    s.toldAt = NEVER;
    s.startKmh = known(this.#context.speed(t));
    s.endKmh = -1;
  }

  #finish(t: StreamMs): void {
    const s = this.state;
    const durationMs = s.endedAt - s.beganAt;
    const qualifying = s.pressureKnown
      ? s.peakKpa >= this.#limits.qualifyingKpa
      : durationMs >= this.#limits.qualifyingMs;
    const peakKpa = s.pressureKnown ? s.peakKpa : null;
    const meanKpa = s.told > 0 ? s.sumKpa / s.told : null;
    const { beganAt, endedAt, from, springsOff } = s;
    const [startKmh, endKmh] = [orNull(s.startKmh), orNull(s.endKmh)];
    const airUsedKpa = this.#airUsed(t);
    s.beganAt = NEVER;
    s.endedAt = NEVER;
    const values = { peakKpa, meanKpa, startKmh, endKmh, from, qualifying, airUsedKpa, springsOff };
    this.#onEnd({ beganAt, endedAt, durationMs, ...values });
  }

  /** Not known where the compressor says that it feeds the tanks, or where they are fuller than before. */
  #airUsed(t: StreamMs): number | null {
    const { compressor } = this.#context.state;
    const used = this.state.serviceKpa - this.#trueKpa(t);
    const isFed = isFresh(compressor, t) && compressor.value === 1;
    return this.state.serviceKpa < 0 || isFed || !(used >= 0) ? null : used;
  }

  /** Service pressure; NaN while the starter turns and shortly after: it takes the voltage that the sensors need. */
  #trueKpa(t: StreamMs): number {
    return this.#context.cranking(t) ? Number.NaN : this.serviceKpa(t);
  }

  /** Pedal, else switch (ten times a second), else pressure. */
  #teller(t: StreamMs): ApplicationState['from'] {
    const { pedal, brakeSwitch } = this.#context.state;
    return isFresh(pedal, t) ? 'pedal' : isFresh(brakeSwitch, t) ? 'switch' : 'pressure';
  }

  /** Do pedal or switch say pressed? undefined: neither is told. */
  #foot(t: StreamMs): boolean | undefined {
    const { pedal, brakeSwitch } = this.#context.state;
    const teller = this.#teller(t);
    if (teller === 'pressure') return undefined;
    return teller === 'pedal' ? pedal.value >= PEDAL_PERCENT : brakeSwitch.value === 1;
  }

  /** Brakes are also applied by a hand valve or by a driver assistance system: then pressure tells, with the foot off the pedal. */
  #pressed(t: StreamMs): boolean | undefined {
    const foot = this.#foot(t);
    const pressure = this.#sample(t);
    if (foot === true || pressure === undefined) return foot;
    const isApplied = this.isApplied();
    if (foot === undefined) return pressure.value >= (isApplied ? END_KPA : BEGIN_KPA);
    const goesOn = isApplied && this.state.from === 'pressure';
    const isAlone = pressure.at - this.state.footAt >= ALONE_MS;
    return isAlone && pressure.value >= (goesOn ? END_KPA : this.#limits.qualifyingKpa);
  }
}

/** State has no NaN: JSON could not carry it. */
const known = (value: number): number => (Number.isNaN(value) ? -1 : value);
const orNull = (value: number): number | null => (value < 0 ? null : value);
