import type { Judgement } from '../alerts/judgement.js';
import { NEVER, type StreamMs } from '../time.js';
import { placeOf } from '../truck/subjects.js';
import type { Tires } from '../truck/tires.js';
import type { Workbench } from './monitor.js';

/** Three times the interval at which tires are sent: one stray frame is no tire. */
const AGE_MS = 30_000;
/** Slow sensors come this far apart; silent for longer, a location is no longer heard. */
const GONE_MS = 120_000;
/** Locations that are remembered to be told. */
export const MAX_STRANGERS = 16;

/** Tires heard that the truck file does not have. Plain data. */
export interface StrangersState {
  at: StreamMs;
  /** bus << 16 | source address << 8 | location byte, in the order in which they came. */
  seen: number[];
}

export const newStrangers = (): StrangersState => ({ at: NEVER, seen: [] });

/** Rule layout-mismatch: one alert for all tires that tell a pressure from where the truck file has no tire. */
export class LayoutMismatch {
  readonly #tires: Tires;
  readonly #rule: Judgement;
  readonly #state: StrangersState;
  readonly #buses: readonly string[];

  constructor(bench: Workbench, rule: Judgement, buses: readonly string[], state: StrangersState) {
    this.#tires = bench.tires;
    this.#rule = rule;
    this.#buses = buses;
    this.#state = state;
    rule.add('layout', placeOf('layout'));
    rule.describe = () => ({ measured: this.#measured() });
  }

  /** A frame with a pressure from a location that the layout does not have. */
  frame(t: StreamMs, bus: number, sa: number, location: number): void {
    const { seen } = this.#state;
    const key = (bus << 16) | (sa << 8) | location;
    if (seen.length < MAX_STRANGERS && !seen.includes(key)) seen.push(key);
    this.#state.at = t;
    this.#rule.state(0, 0, t, AGE_MS, true, false);
  }

  /** Over when tires are heard and no strange one among them. */
  tick(t: StreamMs): void {
    if (t - this.#state.at <= GONE_MS || !this.#tires.isAnyFresh(t)) return;
    this.#rule.state(0, 0, t, AGE_MS, false, true);
    if (this.#rule.level(this.#rule.subjects[0]!) === 0 && this.#state.seen.length > 0) this.#state.seen = [];
  }

  #measured() {
    const [first, ...others] = this.#state.seen;
    if (first === undefined) return null;
    const location = first & 0xff;
    const name = `0x${location.toString(16).toUpperCase().padStart(2, '0')}`;
    const more = others.length === 0 ? '' : ` and ${others.length} more`;
    return {
      code: location,
      text: `location ${name}, source ${(first >> 8) & 0xff}, bus ${this.#buses[first >> 16]}${more}`,
    };
  }
}
