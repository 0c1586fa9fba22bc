import type { WallMs } from '../../daemon/time.js';
import type { AirCycleValues, AirTestValues, RecordKind, RecordValues } from '../../daemon/truck/records.js';
import type { Gathered } from '../gathered.js';

export interface Kept<V> {
  startMs: WallMs;
  endMs: WallMs;
  values: V;
}
export type AirTest = Kept<AirTestValues>;
export type AirCycle = Kept<AirCycleValues>;

const of = <K extends RecordKind>(gathered: Gathered, kind: K): Kept<RecordValues[K]>[] =>
  gathered.records
    .filter(({ record }) => record.kind === kind)
    .map(({ startMs, endMs, record }) => ({ startMs, endMs, values: record.values as RecordValues[K] }))
    .sort((a, b) => a.startMs - b.startMs);

/** Leak tests of all circuits, in the order of time. */
export const airTests = (gathered: Gathered): AirTest[] => of(gathered, 'air-test');

/** Cycles of the compressor, in the order of time. */
export const airCycles = (gathered: Gathered): AirCycle[] => of(gathered, 'air-cycle');

/** A leak goes on evenly: the rates of three thirds differ by no more than this (daemon/monitors/air-piece.ts). */
const AGREE = 2;

/** Did it fall as evenly as a leak does? */
export const isEven = ({ thirds }: AirTestValues): boolean =>
  Math.min(...thirds) > 0 && Math.max(...thirds) <= AGREE * Math.min(...thirds);

/** What falls unevenly is no leak: cooling air, or air that was used unseen. */
export const hasPassed = (values: AirTestValues): boolean => values.kpaPerMin < values.limit || !isEven(values);

/**
 * Share of the time with the engine running in which the compressor pumped, as the trips say; without trips by the cycles. null:
 * not known.
 */
export function compressorShare(gathered: Gathered, runningS: number | null): number | null {
  let engineS = 0;
  let pumpingS = 0;
  const last = new Map(gathered.trips.map(({ startMs, record }) => [`${startMs} ${record.trip}`, record]));
  for (const { summary } of last.values()) {
    if (summary === null || summary.compressor === null) continue;
    engineS += summary.engineS;
    pumpingS += summary.compressor.share * summary.engineS;
  }
  if (engineS === 0 && runningS !== null) {
    engineS = runningS;
    for (const { values } of airCycles(gathered)) pumpingS += values.pumpingS;
    if (pumpingS === 0) return null;
  }
  return engineS > 0 ? Math.round(Math.min(1, pumpingS / engineS) * 1000) / 1000 : null;
}
