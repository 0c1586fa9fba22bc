import type { Change, Commit, Shown } from './messages.js';

export interface Latencies {
  /** ms from commit to board, ascending; of trucks that were connected. */
  ms: number[];
  /** Committed and never seen, but the board shows at the end what it should: what came after it made it as it was before. */
  overtaken: number;
  /** The board does not show what was committed last. */
  unseen: number;
}

/**
 * Which change was seen when. A page is told of a truck at most every 200 ms, so of two quick changes only the second is seen: then
 * both are. Both lists may come in any order. before: what was shown when they began.
 */
export function latencies(
  committed: readonly Commit[],
  seen: readonly Change[],
  before: ReadonlyMap<string, Shown> = new Map(),
): Latencies {
  const seenOf = byAlert(seen);
  const ms: number[] = [];
  let [overtaken, unseen] = [0, 0];
  for (const [alert, changes] of byAlert(committed)) {
    let waiting = changes;
    const views = seenOf.get(alert) ?? [];
    for (const [, shown, seenMs] of views) {
      const last = waiting.findLastIndex(([, state, atMs]) => state === shown && atMs <= seenMs);
      for (const [, , atMs, isConnected] of waiting.slice(0, last + 1)) if (isConnected) ms.push(seenMs - atMs);
      waiting = waiting.slice(last + 1);
    }
    const isRight = (views.at(-1)?.[1] ?? before.get(alert) ?? 'gone') === waiting.at(-1)?.[1];
    if (isRight) overtaken += waiting.length;
    else unseen += waiting.length;
  }
  return { ms: ms.sort((a, b) => a - b), overtaken, unseen };
}

function byAlert<T extends Change | Commit>(changes: readonly T[]): Map<string, T[]> {
  const alerts = new Map<string, T[]>();
  for (const change of changes) {
    const of = alerts.get(change[0]);
    if (of === undefined) alerts.set(change[0], [change]);
    else of.push(change);
  }
  for (const of of alerts.values()) of.sort((a, b) => a[2] - b[2]);
  return alerts;
}

/** The smallest value that `share` of all do not exceed; NaN of none. */
export function percentile(ascending: readonly number[], share: number): number {
  return ascending[Math.max(0, Math.ceil(share * ascending.length) - 1)] ?? Number.NaN;
}
