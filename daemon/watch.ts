import type { TruckConfig } from '../config/resolved.js';
import type { TickEffects } from './effects.js';
import type { Pipeline } from './pipeline.js';
import type { StreamMs, WallMs } from './time.js';

/** Looks on while a session decides, and changes nothing of it. Called in the order in which things happen. */
export interface Watch {
  /**
   * A tick has been decided; effects: what it asked of the world, null where nothing came of it. Ticks that are slept through
   * are not told. Nothing may be changed.
   */
  tick(t: StreamMs, pipeline: Pipeline, effects: TickEffects | null): void;
  /** Another configuration holds from t on. */
  reload(t: StreamMs, config: TruckConfig): void;
  /** The stamps of a recording jumped back: t is where the stream goes on, with this wall time at stream time 0. */
  seam(t: StreamMs, zeroWallMs: WallMs): void;
  /** The wall clock of the whole run is now better known: wall time of stream time 0. */
  clock(zeroWallMs: WallMs, synced: boolean): void;
}
