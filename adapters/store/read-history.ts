import { isoTime } from '../../daemon/alerts/iso-time.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import { below, from, type Key, pagesOf } from './read-pages.js';
import type { ReadingRow, ReadRecordRow, ReadTripRow, RecordView, RunRow, SeriesRow } from './read-rows.js';
import { overlaps, PAGE_ROWS, type Span, type StoreReader, type Wanted } from './reader.js';

interface Bounds extends Key {
  boot: number;
  to: StreamMs;
  limit: number;
}

/** A row of the table `history`. */
export interface Minute {
  /** Start of the minute, stream time of its run. */
  t: StreamMs;
  series: number;
  min: number;
  max: number;
  last: number;
  count: number;
}

/** Series whose readings are asked for. */
export function seriesOf({ series }: StoreReader, { subject, quantities }: Wanted): SeriesRow[] {
  return series.filter((one) => (subject?.(one.subject) ?? true) && (quantities?.includes(one.quantity) ?? true));
}

/** Minutes of readings as they are stored, by run, in the order in which they were written; those that begin in the span. */
export function* minutesOf(reader: StoreReader, wanted: Wanted): Generator<{ run: RunRow; minutes: Minute[] }> {
  const ids = seriesOf(reader, wanted).map(({ id }) => id);
  if (ids.length === 0) return;
  const page = reader.db.prepare<[Bounds], Minute>(`
    SELECT t, series, min, max, last, count FROM history
    WHERE boot = @boot AND (t, series) > (@major, @minor) AND t < @to AND series IN (${ids.join()})
    ORDER BY t, series LIMIT @limit`);
  for (const { run, fromT, toT } of reader.pieces(wanted)) {
    const scan = {
      page: (after: Key, limit: number) => page.all({ ...after, boot: run.boot, to: toT, limit }),
      keyOf: ({ t, series }: Minute): Key => ({ major: t, minor: series }),
      ...{ start: from(fromT), limit: PAGE_ROWS.small },
      lost: (low: number, high: number | null) => reader.lostTime('readings', run, low, high),
    };
    for (const minutes of pagesOf(scan)) yield { run, minutes };
  }
}

/** The same as the public view has them. */
export function* readingsOf(reader: StoreReader, wanted: Wanted): Generator<ReadingRow[]> {
  const names = new Map(reader.series.map((one) => [one.id, one]));
  for (const { run, minutes } of minutesOf(reader, wanted)) {
    let [at, atT] = ['', Number.NaN];
    yield minutes.map(({ t, series, min, max, last, count }) => {
      // Some fifty series share each minute.
      if (t !== atT) [at, atT] = [isoTime(run.zero_wall_ms + t), t];
      const { subject, quantity } = names.get(series)!;
      return { at, synced: run.synced, subject, quantity, min, max, last, count, boot: run.boot, t };
    });
  }
}

/** Records in the order of their end; those that begin in the span. */
export function* recordsOf(reader: StoreReader, view: RecordView, wanted: Span): Generator<ReadRecordRow[]> {
  const page = reader.db.prepare<[Bounds & { from: StreamMs }], ReadRecordRow>(`
    SELECT * FROM ${view}
    WHERE boot = @boot AND (end_t, id) > (@major, @minor) AND start_t >= @from AND start_t < @to
    ORDER BY end_t, id LIMIT @limit`);
  for (const { run, fromT, toT } of reader.pieces(wanted)) {
    yield* pagesOf({
      page: (after: Key, limit: number) => page.all({ ...after, boot: run.boot, from: fromT, to: toT, limit }),
      keyOf: ({ end_t: major, id: minor }: ReadRecordRow): Key => ({ major, minor }),
      ...{ start: from(fromT), limit: PAGE_ROWS.large },
      lost: (low: number, high: number | null) => reader.lostTime('records', run, low, high),
    });
  }
}

type TripColumns = Omit<ReadTripRow, 'at' | 'ended' | 'synced'>;

/** Trips by run and number: those that lasted into the span. */
export function* tripsOf(reader: StoreReader, wanted: Span): Generator<ReadTripRow[]> {
  const page = reader.db.prepare<[number, number, number], TripColumns>(`
    SELECT trip, provisional, distance_km, alerts, gap_s, not_judged, summary, boot, start_t, end_t, config, version
    FROM trips WHERE boot = ? AND trip > ? ORDER BY trip LIMIT ?`);
  for (const run of reader.runs) {
    const of = (t: StreamMs): WallMs => run.zero_wall_ms + t;
    const scan = {
      page: (after: Key, limit: number) => page.all(run.boot, below(after), limit),
      keyOf: ({ trip: major }: TripColumns): Key => ({ major, minor: 0 }),
      ...{ start: from(-1), limit: PAGE_ROWS.large },
      lost: (low: number, high: number | null) => reader.lost(`trips of start ${run.boot}`, low, high),
    };
    for (const rows of pagesOf(scan)) {
      const inSpan = rows.filter(({ start_t, end_t }) => overlaps(wanted, of(start_t), of(end_t)));
      yield inSpan.map((row) => {
        const times = { at: isoTime(of(row.start_t)), ended: isoTime(of(row.end_t)), synced: run.synced };
        return { ...times, ...row };
      });
    }
  }
}
