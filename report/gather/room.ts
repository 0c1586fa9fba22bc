import type { WallMs } from '../../daemon/time.js';
import type { Growing } from './growing.js';
import type { Readings } from './readings.js';
import { halve, pairMinutes, type Spans } from './thinning.js';

/**
 * Readings of all series together, 16 bytes each: 32 MB. Ten hours of 18 tires, 10 brakes, air and speed are half of them. When
 * there are more they are thinned, see thinning.ts.
 */
export const MOST_READINGS = 2_000_000;
/** Rows of all minute series together, 32 bytes each: 10 MB, or five days of 42 series. */
export const MOST_MINUTES = 300_000;
/** Where thinning leaves more than this share of what there is room for, the hours around alerts are thinned too. */
const ENOUGH = 0.9;
/** Readings further apart than this have a hole between them: three intervals of what is sent once a second, and of tires. */
const JOIN_MS = 3_000;
const JOIN_TIRES_MS = 30_000;
const MINUTE_MS = 60_000;

/** How often was thinned, and what it did to how far apart readings are. */
export class Room {
  readonly #most: { readings: number; minutes: number };
  /** Rounds of thinning; each halves. */
  readings = 0;
  minutes = 0;
  /** Hours around alerts were thinned too. */
  everywhere = false;
  /** By seriesKey: readings no further apart than this had others in between, before they were thinned. */
  readonly #joinMs = new Map<string, number>();

  constructor(most = { readings: MOST_READINGS, minutes: MOST_MINUTES }) {
    this.#most = most;
  }

  /** Thins when there are too many. around: what stays whole as long as that is enough */
  thinReadings(all: Readings, zeroMs: WallMs, around: () => Spans): void {
    if (all.rows <= this.#most.readings) return;
    const spans = around();
    this.#halveAll(all, zeroMs, spans);
    if (all.rows <= this.#most.readings * ENOUGH) return;
    this.everywhere = true;
    this.#halveAll(all, zeroMs, []);
  }

  thinMinutes(all: ReadonlyMap<string, Growing>): void {
    const rows = (): number => [...all.values()].reduce((sum, one) => sum + one.rows, 0);
    if (rows() <= this.#most.minutes) return;
    for (const one of all.values()) pairMinutes(one, MINUTE_MS * 2 ** this.minutes * 1.5);
    this.minutes++;
  }

  /** How far apart readings with others in between may be now; undefined: none was left out. */
  joinMs(key: string): number | undefined {
    return this.#joinMs.get(key);
  }

  #halveAll(all: Readings, zeroMs: WallMs, spans: Spans): void {
    all.rows = 0;
    for (const [key, { rows }] of all.series) {
      this.#joinMs.set(key, halve(rows, spans, zeroMs, this.#joinMs.get(key) ?? joinOf(key)));
      all.rows += rows.rows;
    }
    this.readings++;
  }
}

/** Tires report every ten seconds or slower. */
const joinOf = (key: string): number => (/\/(single|inner|outer) /.test(key) ? JOIN_TIRES_MS : JOIN_MS);
