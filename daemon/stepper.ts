import type { TruckConfig } from '../config/resolved.js';
import type { TickEffects } from './effects.js';
import type { Answer, FrameSink, RareInput } from './input.js';
import type { Pipeline } from './pipeline.js';
import { type StreamMs, TICK_MS, type WallMs } from './time.js';

/**
 * Puts ticks between frames: t = 1000, 2000, …; a frame with t ≥ k·1000 is handled after tick k. The one way in for
 * live and recorded frames alike.
 */
export class Stepper implements FrameSink {
  #pipeline: Pipeline;
  readonly #onEffects: (effects: TickEffects) => void;
  readonly #onTick: ((t: StreamMs, pipeline: Pipeline, effects: TickEffects | null) => void) | null;
  #nextTick: StreamMs;

  /**
   * @param from stream time up to which ticks are done
   * @param onTick after each tick that was decided and its effects, if it had any; not after ticks that are slept through
   */
  constructor(
    pipeline: Pipeline,
    onEffects: (effects: TickEffects) => void,
    from: StreamMs = 0,
    onTick: ((t: StreamMs, pipeline: Pipeline, effects: TickEffects | null) => void) | null = null,
  ) {
    this.#pipeline = pipeline;
    this.#onEffects = onEffects;
    this.#onTick = onTick;
    this.#nextTick = (Math.floor(from / TICK_MS) + 1) * TICK_MS;
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    if (t >= this.#nextTick) this.advance(t);
    this.#pipeline.frame(t, bus, id, data, length);
  }

  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    if (t >= this.#nextTick) this.advance(t);
    this.#pipeline.errorFrame(t, bus, id, data, length);
  }

  /** The stamps of a recording jumped back; t is where the stream goes on. */
  seam(t: StreamMs): void {
    this.advance(t);
    this.#pipeline.seam(t);
  }

  /** The office has answered; its decisions are part of the tick at t, or of the next one. */
  answer(t: StreamMs, answer: Answer): void {
    this.advance(t - 1);
    this.#pipeline.answer(t, answer);
  }

  /** From t on, wall time of stream time 0 is known. */
  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    this.advance(t - 1);
    this.#pipeline.clock(t, zeroCalendarMs);
  }

  /** Any of the rare inputs, as it was recorded. */
  rare(input: RareInput): void {
    if (input.kind === 'answer') this.answer(input.t, input.answer);
    else if (input.kind === 'reload') this.reload(input.t, input.config);
    else this.clock(input.t, input.zeroCalendarMs);
  }

  /** Another configuration holds from t on, also for the tick at t. */
  reload(t: StreamMs, config: TruckConfig): void {
    this.advance(t - 1);
    this.#pipeline = this.#pipeline.reload(t, config);
  }

  /** The pipeline that is in force; a reload replaces it. */
  get pipeline(): Pipeline {
    return this.#pipeline;
  }

  /**
   * Runs the ticks up to t. While the pipeline is asleep they change nothing and are skipped in one step, up to the one at
   * which it has something to tell.
   */
  advance(t: StreamMs): void {
    while (this.#nextTick <= t) {
      if (this.#pipeline.isAsleep) {
        const after = (Math.floor(t / TICK_MS) + 1) * TICK_MS;
        const wakes = Math.ceil(this.#pipeline.wakesAt / TICK_MS) * TICK_MS;
        this.#nextTick = Math.max(this.#nextTick, Math.min(after, wakes));
        if (this.#nextTick > t) return;
      }
      const effects = this.#pipeline.tick(this.#nextTick);
      this.#nextTick += TICK_MS;
      if (effects !== null) this.#onEffects(effects);
      if (this.#onTick !== null) this.#onTick(this.lastTick, this.#pipeline, effects);
    }
  }

  /** Stream time of the last tick. */
  get lastTick(): StreamMs {
    return this.#nextTick - TICK_MS;
  }
}
