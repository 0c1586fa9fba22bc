import { statSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import type { RunInfo } from '../../daemon/alerts/numbered.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import { type SyncSource, TRUSTED } from './sync-source.js';

/** A wall clock that has moved by less against the monotonic one has not been set, only disciplined. */
const STEP_MS = 500;

/** Where hosts without a battery-backed clock save the time over a power cut (systemd-timesyncd, fake-hwclock). */
const SAVED_TIMES = ['/var/lib/systemd/timesync/clock', '/etc/fake-hwclock.data'];

/** The two clocks of the machine; tests put their own in place. */
export interface HostTimes {
  /** Never steps. */
  monotonicMs(): number;
  wallMs(): WallMs;
}

const HOST: HostTimes = { monotonicMs: () => performance.now(), wallMs: () => Date.now() };

export interface HostClockOptions {
  /** Who says that the host's clock is right. By default it is as soon as it is past the floor. */
  sync?: SyncSource;
  host?: HostTimes;
  /** Wall time that has been for certain: before it the machine has not been set yet. */
  floorMs?: WallMs;
}

/** The clock of a live run: monotonic for everything that is decided, wall time only for stamps. */
export class HostClock {
  readonly #host: HostTimes;
  readonly #sync: SyncSource;
  /** Monotonic time at stream time 0: the last whole second of the wall clock before the start. */
  readonly #startMs: number;
  #floorMs: WallMs;
  #run: RunInfo;

  constructor({ sync = TRUSTED, host = HOST, floorMs = hostFloorMs() }: HostClockOptions = {}) {
    const wall = host.wallMs();
    const intoSecond = wall % 1000;
    this.#host = host;
    this.#sync = sync;
    this.#startMs = host.monotonicMs() - intoSecond;
    this.#floorMs = floorMs;
    this.#run = { zeroWallMs: wall - intoSecond, synced: this.#isRight };
  }

  /** Wall time of stream time 0 as best known, and whether it is known to be right. */
  get run(): RunInfo {
    return this.#run;
  }

  streamNow(): StreamMs {
    return Math.floor(this.#host.monotonicMs() - this.#startMs);
  }

  /** Is the wall clock at or above the clock floor? Below it the machine has not been set yet, and no certificate can be judged. */
  get isSet(): boolean {
    return this.#host.wallMs() >= this.#floorMs;
  }

  get floorMs(): WallMs {
    return this.#floorMs;
  }

  get #isRight(): boolean {
    return this.isSet && this.#sync.synced;
  }

  /** The present by the run's own zero, null while that is not known to be right. A clock that steps is heard of at `look`. */
  wallNow(): WallMs | null {
    return this.#run.synced ? this.#run.zeroWallMs + this.streamNow() : null;
  }

  /** A stamp that was known to be right (of the store): the wall clock cannot be before it. */
  raiseFloor(stampMs: WallMs): void {
    this.#floorMs = Math.max(this.#floorMs, stampMs);
    this.#run = { ...this.#run, synced: this.#isRight };
  }

  /**
   * Looks whether somebody has set the wall clock, or has found it right; the better known run, or null when nothing has
   * changed. A run once known to be right stays so: a clock that then falls below the floor, or is moved by hand while its
   * service is away, says nothing new about it.
   */
  look(): RunInfo | null {
    const isRight = this.#isRight;
    if (this.#run.synced && !isRight) return null;
    const zeroWallMs = Math.round(this.#host.wallMs() - (this.#host.monotonicMs() - this.#startMs));
    const stepped = Math.abs(zeroWallMs - this.#run.zeroWallMs) >= STEP_MS;
    if (!stepped && isRight === this.#run.synced) return null;
    this.#run = { zeroWallMs: stepped ? zeroWallMs : this.#run.zeroWallMs, synced: isRight };
    return this.#run;
  }
}

/** The latest of when this program was built and when the host last saved its time. */
function hostFloorMs(): WallMs {
  const files = [fileURLToPath(import.meta.url), ...SAVED_TIMES];
  return Math.max(0, ...files.map((path) => statSync(path, { throwIfNoEntry: false })?.mtimeMs ?? 0));
}
