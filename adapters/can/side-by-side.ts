import type { FrameSink } from '../../daemon/input.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import { type LogCounts, newCounters } from './log-counts.js';
import { LogParser, type LogParserOptions } from './log-parser.js';
import type { Problem } from './problem.js';
import { WaitingFrames } from './waiting-frames.js';

const JUMP: Problem = {
  ...{ line: null, column: null, text: 'its stamps jump back' },
  hint: 'beside other logs what follows is taken as what came after; replay it by itself',
};

/** How far a stream of frames is. */
export interface Reached {
  /** Stream time up to which all frames have been given. */
  readonly lastT: StreamMs;
  /** Wall time of stream time 0; null before the first frame. */
  readonly zeroMs: WallMs | null;
}

/** Logs that follow each other, of some of the buses. */
class Lane {
  readonly parser: LogParser;
  readonly waiting = new WaitingFrames();
  ended = false;
  /** Wall time of its stream time 0 as its first stamp says. What jumps back later is kept in its place in the stream. */
  zeroMs: WallMs | null = null;

  constructor(options: Omit<LogParserOptions, 'onProblem'>, problem: (problem: Problem) => void) {
    const add = (isError: boolean): FrameSink['frame'] => {
      return (t, bus, id, data, length) => this.waiting.add(this.zeroMs! + t, bus, id, data, length, isError);
    };
    this.parser = new LogParser({
      ...options,
      sink: { frame: add(false), errorFrame: add(true) },
      onZero: (zeroMs) => {
        this.zeroMs = zeroMs;
      },
      onProblem: problem,
      onSeam: () => problem(JUMP),
    });
  }

  /** No frame of it comes before this any more; −Infinity: it has not begun. */
  get reachedMs(): WallMs {
    if (this.ended) return Number.POSITIVE_INFINITY;
    return this.zeroMs === null ? Number.NEGATIVE_INFINITY : this.endMs;
  }

  get endMs(): WallMs {
    return (this.zeroMs ?? 0) + this.parser.lastT;
  }
}

/**
 * Logs of several buses that were recorded at once, each with its own adapter: one stream in the order of their stamps. Frames of
 * the same millisecond come in the order of the lanes. Reads from the lane that is furthest behind, so little has to wait.
 */
export class SideBySide implements Reached {
  zeroMs: WallMs | null = null;
  lastT: StreamMs = 0;
  readonly #lanes: Lane[];
  readonly #sink: FrameSink;

  /** @param problem told with the index of the lane */
  constructor(
    options: Omit<LogParserOptions, 'onProblem'>,
    lanes: number,
    problem: (lane: number, problem: Problem) => void,
  ) {
    this.#sink = options.sink;
    this.#lanes = Array.from({ length: lanes }, (_, i) => new Lane(options, (one) => problem(i, one)));
  }

  parserOf(lane: number): LogParser {
    return this.#lanes[lane]!.parser;
  }

  /** The lane that must be read next; −1: all have ended. */
  get next(): number {
    let next = -1;
    let least = Number.POSITIVE_INFINITY;
    for (const [i, lane] of this.#lanes.entries()) {
      if (lane.ended || lane.reachedMs >= least) continue;
      next = i;
      least = lane.reachedMs;
    }
    return next;
  }

  end(lane: number): void {
    this.#lanes[lane]!.ended = true;
  }

  /** Hands on what nothing can come before any more. */
  release(): void {
    const safeMs = Math.min(...this.#lanes.map((lane) => lane.reachedMs));
    if (safeMs === Number.NEGATIVE_INFINITY) return;
    this.zeroMs ??= this.#firstSecond();
    if (this.zeroMs === null) return;
    for (;;) {
      const lane = this.#oldest();
      if (lane === null || lane.waiting.at >= safeMs) break;
      lane.waiting.give(this.#sink, this.#at(lane.waiting.at));
    }
    const doneMs = Math.min(safeMs, Math.max(...this.#lanes.map(({ endMs }) => endMs)));
    this.lastT = this.#at(doneMs);
  }

  counts(): LogCounts {
    const sum: LogCounts = { ...newCounters(), clamped: 0, seams: 0, gaps: 0 };
    for (const { parser } of this.#lanes)
      for (const [key, count] of Object.entries(parser.counts())) sum[key as keyof LogCounts] += count;
    return sum;
  }

  #at(ms: WallMs): StreamMs {
    return Math.max(this.lastT, ms - this.zeroMs!);
  }

  #oldest(): Lane | null {
    let oldest: Lane | null = null;
    for (const lane of this.#lanes)
      if (lane.waiting.at < (oldest?.waiting.at ?? Number.POSITIVE_INFINITY)) oldest = lane;
    return oldest;
  }

  /** The first stamp of all, cut to a whole second, as for one log. */
  #firstSecond(): WallMs | null {
    const zeros = this.#lanes.flatMap(({ zeroMs }) => (zeroMs === null ? [] : [zeroMs]));
    return zeros.length === 0 ? null : Math.min(...zeros);
  }
}
