import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { type StreamMs, TICK_MS } from '../../daemon/time.js';
import { type LifeData, wasMoving } from '../../daemon/truck/life.js';

/** Three intervals of what is sent once a second. */
export const LEAST_GAP_MS = 3_000;
/** Where the bus is heard less often than once a second, so many of its usual intervals: their median over the last ones. */
const LEAST_INTERVALS = 3;
const INTERVALS = 9;
const LEAST_KNOWN = 3;

/**
 * Finds where nothing of interest was heard though the truck was not known to be parked: for 3 s, or longer where the bus says
 * little. Looks once a second: a gap ends up to a second before the first frame after it, and is never told longer than it was.
 */
export class Silence {
  #heardAt: StreamMs;
  /** What is silent since then is a truck that stands. */
  #parked: boolean;
  /** Times between the seconds in which something was heard, oldest first. */
  readonly #intervalsMs: number[] = [];

  constructor(t: StreamMs, life: LifeData) {
    this.#heardAt = t;
    this.#parked = isParked(life);
  }

  /** After a tick. Gives the gap that is over now; null: none is. */
  tick(t: StreamMs, life: LifeData): { fromMs: StreamMs; toMs: StreamMs } | null {
    const { frameAt } = life;
    let gap: { fromMs: StreamMs; toMs: StreamMs } | null = null;
    if (frameAt > this.#heardAt) {
      gap = this.end(t - TICK_MS);
      this.#intervalsMs.push(frameAt - this.#heardAt);
      if (this.#intervalsMs.length > INTERVALS) this.#intervalsMs.shift();
      this.#heardAt = frameAt;
      this.#parked = false;
    }
    if (life.state === 'parked') this.#parked = true;
    return gap;
  }

  /** The gap that goes up to t; null: none does. */
  end(t: StreamMs): { fromMs: StreamMs; toMs: StreamMs } | null {
    const silentMs = t - this.#heardAt;
    const isGap = !this.#parked && silentMs >= LEAST_GAP_MS && silentMs >= LEAST_INTERVALS * this.#usualMs();
    return isGap ? { fromMs: this.#heardAt, toMs: t } : null;
  }

  /** Infinity: not known yet. */
  #usualMs(): number {
    return this.#intervalsMs.length < LEAST_KNOWN ? Number.POSITIVE_INFINITY : medianInPlace([...this.#intervalsMs]);
  }
}

const isParked = ({ state, parkedAt, blindAt }: LifeData): boolean =>
  state === 'parked' || (state === 'asleep' && parkedAt > blindAt);

/** Is it known, or likely, that the truck stood when the data ended? Power may go before it is seen to be parked. */
export const endedStanding = (life: LifeData): boolean =>
  isParked(life) || (life.state === 'awake' && !wasMoving(life));
