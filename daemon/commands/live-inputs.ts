import type { Recorder } from '../../adapters/recorder/contract.js';
import type { RareInput } from '../input.js';
import { PositionFilter } from '../j1939/position.js';
import { type StreamMs, TICK_MS } from '../time.js';
import type { Session } from './session.js';

/** A rare input before it has its time. */
export type Unstamped = RareInput extends infer Input ? (Input extends RareInput ? Omit<Input, 't'> : never) : never;

/**
 * Every input of a live run passes here: it gets its stream time, goes into the recording, and then to the pipeline. Frames of
 * one millisecond keep their order; a rare input has a millisecond of its own, so that a replay finds the same order.
 */
export class LiveInputs {
  readonly #session: Session;
  readonly #streamNow: () => StreamMs;
  readonly #recorder: Recorder | null;
  readonly #position: PositionFilter;
  /** No input comes before this. */
  #earliest: StreamMs = 0;

  constructor(session: Session, streamNow: () => StreamMs, recorder: Recorder | null) {
    this.#session = session;
    this.#recorder = recorder;
    this.#position = new PositionFilter(session.config.show.position);
    this.#streamNow = streamNow;
  }

  /** @param bus number of the bus in the configuration */
  frame(bus: number, id: number, data: Uint8Array, isError: boolean): void {
    const { stepper } = this.#session;
    if (!isError && stepper.pipeline.interest[(id >>> 8) & 0x3ffff] === 0) return;
    const t = this.#arrive();
    const recorder = this.#recorder;
    if (isError) {
      recorder?.errorFrame(t, bus, id, data, data.length, () => this.#state(t));
      stepper.errorFrame(t, bus, id, data, data.length);
    } else {
      // A position that must not be kept gets no further than here.
      const kept = this.#position.frame(id, data, data.length);
      recorder?.frame(t, bus, id, kept, data.length, () => this.#state(t));
      stepper.frame(t, bus, id, kept, data.length);
    }
  }

  /** Decides what is due; the stream time up to which that was. */
  tick(): StreamMs {
    return this.#arrive();
  }

  rare(input: Unstamped): void {
    const after = this.#arrive() + 1;
    // Never on a whole second: a recording that begins here must know whether that tick was decided.
    const t = after % TICK_MS === 0 ? after + 1 : after;
    this.#advance(t);
    const stamped = { ...input, t } as RareInput;
    this.#recorder?.rare(stamped, () => this.#state(t));
    this.#session.rare(stamped);
    if (stamped.kind === 'reload') this.#position.shown = stamped.config.show.position;
    this.#earliest = t;
  }

  /** Stream time of an input that comes now, with all ticks before it decided. */
  #arrive(): StreamMs {
    const t = Math.max(this.#streamNow(), this.#earliest, this.#session.stepper.lastTick);
    this.#earliest = t;
    this.#advance(t);
    return t;
  }

  #advance(t: StreamMs): void {
    const { stepper } = this.#session;
    const before = stepper.lastTick;
    stepper.advance(t);
    if (stepper.lastTick !== before) this.#recorder?.tick(stepper.lastTick);
  }

  #state(t: StreamMs): string {
    return JSON.stringify(this.#session.pipeline.snapshot(t));
  }
}
