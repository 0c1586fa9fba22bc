import type { Change } from './messages.js';

export interface Latencies {
  /** ms from commit to board, ascending. */
  ms: number[];
  /** Committed, and never seen on the board, neither itself nor what came after it. */
  unseen: Change[];
}

/**
 * Which change was seen when. A page is told of a truck at most every 200 ms, so of two quick changes only the second is seen: then
 * both are. Both lists may come in any order.
 */
export function latencies(committed: readonly Change[], seen: readonly Change[]): Latencies {
  const seenOf = byAlert(seen);
  const ms: number[] = [];
  const unseen: Change[] = [];
  for (const [alert, changes] of byAlert(committed)) {
    let waiting = changes;
    for (const [, shown, seenMs] of seenOf.get(alert) ?? []) {
      const last = waiting.findLastIndex(([, state, atMs]) => state === shown && atMs <= seenMs);
      for (const [, , atMs] of waiting.slice(0, last + 1)) ms.push(seenMs - atMs);
      waiting = waiting.slice(last + 1);
    }
    unseen.push(...waiting);
  }
  return { ms: ms.sort((a, b) => a - b), unseen };
}

function byAlert(changes: readonly Change[]): Map<string, Change[]> {
  const alerts = new Map<string, Change[]>();
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
