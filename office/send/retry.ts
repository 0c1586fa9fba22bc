import type { WallMs } from '../../daemon/time.js';

const FIRST_MS = 20_000;
const LONGEST_MS = 3_600_000;
/** A day later people have heard of it in another way. */
const GIVE_UP_MS = 86_400_000;

/**
 * When to try again: doubling from 10…20 s to 30…60 min, each drawn from its upper half, as with brokers (Backoff). null: the
 * message is as old as a day and its last attempt has been made.
 * @param attempts before the one that has just failed
 * @param notBeforeMs what the other side has asked to wait
 */
export function againAtMs(
  { attempts, bornMs, notBeforeMs = 0 }: { attempts: number; bornMs: WallMs; notBeforeMs?: number },
  nowMs: WallMs,
  random: () => number,
): WallMs | null {
  const lastMs = bornMs + GIVE_UP_MS;
  if (nowMs >= lastMs) return null;
  const ceilingMs = Math.min(LONGEST_MS, FIRST_MS * 2 ** Math.min(attempts, 30));
  const waitMs = Math.max(ceilingMs * (0.5 + 0.5 * random()), notBeforeMs);
  return Math.min(Math.ceil(nowMs + waitMs), lastMs);
}
