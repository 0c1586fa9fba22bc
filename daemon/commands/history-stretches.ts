import type { ReadTripRow } from '../../adapters/store/read-rows.js';
import type { Span, StoreReader } from '../../adapters/store/reader.js';
import type { Gathered } from '../../report/gathered.js';
import type { WallMs } from '../time.js';

export const MINUTE_MS = 60_000;
/** Minutes have no fixed place in the hour, and one may be cut short: only a hole of more than one whole minute is told. */
const LEAST_HOLE_MS = 2 * MINUTE_MS;

const spanOf = ({ at, ended }: ReadTripRow): { startMs: WallMs; endMs: WallMs } => ({
  ...{ startMs: Date.parse(at), endMs: Date.parse(ended) },
});

/** In the order of time. */
const inOrder = (trips: readonly ReadTripRow[]): ReadTripRow[] =>
  [...trips].sort((a, b) => Date.parse(a.at) - Date.parse(b.at));

/**
 * What the truck did, as far as can be told: it stood from the end of a trip until it was heard again. Of a trip whose end was
 * not seen nobody knows.
 * @param heard starts of the minutes in which anything was heard
 */
export function standingOf(
  trips: readonly ReadTripRow[],
  heard: ReadonlySet<WallMs>,
  { fromMs, toMs }: Span,
): Gathered['life'] {
  const minutes = [...heard].sort((a, b) => a - b);
  const begins = trips.map((row) => spanOf(row).startMs);
  const isInSpan = (ms: WallMs): boolean => (fromMs === null || ms >= fromMs) && (toMs === null || ms < toMs);
  return inOrder(trips).flatMap((row): Gathered['life'] => {
    const { endMs } = spanOf(row);
    if (row.provisional === 1 || !isInSpan(endMs)) return [];
    const again = [
      ...begins.filter((ms) => ms >= endMs),
      minutes.find((ms) => ms >= endMs) ?? Number.POSITIVE_INFINITY,
    ];
    const awakeMs = Math.min(...again);
    const parked = { atMs: endMs, state: 'parked' } as const;
    return isInSpan(awakeMs) && Number.isFinite(awakeMs) ? [parked, { atMs: awakeMs, state: 'awake' }] : [parked];
  });
}

/**
 * Where nothing was heard though a trip went on: minutes without any reading, in a trip of which silence is told, or between two
 * runs of the program.
 * @param heard starts of the minutes in which anything was heard
 */
export function gapsIn(
  trips: readonly ReadTripRow[],
  heard: ReadonlySet<WallMs>,
  { fromMs, toMs }: Span,
  reader: Pick<StoreReader, 'runs'>,
): Gathered['gaps'] {
  const minutes = [...heard].sort((a, b) => a - b);
  const [first] = minutes;
  // History may have been deleted where trips were not: before the first minute nothing is known.
  if (first === undefined) return [];
  const starts = reader.runs.map((run) => run.zero_wall_ms);
  return inOrder(trips).flatMap((row) => {
    const { startMs, endMs } = spanOf(row);
    const begin = Math.max(startMs, first, fromMs ?? first);
    const end = Math.min(endMs, toMs ?? endMs);
    const gaps: Gathered['gaps'] = [];
    let before = begin;
    for (const at of [...minutes.filter((ms) => ms + MINUTE_MS > begin && ms < end), end]) {
      const isSilent = row.gap_s * 1000 >= MINUTE_MS || starts.some((ms) => ms > before && ms <= at);
      if (at - before >= LEAST_HOLE_MS && isSilent) gaps.push({ fromMs: before, toMs: at });
      before = Math.max(before, at + MINUTE_MS);
    }
    return gaps;
  });
}
