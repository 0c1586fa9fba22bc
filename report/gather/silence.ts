import { type StreamMs, TICK_MS } from '../../daemon/time.js';
import { type LifeData, wasMoving } from '../../daemon/truck/life.js';

/** Three intervals of what is sent once a second. */
export const LEAST_GAP_MS = 3_000;

/**
 * Finds where nothing of interest was heard though the truck was not known to be parked. Looks once a second: a gap ends up to
 * a second before the first frame after it, and is never told longer than it was.
 */
export class Silence {
  #heardAt: StreamMs;
  /** What is silent since then is a truck that stands. */
  #parked: boolean;

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
      this.#heardAt = frameAt;
      this.#parked = false;
    }
    if (life.state === 'parked') this.#parked = true;
    return gap;
  }

  /** The gap that goes up to t; null: none does. */
  end(t: StreamMs): { fromMs: StreamMs; toMs: StreamMs } | null {
    const isGap = !this.#parked && t - this.#heardAt >= LEAST_GAP_MS;
    return isGap ? { fromMs: this.#heardAt, toMs: t } : null;
  }
}

const isParked = ({ state, parkedAt, blindAt }: LifeData): boolean =>
  state === 'parked' || (state === 'asleep' && parkedAt > blindAt);

/** Is it known, or likely, that the truck stood when the data ended? Power may go before it is seen to be parked. */
export const endedStanding = (life: LifeData): boolean =>
  isParked(life) || (life.state === 'awake' && !wasMoving(life));
