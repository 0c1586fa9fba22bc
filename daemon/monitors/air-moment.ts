import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import type { Context } from '../truck/context.js';
import { valueAt } from '../truck/samples.js';
import type { Circuit, Circuits } from './air-circuits.js';
import type { Applications } from './applications.js';

/** What the slow air rules judge by at one tick. Unknown numbers are NaN, unknown answers undefined. */
export interface AirMoment {
  t: StreamMs;
  /** Nothing is known of the time before: the first tick, or the first one after sleep. */
  isFirst: boolean;
  primary: Circuit | null;
  secondary: Circuit | null;
  /** Lower service circuit where every circuit that the truck tells is heard, and mean of those that are. kPa */
  lowerKpa: number;
  meanKpa: number;
  /** What the governor acts on: SPN 46, without it the higher service circuit, which is no higher. kPa */
  governedKpa: number;
  governedBy: 'supply' | 'service';
  rpm: number;
  engineRunning: boolean | undefined;
  /** Is the compressor pumping? */
  pumping: boolean | undefined;
  /** SPN 1351 says so: else it is told by rising pressure. */
  pumpingTold: boolean;
  /** Last instant at which air was used, or may have been: an application, or a change of the parking brake. */
  usedAt: StreamMs;
}

/** SPN 1351 absent: pumping is told by supply or service pressure that rises by so much in so many seconds. */
const RISE_KPA = 8;
const RISE_TICKS = 5;
const RISE_MS = RISE_TICKS * TICK_MS;

export interface MomentState {
  /** Last tick. */
  at: StreamMs;
  usedAt: StreamMs;
  /** 1 set, 0 released, -1 not known. */
  parked: number;
  pumping: boolean;
  /** Pressures at the last ticks, oldest first; -1: not known. */
  supply: number[];
  primary: number[];
  secondary: number[];
}

export const newMoment = (): MomentState => ({
  at: NEVER,
  usedAt: NEVER,
  parked: -1,
  pumping: false,
  supply: [],
  primary: [],
  secondary: [],
});

/** Looks at the air system once a second. */
export class Moments {
  readonly #state: MomentState;
  readonly #circuits: Circuits;
  readonly #context: Context;

  constructor(state: MomentState, circuits: Circuits, context: Context) {
    this.#state = state;
    this.#circuits = circuits;
    this.#context = context;
  }

  at(t: StreamMs, applications: Applications): AirMoment {
    const s = this.#state;
    const isFirst = t - s.at !== TICK_MS || this.#context.cranking(t);
    s.at = t;
    if (isFirst) forget(s);
    const primary = this.#circuits.judged('primary', t);
    const secondary = this.#circuits.judged('secondary', t);
    const supply = this.#circuits.supply(t);
    const [first, second] = [primary?.kpa ?? Number.NaN, secondary?.kpa ?? Number.NaN];
    this.#noteUse(t, applications, isFirst);
    keep(s.supply, supply);
    keep(s.primary, first);
    keep(s.secondary, second);
    const higher = Number.isNaN(first) ? second : Number.isNaN(second) ? first : Math.max(first, second);
    const lower = Number.isNaN(first) ? second : Number.isNaN(second) ? first : Math.min(first, second);
    const engineRunning = this.#context.engineRunning(t);
    const told = valueAt(this.#context.state.compressor, t);
    const pumping = this.#pumping(t, told, engineRunning, Number.isNaN(supply) && Number.isNaN(higher));
    s.pumping = pumping === true;
    return {
      t,
      isFirst,
      primary,
      secondary,
      lowerKpa: this.#circuits.isWhole(t) ? lower : Number.NaN,
      meanKpa: Number.isNaN(first) || Number.isNaN(second) ? higher : (first + second) / 2,
      governedKpa: Number.isNaN(supply) ? higher : supply,
      governedBy: Number.isNaN(supply) ? 'service' : 'supply',
      rpm: valueAt(this.#context.state.engineSpeed, t),
      engineRunning,
      pumping,
      pumpingTold: !Number.isNaN(told),
      usedAt: s.usedAt,
    };
  }

  /** Where nothing tells whether the brakes are applied they may be. */
  #noteUse(t: StreamMs, applications: Applications, isFirst: boolean): void {
    const s = this.#state;
    const parkingBrake = this.#context.parkingBrake(t);
    const parked = parkingBrake === undefined ? s.parked : parkingBrake ? 1 : 0;
    const isUsed = applications.isReleased(t) !== true || applications.isJudged(t) || parked !== s.parked;
    if (isUsed || isFirst) s.usedAt = t;
    s.parked = parked;
  }

  #pumping(t: StreamMs, told: number, engineRunning: boolean | undefined, isUnknown: boolean): boolean | undefined {
    const s = this.#state;
    if (engineRunning === false) return false;
    if (!Number.isNaN(told)) return told === 1;
    if (isUnknown) return undefined;
    // Brakes that take air hide it: what it did before it goes on doing.
    if (t - s.usedAt < RISE_MS) return s.pumping;
    return rises(s.supply) || rises(s.primary) || rises(s.secondary);
  }
}

/** The time before counts for nothing. */
function forget(s: MomentState): void {
  s.pumping = false;
  s.parked = -1;
  s.supply = [];
  s.primary = [];
  s.secondary = [];
}

function keep(ring: number[], kpa: number): void {
  ring.push(Number.isNaN(kpa) ? -1 : kpa);
  if (ring.length > RISE_TICKS + 1) ring.shift();
}

function rises(ring: readonly number[]): boolean {
  const now = ring[ring.length - 1]!;
  for (const kpa of ring) if (kpa >= 0 && now - kpa >= RISE_KPA) return true;
  return false;
}
