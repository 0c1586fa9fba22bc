import type { LifeState } from '../effects.js';
import { NEVER, type StreamMs } from '../time.js';
import { MOVING_KMH } from './context.js';

/** No frame of interest for this long: power goes soon after the key. */
const QUIET_MS = 1_000;
/** Quiet for this long: parked, or blind when the truck was moving. */
const SILENT_MS = 10_000;
/** A last speed older than this at the last frame says nothing. */
const SPEED_AGE_MS = 5_000;
const ASLEEP_MS = 60_000;
const BLIND_AWAKE_MS = 15 * 60_000;

export interface LifeData {
  state: LifeState;
  /** Quiet was acted on since the last frame. */
  quiet: boolean;
  /** A frame came while it was not awake; the next tick says so. */
  wakened: boolean;
  /** Last frame of interest on any bus, and by bus. */
  frameAt: StreamMs;
  busFrameAt: StreamMs[];
  speedKmh: number;
  speedAt: StreamMs;
  parkedAt: StreamMs;
  blindAt: StreamMs;
}

export const newLife = (buses: number): LifeData => ({
  state: 'awake',
  quiet: false,
  wakened: false,
  frameAt: 0,
  busFrameAt: new Array(buses).fill(0),
  speedKmh: 0,
  speedAt: NEVER,
  parkedAt: NEVER,
  blindAt: NEVER,
});

/** What a tick finds. */
export interface LifeChange {
  /** New state, or null. */
  state: LifeState | null;
  /** The bus has just gone quiet. */
  wentQuiet: boolean;
}

const NOTHING: LifeChange = { state: null, wentQuiet: false };

/** Was it on its way when the last frame came? */
export const wasMoving = (d: LifeData): boolean => d.speedKmh >= MOVING_KMH && d.frameAt - d.speedAt <= SPEED_AGE_MS;

/** Is the truck awake, parked, or are we blind? Only frames of interest count as life on the bus. */
export class Life {
  readonly data: LifeData;

  constructor(data: LifeData) {
    this.data = data;
  }

  frame(t: StreamMs, bus: number): void {
    const d = this.data;
    d.frameAt = t;
    d.busFrameAt[bus] = t;
    d.quiet = false;
    if (d.state === 'awake') return;
    d.state = 'awake';
    d.wakened = true;
  }

  speed(t: StreamMs, kmh: number): void {
    this.data.speedKmh = kmh;
    this.data.speedAt = t;
  }

  get isAsleep(): boolean {
    return this.data.state === 'asleep';
  }

  /** Parked, or asleep since: it does not go on by itself. Asleep after it went blind it may be anywhere. */
  get isStanding(): boolean {
    const { state, parkedAt, blindAt } = this.data;
    return state === 'parked' || (state === 'asleep' && parkedAt > blindAt);
  }

  tick(t: StreamMs): LifeChange {
    const d = this.data;
    const silence = t - d.frameAt;
    if (d.wakened) {
      d.wakened = false;
      return { state: 'awake', wentQuiet: false };
    }
    switch (d.state) {
      case 'awake': {
        const wentQuiet = silence >= QUIET_MS && !d.quiet;
        if (wentQuiet) d.quiet = true;
        if (silence < SILENT_MS) return wentQuiet ? { state: null, wentQuiet } : NOTHING;
        return { state: this.#enter(wasMoving(d) ? 'blind' : 'parked', t), wentQuiet };
      }
      case 'parked':
        return t - d.parkedAt >= ASLEEP_MS ? { state: this.#enter('asleep', t), wentQuiet: false } : NOTHING;
      case 'blind':
        return t - d.blindAt >= BLIND_AWAKE_MS ? { state: this.#enter('asleep', t), wentQuiet: false } : NOTHING;
      default:
        return NOTHING;
    }
  }

  #enter(state: LifeState, t: StreamMs): LifeState {
    this.data.state = state;
    if (state === 'parked') this.data.parkedAt = t;
    if (state === 'blind') this.data.blindAt = t;
    return state;
  }
}
