import type { TruckConfig } from '../../config/resolved.js';
import type { RareInput } from '../../daemon/input.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import type { SegmentLog } from './segment-log.js';
import type { Kept } from './shelf.js';
import { type Sidecar, sidecarText } from './sidecar.js';

/** Further holes of a segment are added to the last one. */
const MOST_HOLES = 100;

export interface Save {
  withSidecar: boolean;
  /** The last tick that was decided when it was asked for; null: text from before it was still in hand. */
  tick: StreamMs | null;
}

/** What is the same for all segments of a run. */
export interface RunFacts {
  version: string;
  boot: number;
  zeroMs: WallMs;
}

/** One segment while it is written: what its sidecar says, and where it stands. */
export class Segment {
  readonly index: number;
  readonly firstT: StreamMs;
  /** Of the last frame or rare input. */
  lastInputT: StreamMs;
  lastT: StreamMs | null = null;
  frames = 0;
  readonly holes: Sidecar['holes'] = [];
  /** Rare inputs so far. */
  inputs = 0;
  /**
   * What the sidecar may promise: changed in the order in which the disk is served, so that neither is ahead of the frames in
   * the log.
   */
  lastTick: StreamMs | null = null;
  readonly written: RareInput[] = [];
  /** To be kept longer. */
  pinned = false;
  /** Nothing more goes into the log. */
  ended = false;
  /** The disk has refused it. */
  failed = false;
  /** A save that is on its way, with nothing behind it. */
  saving: Save | null = null;
  log: SegmentLog | null = null;
  kept: Kept | null = null;
  /** The log's end is on disk. */
  complete = false;
  readonly #config: TruckConfig;
  readonly #zeroCalendarMs: WallMs | null;
  #state: string;
  #packed = '';

  constructor(
    index: number,
    firstT: StreamMs,
    state: string,
    { config, zeroCalendarMs }: { config: TruckConfig; zeroCalendarMs: WallMs | null },
  ) {
    this.index = index;
    this.firstT = firstT;
    this.lastInputT = firstT;
    this.#state = state;
    this.#config = config;
    this.#zeroCalendarMs = zeroCalendarMs;
  }

  /** A frame at t found no room; or a rare input, then `frames` is 0. */
  lose(t: StreamMs, goesOn: boolean, frames = 1): void {
    const last = this.holes.at(-1);
    if (last !== undefined && (goesOn || this.holes.length >= MOST_HOLES)) {
      last.toT = t;
      last.frames += frames;
    } else {
      this.holes.push({ fromT: t, toT: t, frames });
    }
  }

  /** Lets go of the state, which is asked for once the disk is ready for it. */
  async packWith(pack: (json: string) => Promise<string>): Promise<void> {
    this.#packed = await pack(this.#state);
    this.#state = '';
  }

  sidecar({ version, boot, zeroMs }: RunFacts, run: { zeroWallMs: WallMs; synced: boolean }, start: number): string {
    return sidecarText({
      v: 1,
      pinned: this.pinned,
      ended: this.complete,
      version,
      run: { boot, zeroWallMs: run.zeroWallMs, synced: run.synced },
      zeroMs,
      zeroCalendarMs: this.#zeroCalendarMs,
      start,
      index: this.index,
      firstT: this.firstT,
      lastT: this.lastT,
      lastTick: this.lastTick,
      frames: this.frames,
      holes: this.holes,
      inputs: this.written,
      config: this.#config.hash,
      configuration: this.#config,
      stateGzipBase64: this.#packed,
    } as Sidecar);
  }
}
