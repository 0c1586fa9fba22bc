import type { WallMs } from '../../daemon/time.js';

/** All that the office knows of time; tests put their own in its place. */
export interface OfficeClock {
  /** The host's wall clock. */
  nowMs(): WallMs;
  /** Calls back once after `ms`; the returned function takes it back. */
  after(ms: number, callback: () => void): () => void;
}

export const hostClock: OfficeClock = {
  nowMs: () => Date.now(),
  after: (ms, callback) => {
    const timer = setTimeout(callback, ms);
    return () => clearTimeout(timer);
  },
};

/** Calls `work` again and again, `ms` after it has ended, until the returned function is called. What it throws goes to `failed`. */
export function repeatedly(
  clock: OfficeClock,
  ms: number,
  work: () => Promise<void> | void,
  failed: (error: unknown) => void,
): () => void {
  let isOver = false;
  let cancel = (): void => {};
  const arm = (): void => {
    cancel = clock.after(ms, () => void once());
  };
  const once = async (): Promise<void> => {
    try {
      await work();
    } catch (error) {
      failed(error);
    }
    if (!isOver) arm();
  };
  arm();
  return () => {
    isOver = true;
    cancel();
  };
}
