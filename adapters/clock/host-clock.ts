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
  floor?: ClockFloor;
}

/** Wall times that have been: before the later one the machine has not been set yet. */
export interface ClockFloor {
  /** When this program was built. */
  builtMs: WallMs;
  /** The latest that the host or the store remembers. Memory may be of a clock that was wrong: a service that vouches for the present beats it. */
  rememberedMs: WallMs;
}

/** The clock of a live run: monotonic for everything that is decided, wall time only for stamps. */
export class HostClock {
  readonly #host: HostTimes;
  readonly #sync: SyncSource;
  /** Monotonic time at stream time 0: the last whole second of the wall clock before the start. */
  readonly #startMs: number;
  readonly #builtMs: WallMs;
  #rememberedMs: WallMs;
  #run: RunInfo;

  constructor({ sync = TRUSTED, host = HOST, floor = hostFloor() }: HostClockOptions = {}) {
    const wall = host.wallMs();
    const intoSecond = wall % 1000;
    this.#host = host;
    this.#sync = sync;
    this.#startMs = host.monotonicMs() - intoSecond;
    this.#builtMs = floor.builtMs;
    this.#rememberedMs = floor.rememberedMs;
    this.#run = { zeroWallMs: wall - intoSecond, synced: this.#isRight };
  }

  /** Wall time of stream time 0 as best known, and whether it is known to be right. */
  get run(): RunInfo {
    return this.#run;
  }

  streamNow(): StreamMs {
    return Math.floor(this.#host.monotonicMs() - this.#startMs);
  }

  /**
   * Is the wall clock at or above the clock floor? Below it the machine has not been set yet, and no certificate can be judged.
   * Of a floor that once was remembered wrong, years ahead, nobody would ever get out without a word of the host's service.
   */
  get isSet(): boolean {
    const wall = this.#host.wallMs();
    if (wall < this.#builtMs) return false;
    return wall >= this.#rememberedMs || (this.#sync.synced && this.#sync !== TRUSTED);
  }

  /** Before it nothing that tells the time can be right. */
  get builtMs(): WallMs {
    return this.#builtMs;
  }

  get #isRight(): boolean {
    return this.isSet && this.#sync.synced;
  }

  /** The present by the run's own zero, null while that is not known to be right. A clock that steps is heard of at `look`. */
  wallNow(): WallMs | null {
    return this.#run.synced ? this.#run.zeroWallMs + this.streamNow() : null;
  }

  /** A stamp that was known to be right (of the store): the wall clock is hardly before it. */
  raiseFloor(stampMs: WallMs): void {
    this.#rememberedMs = Math.max(this.#rememberedMs, stampMs);
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

function hostFloor(): ClockFloor {
  const changedMs = (path: string): WallMs => statSync(path, { throwIfNoEntry: false })?.mtimeMs ?? 0;
  return { builtMs: changedMs(fileURLToPath(import.meta.url)), rememberedMs: Math.max(...SAVED_TIMES.map(changedMs)) };
}
