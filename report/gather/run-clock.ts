import { isoTime } from '../../daemon/alerts/iso-time.js';
import { CALENDAR_FROM_MS, type StreamMs, TICK_MS, type WallMs } from '../../daemon/time.js';

/** Of more steps than these only the number is told. */
const MOST_NOTES = 5;

/** Steps of all clocks: whole sentences, and how many have none. */
export interface ClockSteps {
  notes: string[];
  untold: number;
}

/** A clock that is set for the first time is set once; more than these are left as they are. */
const MOST_JUMPS = 100;

/**
 * The wall clock of one run. A clock that was set while it was recorded is believed as it was in the end: what came before a step is
 * moved, so that it lies right before what came after. Lengths of time stay as they are, but for the hole that a clock makes which
 * is set from 1970 to the present.
 */
export class RunClock {
  readonly #steps: ClockSteps;
  /** Wall time of run time 0, as best known now. */
  #zeroMs: WallMs;
  readonly #jumps: { fromT: StreamMs; skippedMs: number }[] = [];
  #lastT: StreamMs;

  /** @param steps its own are added */
  constructor(t: StreamMs, zeroWallMs: WallMs, steps: ClockSteps) {
    this.#steps = steps;
    this.#zeroMs = zeroWallMs;
    this.#lastT = t;
  }

  get zeroMs(): WallMs {
    return this.#zeroMs;
  }

  /** Run time: stream time without the holes of clocks that were set. */
  timeOf(t: StreamMs): number {
    for (let i = this.#jumps.length - 1; i >= 0; i--) {
      if (t >= this.#jumps[i]!.fromT) return t - this.#jumps[i]!.skippedMs;
    }
    return t;
  }

  /** What is added to stream time from now on. */
  get shiftMs(): number {
    return -this.#skippedMs;
  }

  /** The wall clock is now better known: wall time of stream time 0. */
  set(zeroWallMs: WallMs): void {
    this.#zeroMs = zeroWallMs + this.#skippedMs;
  }

  /** The stamps jumped back: wall time of stream time 0 from now on. */
  seam(t: StreamMs, zeroWallMs: WallMs): void {
    const before = this.#zeroMs + this.timeOf(t);
    this.set(zeroWallMs);
    const after = this.#zeroMs + this.timeOf(t);
    this.#note(`jump back by ${lengthOf(before - after)}, from ${wordsOf(before)} to ${wordsOf(after)}`);
  }

  /** Before a tick: was the clock set to a date meanwhile, for the first time? */
  tick(t: StreamMs): void {
    const before = this.#zeroMs + this.timeOf(this.#lastT);
    const after = this.#zeroMs + this.timeOf(t);
    if (before < CALENDAR_FROM_MS && after >= CALENDAR_FROM_MS && this.#jumps.length < MOST_JUMPS) {
      const skippedMs = t - this.#lastT - TICK_MS;
      this.#jumps.push({ fromT: this.#lastT + 1, skippedMs: this.#skippedMs + skippedMs });
      this.#zeroMs += skippedMs;
      this.#note(`jump ahead to ${wordsOf(after)} from a clock that had not been set`);
    }
    this.#lastT = t;
  }

  get #skippedMs(): number {
    return this.#jumps.at(-1)?.skippedMs ?? 0;
  }

  #note(what: string): void {
    const { notes } = this.#steps;
    if (notes.length === MOST_NOTES) this.#steps.untold++;
    else notes.push(`The stamps ${what}: the clock was set. What came before is told by the new clock.`);
  }
}

const wordsOf = (wallMs: WallMs): string => `${isoTime(wallMs).slice(0, 19).replace('T', ' ')} UTC`;

function lengthOf(ms: number): string {
  if (ms < 120_000) return `${(ms / 1000).toFixed(1)} s`;
  return ms < 7_200_000 ? `${Math.round(ms / 60_000)} min` : `${Math.round(ms / 3_600_000)} h`;
}
