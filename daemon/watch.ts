import type { TruckConfig } from '../config/resolved.js';
import type { TickEffects } from './effects.js';
import type { Pipeline } from './pipeline.js';
import type { StreamMs, WallMs } from './time.js';

/** Looks on while a session decides, and changes nothing of it. Called in the order in which things happen. */
export interface Watch {
  /** What a tick asked of the world. */
  effects(effects: TickEffects): void;
  /** A tick has been decided, whether anything came of it or not; ticks that are slept through are not told. Read only. */
  tick(t: StreamMs, pipeline: Pipeline): void;
  /** Another configuration holds from t on. */
  reload(t: StreamMs, config: TruckConfig): void;
  /** The stamps of a recording jumped back: t is where the stream goes on, with this wall time at stream time 0. */
  seam(t: StreamMs, zeroWallMs: WallMs): void;
  /** The wall clock of the whole run is now better known: wall time of stream time 0. */
  clock(zeroWallMs: WallMs, synced: boolean): void;
}
