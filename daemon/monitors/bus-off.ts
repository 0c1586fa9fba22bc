import type { Judgement, Subject } from '../alerts/judgement.js';
import { NEVER, type StreamMs, TICK_MS } from '../time.js';
import { placeOf } from '../truck/subjects.js';

/** Class of an error frame, in its identifier (linux/can/error.h): the controller went off the bus. */
const CAN_ERR_BUSOFF = 0x40;
const AGE_MS = 2_000;
/** The slowest of the groups that every truck sends comes once a second. */
const HEARD_MS = 2_000;

/** Error frames of one bus. Plain data. */
export interface BusErrorsState {
  /** Since the last tick, and when that was. */
  frames: number;
  countedAt: StreamMs;
  /** Seconds in a row with as many error frames as the limit. */
  badS: number;
  /** Last frame of class bus-off. */
  offAt: StreamMs;
  /** As judged bad last: of class bus-off? Else the error frames in that second. */
  isOff: boolean;
  perSecond: number;
}

export const newBusErrors = (): BusErrorsState => ({
  frames: 0,
  countedAt: NEVER,
  badS: 0,
  offAt: NEVER,
  isOff: false,
  perSecond: 0,
});

/** Rule bus-off: the controller has left the bus, or error frames come without end. */
export class BusOff {
  readonly #rule: Judgement;
  readonly #states: BusErrorsState[];
  readonly #heardAt: (bus: number) => StreamMs;

  /** states: by bus name. heardAt: last frame of interest of a bus. */
  constructor(
    rule: Judgement,
    buses: readonly string[],
    states: Record<string, BusErrorsState>,
    heardAt: (bus: number) => StreamMs,
  ) {
    this.#rule = rule;
    this.#heardAt = heardAt;
    this.#states = buses.map((bus, i) => {
      states[bus] ??= newBusErrors();
      rule.add(`bus/${bus}`, placeOf(`bus/${bus}`), i);
      return states[bus]!;
    });
    rule.describe = (s) => this.#describe(s);
  }

  errorFrame(t: StreamMs, bus: number, id: number): void {
    const s = this.#states[bus]!;
    s.frames++;
    if ((id & CAN_ERR_BUSOFF) !== 0) s.offAt = t;
  }

  /** Over when the bus is heard without errors; a bus from which nothing comes is as it was. */
  tick(t: StreamMs): void {
    const most = this.#rule.constant('errorFramesPerSecond');
    const forS = this.#rule.constant('errorsForS');
    for (const [i, s] of this.#states.entries()) {
      // Frames that came while nothing was decided (asleep) are of no second.
      const perSecond = t - s.countedAt > TICK_MS ? 0 : s.frames;
      s.frames = 0;
      s.countedAt = t;
      const isMany = perSecond >= most;
      s.badS = isMany ? s.badS + 1 : 0;
      const isOff = t - s.offAt <= TICK_MS;
      if (isOff || s.badS >= forS) {
        s.isOff = isOff;
        s.perSecond = perSecond;
        this.#rule.state(i, 0, t, AGE_MS, true, false);
      } else if (!isMany && t - this.#heardAt(i) < HEARD_MS) {
        this.#rule.state(i, 0, t, AGE_MS, false, true);
      }
    }
  }

  #describe(s: Subject) {
    const { isOff, perSecond } = this.#states[s.index]!;
    return {
      measured: isOff ? { code: CAN_ERR_BUSOFF, text: 'bus-off' } : { code: 0, text: `${perSecond} error frames/s` },
    };
  }
}
