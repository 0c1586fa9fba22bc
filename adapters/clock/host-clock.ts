import { statSync } from 'node:fs';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';

/** The clock of a live run: monotonic for everything that is decided, wall time only for stamps. */
export class HostClock {
  /** Wall clock at process start, cut to a whole second. */
  readonly zeroWallMs: WallMs;
  readonly #startMs = performance.now();
  readonly #floorMs: WallMs;

  /** @param newestStampMs newest stamp that the store knows: the wall clock cannot be before it */
  constructor(newestStampMs: WallMs = 0) {
    this.zeroWallMs = Math.floor(Date.now() / 1000) * 1000;
    this.#floorMs = Math.max(newestStampMs, builtMs());
  }

  streamNow(): StreamMs {
    return Math.floor(performance.now() - this.#startMs);
  }

  /** Is the wall clock at or above the clock floor? Below it the machine has not been set yet. */
  get isSet(): boolean {
    return Date.now() >= this.#floorMs;
  }
}

/** When this program was built. */
function builtMs(): WallMs {
  return statSync(join(packageRoot(), 'package.json')).mtimeMs;
}
