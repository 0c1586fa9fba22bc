import { decodeTimeDate } from '../../daemon/j1939/time-date.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';

/** Time/Date. */
export const TIME_DATE_PGN = 65254;
/** Dashboards are set by hand, to the minute at best. */
const CONTRADICTION_MS = 60_000;
/** Messages in a row: a single one may have been waiting, or be wrong. */
const IN_A_ROW = 5;
const QUARTER_HOUR_MS = 15 * 60_000;
/** UTC−12 to UTC+14, as far as time zones go. */
const MAX_OFFSET_MS = 14 * 3_600_000;

/** What is asked of the run's clock; see HostClock. */
export interface ComparedClock {
  readonly run: { readonly zeroWallMs: WallMs };
  readonly isSet: boolean;
  readonly builtMs: WallMs;
  streamNow(): StreamMs;
}

/**
 * The clock on the bus. It never sets ours, as nobody knows who has set it; it only contradicts: somebody should look at a truck
 * whose two clocks have been more than a minute apart for five messages in a row, whoever sent them.
 */
export class BusTime {
  readonly #clock: ComparedClock;
  #apartMs = 0;
  #inARow = 0;

  constructor(clock: ComparedClock) {
    this.#clock = clock;
  }

  /** Seconds by which the bus is ahead of the wall clock; null: it does not contradict, or there is no wall clock yet. */
  get contradictedByS(): number | null {
    return this.#clock.isSet && this.#inARow >= IN_A_ROW ? Math.round(this.#apartMs / 1000) : null;
  }

  /** One Time/Date message. */
  frame(data: Uint8Array, length: number): void {
    const told = wallOf(data, length);
    const { isSet, builtMs, run } = this.#clock;
    // A sender whose own clock has never been set (most begin in 1985 or 2000) knows nothing about ours.
    if (told === null || !isSet || told.wallMs < builtMs - MAX_OFFSET_MS) return;
    const apartMs = told.wallMs - (run.zeroWallMs + this.#clock.streamNow());
    if (Math.abs(told.isLocal ? lessTimeZone(apartMs) : apartMs) <= CONTRADICTION_MS) {
      this.#inARow = 0;
      return;
    }
    this.#apartMs = apartMs;
    this.#inARow++;
  }
}

/** null: the message has no whole time. Without the local offset nobody can tell UTC from the time of some zone. */
function wallOf(data: Uint8Array, length: number): { wallMs: WallMs; isLocal: boolean } | null {
  const { year, month, day, hour, minute, second, offsetMinutes } = decodeTimeDate(data, length);
  if (year === null || month === null || day === null || hour === null || minute === null) return null;
  return {
    wallMs: Date.UTC(year, month - 1, day, hour, minute, 0, 1000 * (second ?? 30)),
    isLocal: offsetMinutes === null,
  };
}

/** What is left of a difference that may be a time zone: zones differ from UTC by quarters of an hour. */
function lessTimeZone(apartMs: number): number {
  if (Math.abs(apartMs) > MAX_OFFSET_MS + CONTRADICTION_MS) return apartMs;
  return apartMs - QUARTER_HOUR_MS * Math.round(apartMs / QUARTER_HOUR_MS);
}
