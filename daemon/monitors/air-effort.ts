import type { StreamMs, WallMs } from '../time.js';
import type { AirMoment } from './air-moment.js';
import { medianInPlace } from './arithmetic/median.js';

/** Air that was used moves between the reservoirs for so long. */
const AFTER_USE_MS = 5_000;
/** Half of the finer sensor's step: less is no rise. kPa */
const RISE_KPA = 2;
const MOST_PER_DAY = 64;
/** A tractor alone, with one trailer, with another, with both. */
const MOST_COMBINATIONS = 8;
const DAY_MS = 86_400_000;
const TICKS_PER_MIN = 60;

/** A piece of pumping in which no air was used. */
interface Piece {
  startKpa: number;
  topKpa: number;
  /** Revolutions since the start, and as they were at the top. */
  revs: number;
  topRevs: number;
}

/** What was seen of one combination. */
interface DaysState {
  /** Today's pieces, revolutions per 100 kPa. */
  today: number[];
  /** Medians of its first days. */
  first: number[];
}

export interface EffortState {
  piece: Piece | null;
  /** Revolutions and kPa of the pieces of this pumping phase. */
  phaseRevs: number;
  phaseKpa: number;
  /** In days since 1970, -1: none yet. */
  day: number;
  /** By what the compressor fills: a trailer's reservoirs take air too, and what is learned with one says nothing without it. */
  combinations: Record<string, DaysState>;
  /** Pieces of this run that wait for the calendar. */
  waits: { at: StreamMs; combination: string; value: number }[];
  /** As the last day was judged: share of the truck's own median; -1: not yet. */
  lastShare: number;
}

export const newEffort = (): EffortState => ({
  piece: null,
  phaseRevs: 0,
  phaseKpa: 0,
  day: -1,
  combinations: {},
  waits: [],
  lastShare: -1,
});

export interface EffortLimits {
  /** A piece that gained less says nothing. kPa */
  pieceKpa: number;
  /** A day with fewer says nothing. */
  dayPieces: number;
  firstDays: number;
}

/**
 * Engine revolutions that it takes to gain 100 kPa, by day and against the first days of the same combination. `onDay` is told each
 * later day's share of them. A day is one of the calendar: pieces of a run whose clock is not known wait until it is.
 */
export class Effort {
  readonly #state: EffortState;
  readonly #limits: EffortLimits;
  readonly #combination: () => string;
  readonly #onDay: (t: StreamMs, share: number) => void;

  constructor(
    state: EffortState,
    limits: EffortLimits,
    combination: () => string,
    onDay: (t: StreamMs, share: number) => void,
  ) {
    this.#state = state;
    this.#limits = limits;
    this.#combination = combination;
    this.#onDay = onDay;
  }

  /** A second of pumping. */
  pumps(m: AirMoment, calendarMs: WallMs | null): void {
    const s = this.#state;
    const isClean = m.t - m.usedAt >= AFTER_USE_MS && !Number.isNaN(m.meanKpa) && !Number.isNaN(m.rpm);
    if (!isClean) {
      this.#endPiece(m.t, calendarMs);
      return;
    }
    s.piece ??= { startKpa: m.meanKpa, topKpa: m.meanKpa, revs: 0, topRevs: 0 };
    const { piece } = s;
    // The supply reservoir is filled first: what the engine turns until the circuits rise gains nothing.
    if (m.meanKpa < piece.startKpa + RISE_KPA && piece.topKpa < piece.startKpa + RISE_KPA) {
      // Never raised: a slow compressor would otherwise move its own start along and no piece would ever begin.
      piece.startKpa = Math.min(piece.startKpa, m.meanKpa);
      piece.topKpa = Math.max(piece.topKpa, m.meanKpa);
      piece.revs = 0;
      return;
    }
    piece.revs += m.rpm / TICKS_PER_MIN;
    if (m.meanKpa <= piece.topKpa) return;
    piece.topKpa = m.meanKpa;
    piece.topRevs = piece.revs;
  }

  /** The pumping is over. Gives its revolutions per 100 kPa; null: no piece of it told any. */
  ends(t: StreamMs, calendarMs: WallMs | null): number | null {
    const s = this.#state;
    this.#endPiece(t, calendarMs);
    const { phaseRevs, phaseKpa } = s;
    s.phaseRevs = 0;
    s.phaseKpa = 0;
    return phaseKpa > 0 ? (100 * phaseRevs) / phaseKpa : null;
  }

  /** A day that is over is judged, also when nothing was pumped since. */
  tick(t: StreamMs, calendarMs: WallMs | null): void {
    if (calendarMs !== null && this.#state.day >= 0) this.#turnTo(t, Math.floor(calendarMs / DAY_MS));
  }

  /** The calendar is known from now on: so are the days of this run's pieces. */
  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    const s = this.#state;
    const { waits } = s;
    s.waits = [];
    for (const { at, combination, value } of waits) this.#add(t, zeroCalendarMs + at, combination, value);
  }

  /** Nobody knows how the pumping went on. */
  abandon(): void {
    Object.assign(this.#state, { piece: null, phaseRevs: 0, phaseKpa: 0 });
  }

  /** Another run: the time of what waits is not known any more. */
  quiesce(): void {
    this.abandon();
    this.#state.waits = [];
  }

  #endPiece(t: StreamMs, calendarMs: WallMs | null): void {
    const s = this.#state;
    const { piece } = s;
    s.piece = null;
    if (piece === null || piece.topKpa - piece.startKpa < this.#limits.pieceKpa) return;
    s.phaseRevs += piece.topRevs;
    s.phaseKpa += piece.topKpa - piece.startKpa;
    const value = (100 * piece.topRevs) / (piece.topKpa - piece.startKpa);
    const combination = this.#combination();
    if (calendarMs !== null) this.#add(t, calendarMs, combination, value);
    else if (s.waits.length < MOST_PER_DAY) s.waits.push({ at: t, combination, value });
  }

  #add(t: StreamMs, calendarMs: WallMs, combination: string, value: number): void {
    const s = this.#state;
    const day = Math.floor(calendarMs / DAY_MS);
    if (s.day < 0) s.day = day;
    this.#turnTo(t, day);
    if (s.combinations[combination] === undefined && Object.keys(s.combinations).length >= MOST_COMBINATIONS) return;
    s.combinations[combination] ??= { today: [], first: [] };
    const { today } = s.combinations[combination];
    if (today.length < MOST_PER_DAY) today.push(value);
  }

  /** A calendar that was set back makes no day anew. */
  #turnTo(t: StreamMs, day: number): void {
    const s = this.#state;
    if (day <= s.day) return;
    s.day = day;
    let [share, pieces] = [Number.NaN, 0];
    for (const days of Object.values(s.combinations)) {
      const { today, first } = days;
      days.today = [];
      if (today.length < this.#limits.dayPieces) continue;
      const median = medianInPlace(today);
      if (first.length < this.#limits.firstDays) first.push(median);
      else if (today.length > pieces) [share, pieces] = [median / medianInPlace([...first]), today.length];
    }
    // One result a day: of the combination that pumped most.
    if (pieces === 0) return;
    s.lastShare = share;
    this.#onDay(t, share);
  }
}
