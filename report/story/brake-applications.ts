import type { WallMs } from '../../daemon/time.js';
import type { BrakeApplicationValues } from '../../daemon/truck/records.js';
import type { Gathered } from '../gathered.js';
import { firstAt, type Window } from './kit.js';

/** One brake application with its instants on the wall clock. */
export interface BrakeApplication {
  startMs: WallMs;
  endMs: WallMs;
  values: BrakeApplicationValues;
}

const KNOWN = new WeakMap<Gathered, BrakeApplication[]>();

/** All of them, in the order of time. Worked out once for each Gathered. */
export function brakeApplications(gathered: Gathered): BrakeApplication[] {
  let all = KNOWN.get(gathered);
  if (all === undefined) {
    all = [];
    for (const { startMs, endMs, record } of gathered.records)
      if (record.kind === 'brake-application') all.push({ startMs, endMs, values: record.values });
    all.sort((a, b) => a.startMs - b.startMs);
    KNOWN.set(gathered, all);
  }
  return all;
}

/** Those of which any moment lies in the window. */
export function applicationsIn(gathered: Gathered, { fromMs, toMs }: Window): BrakeApplication[] {
  return brakeApplications(gathered).filter(({ startMs, endMs }) => endMs >= fromMs && startMs <= toMs);
}

/**
 * Which readings of a series were told with the brakes pressed, and so long after the end that they still belong to it? For each
 * application, in order, the indexes [from, to) into atMs; they do not overlap.
 */
export function readingsOf(
  applications: readonly BrakeApplication[],
  atMs: readonly number[],
  afterMs: number,
): [from: number, to: number][] {
  return applications.map(({ startMs, endMs }, i) => {
    const next = applications[i + 1]?.startMs ?? Number.POSITIVE_INFINITY;
    return [firstAt(atMs, startMs), firstAt(atMs, Math.min(endMs + afterMs + 1, next))];
  });
}
