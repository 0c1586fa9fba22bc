import { NEVER, type StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import { isFresh, type Sample } from '../truck/samples.js';

/** An application begins at this pressure and ends below the other for half a second. kPa */
const BEGIN_KPA = 20;
const END_KPA = 10;
const END_MS = 500;
const PEDAL_PERCENT = 5;
/** Stroke states are judged up to this long after the end: BSA comes once a second. */
export const AFTER_END_MS = 1_500;

export interface ApplicationState {
  /** NEVER: brakes released. */
  beganAt: StreamMs;
  /** Last instant at which it was pressed; the end is the first after it. */
  pressedAt: StreamMs;
  endedAt: StreamMs;
  peakKpa: number;
  /** Some pressure was known in it. */
  pressureKnown: boolean;
  /** Begin and end come from pedal or switch, ten times a second. */
  bySwitch: boolean;
}

export const newApplication = (): ApplicationState => ({
  beganAt: NEVER,
  pressedAt: NEVER,
  endedAt: NEVER,
  peakKpa: 0,
  pressureKnown: false,
  bySwitch: false,
});

/** One brake application as it ended. */
export interface Application {
  beganAt: StreamMs;
  endedAt: StreamMs;
  durationMs: number;
  peakKpa: number | null;
  qualifying: boolean;
}

export interface PressureSamples {
  /** SPN 116, SPN 8484, highest of SPN 1091–1098; kPa. */
  application: Sample;
  demanded: Sample;
  chamber: Sample;
}

/** Finds brake applications. B1 comes once a second, so a stab may be missed and its peak is a lower bound. */
export class Applications {
  readonly state: ApplicationState;
  readonly #context: Context;
  readonly #pressures: PressureSamples;
  readonly #qualifyingKpa: number;
  readonly #qualifyingMs: number;
  readonly #onEnd: (application: Application) => void;

  /** onEnd: called when its judgement is over, 1.5 s after its end or when the next one begins. */
  constructor(
    state: ApplicationState,
    context: Context,
    pressures: PressureSamples,
    qualifying: { kpa: number; ms: number },
    onEnd: (application: Application) => void,
  ) {
    this.state = state;
    this.#context = context;
    this.#pressures = pressures;
    this.#qualifyingKpa = qualifying.kpa;
    this.#qualifyingMs = qualifying.ms;
    this.#onEnd = onEnd;
  }

  /** kPa, NaN when unknown. */
  pressure(t: StreamMs): number {
    return this.#sample(t)?.value ?? Number.NaN;
  }

  #sample(t: StreamMs): Sample | undefined {
    const { application, demanded, chamber } = this.#pressures;
    if (isFresh(application, t)) return application;
    if (isFresh(demanded, t)) return demanded;
    return isFresh(chamber, t) ? chamber : undefined;
  }

  /** Begun, or ended so shortly that stroke states still belong to it. */
  isJudged(t: StreamMs): boolean {
    const s = this.state;
    return s.beganAt > NEVER && (s.endedAt === NEVER || t - s.endedAt <= AFTER_END_MS);
  }

  isApplied(): boolean {
    return this.state.beganAt > NEVER && this.state.endedAt === NEVER;
  }

  /** Released for certain: undefined when nothing tells. */
  isReleased(t: StreamMs): boolean | undefined {
    const pressed = this.#pressed(t);
    return pressed === undefined ? undefined : !pressed && !this.isApplied();
  }

  /** Called after each frame that carries pedal, switch or pressure, and at ticks. */
  update(t: StreamMs): void {
    const s = this.state;
    const pressed = this.#pressed(t);
    const pressure = this.#sample(t);
    if (s.beganAt > NEVER && s.endedAt > NEVER && (pressed || t - s.endedAt > AFTER_END_MS)) this.#finish();
    if (s.beganAt === NEVER) {
      if (pressed) this.#begin(t);
    }
    if (s.beganAt === NEVER) return;
    if (pressure !== undefined) {
      s.pressureKnown = true;
      // What was told before it began belongs to the application before.
      if (pressure.at >= s.beganAt && pressure.value > s.peakKpa) s.peakKpa = pressure.value;
    }
    if (s.endedAt > NEVER) return;
    if (pressed) s.pressedAt = t;
    else if (s.bySwitch || pressed === undefined || t - s.pressedAt >= END_MS) s.endedAt = t;
  }

  #begin(t: StreamMs): void {
    const s = this.state;
    s.beganAt = t;
    s.pressedAt = t;
    s.endedAt = NEVER;
    s.peakKpa = 0;
    s.pressureKnown = false;
    s.bySwitch = isFresh(this.#context.state.pedal, t) || isFresh(this.#context.state.brakeSwitch, t);
  }

  #finish(): void {
    const s = this.state;
    const durationMs = s.endedAt - s.beganAt;
    const qualifying = s.pressureKnown ? s.peakKpa >= this.#qualifyingKpa : durationMs >= this.#qualifyingMs;
    const peakKpa = s.pressureKnown ? s.peakKpa : null;
    const { beganAt, endedAt } = s;
    s.beganAt = NEVER;
    s.endedAt = NEVER;
    this.#onEnd({ beganAt, endedAt, durationMs, peakKpa, qualifying });
  }

  /** Pedal, else switch (ten times a second), else pressure. */
  #pressed(t: StreamMs): boolean | undefined {
    const { pedal, brakeSwitch } = this.#context.state;
    if (isFresh(pedal, t)) return pedal.value >= PEDAL_PERCENT;
    if (isFresh(brakeSwitch, t)) return brakeSwitch.value === 1;
    const kpa = this.pressure(t);
    if (Number.isNaN(kpa)) return undefined;
    return this.isApplied() ? kpa >= END_KPA : kpa >= BEGIN_KPA;
  }
}
