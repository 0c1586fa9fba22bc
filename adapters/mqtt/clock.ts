import type { StreamMs, WallMs } from '../../daemon/time.js';

/** All that the publisher knows of time. Tests put their own in its place. */
export interface PublisherClock {
  /** Monotonic milliseconds. */
  nowMs(): number;
  /** Calls back once after `ms`; the returned function takes it back. */
  after(ms: number, callback: () => void): () => void;
  /** 0 ≤ x < 1 */
  random(): number;
  /** Stream time of this run. */
  streamNow(): StreamMs;
  /** The wall clock, or null while it is not known to be right. */
  wallNow(): WallMs | null;
}

/** The host's monotonic clock and timers; stream and wall time come from the run's own clock. */
export function hostTimers(): Pick<PublisherClock, 'nowMs' | 'after' | 'random'> {
  return {
    nowMs: () => performance.now(),
    after: (ms, callback) => {
      const timer = setTimeout(callback, ms);
      return () => clearTimeout(timer);
    },
    random: Math.random,
  };
}
