import { alertsOf, eventsOf } from '../../adapters/store/read-alerts.js';
import { readingsEvery } from '../../adapters/store/read-every.js';
import { readingsOf, recordsOf, tripsOf } from '../../adapters/store/read-history.js';
import type { ColumnValue } from '../../adapters/store/read-rows.js';
import type { StoreReader, Wanted } from '../../adapters/store/reader.js';
import { type HistorySettings, isWithin, type What } from './history-settings.js';

/** A row as it is written: column → value; JSON is text. */
export type Row = Record<string, ColumnValue>;

type Asked = Pick<HistorySettings, 'subjects' | 'everyMs'>;

export interface Kind {
  /** One and many, as they stand in a sentence. */
  words: [one: string, many: string];
  /** What there is none of, where that is not the second of `words`. */
  none?: string;
  /** In order. Where the database has a public view, its columns. */
  columns: readonly string[];
  /** Those that hold JSON. */
  json: readonly string[];
  /** @param asked subjects of --subject, none: all; and of --every */
  pages(reader: StoreReader, wanted: Wanted, asked: Asked): Generator<Row[]>;
}

const RECORD = ['id', 'at', 'synced'] as const;
const TIMES = ['boot', 'start_t', 'end_t'] as const;

export const KINDS: Record<What, Kind> = {
  alerts: {
    words: ['alert', 'alerts'],
    columns: [
      ...['id', 'rule', 'kind', 'subject', 'place', 'state', 'how', 'urgency', 'worst', 'raised', 'latest', 'synced'],
      ...['cause', 'events', 'seq', 'last_seq'],
    ],
    json: [],
    pages: (reader, wanted) => rowsOf(alertsOf(reader, wanted)),
  },
  events: {
    words: ['event', 'events'],
    columns: [
      ...[
        'seq',
        'at',
        'synced',
        'alert',
        'cause',
        'rule',
        'subject',
        'place',
        'change',
        'urgency',
        'reason',
        'measured',
      ],
      ...['advice', 'boot', 't', 'config', 'version'],
    ],
    json: ['measured'],
    pages: (reader, wanted) => rowsOf(eventsOf(reader, wanted)),
  },
  readings: {
    words: ['row of readings', 'rows of readings'],
    none: 'readings',
    columns: ['at', 'synced', 'subject', 'quantity', 'min', 'max', 'last', 'count', 'boot', 't'],
    json: [],
    pages: (reader, wanted, { everyMs }) =>
      rowsOf(everyMs === null ? readingsOf(reader, wanted) : readingsEvery(reader, wanted, everyMs)),
  },
  applications: {
    words: ['brake application', 'brake applications'],
    columns: [
      ...[...RECORD, 'duration_s', 'peak_kpa', 'mean_kpa', 'start_kmh', 'end_kmh', 'told_by', 'qualifying'],
      ...['air_used_kpa', 'wheels', ...TIMES],
    ],
    json: ['wheels'],
    pages: (reader, wanted, { subjects }) =>
      mapped(recordsOf(reader, 'brake_applications', wanted), (row) => partOf(row, ['wheels'], subjects)),
  },
  'air-tests': {
    words: ['leak test', 'leak tests'],
    columns: [
      ...[...RECORD, 'state', 'circuit', 'seconds', 'fall_kpa', 'kpa_per_min', 'limit_kpa_per_min', 'units', 'thirds'],
      ...TIMES,
    ],
    json: ['thirds'],
    pages: (reader, wanted) =>
      mapped(recordsOf(reader, 'air_tests', wanted), (row) =>
        (wanted.subject?.(String(row.circuit)) ?? true) ? row : null,
      ),
  },
  'air-cycles': {
    words: ['compressor cycle', 'compressor cycles'],
    columns: [...RECORD, 'cut_in_kpa', 'cut_out_kpa', 'pumping_s', 'revolutions_per_100_kpa', ...TIMES],
    json: [],
    pages: (reader, wanted) => rowsOf(recordsOf(reader, 'air_cycles', wanted)),
  },
  trips: {
    words: ['trip', 'trips'],
    columns: [
      ...['at', 'ended', 'synced', 'trip', 'provisional', 'distance_km', 'alerts', 'gap_s', 'not_judged', 'summary'],
      ...[...TIMES, 'config', 'version'],
    ],
    json: ['not_judged', 'summary'],
    pages: (reader, wanted) => rowsOf(tripsOf(reader, wanted)),
  },
  'start-checks': {
    words: ['start check', 'start checks'],
    columns: ['id', 'at', 'ended', 'synced', 'trip', 'why', 'stood_s', 'tires', 'brakes', 'air', ...TIMES],
    json: ['tires', 'brakes', 'air'],
    pages: (reader, wanted, { subjects }) =>
      mapped(recordsOf(reader, 'start_checks', wanted), (row) => partOf(row, ['tires', 'brakes'], subjects)),
  },
};

/** The rows as they are; their interfaces say which keys there are. */
const rowsOf = (pages: Generator<object[]>): Generator<Row[]> => pages as Generator<Row[]>;

/** null: the row is left out. */
function* mapped(pages: Generator<object[]>, change: (row: Row) => Row | null): Generator<Row[]> {
  for (const page of pages) {
    yield page.flatMap((row) => {
      const changed = change(row as Row);
      return changed === null ? [] : [changed];
    });
  }
}

/**
 * What a record says of the wheels that are asked for; null: nothing. A tire is asked for with its brake, and a brake with
 * its tires.
 */
function partOf(row: Row, columns: readonly string[], subjects: readonly string[]): Row | null {
  if (subjects.length === 0) return row;
  const isWanted = (subject: string): boolean =>
    subjects.some((one) => isWithin(subject, one) || isWithin(one, subject));
  const part = { ...row };
  let found = 0;
  for (const column of columns) {
    const all = objectOf(row[column]);
    const { wheels } = all;
    const of = isObject(wheels) ? wheels : all;
    const kept = Object.fromEntries(Object.entries(of).filter(([subject]) => isWanted(subject)));
    found += Object.keys(kept).length;
    part[column] = JSON.stringify(isObject(wheels) ? { ...all, wheels: kept } : kept);
  }
  return found === 0 ? null : part;
}

const isObject = (value: unknown): value is Record<string, unknown> =>
  value !== null && typeof value === 'object' && !Array.isArray(value);

/** JSON of a column; nothing where it is none. */
export function objectOf(text: ColumnValue | undefined): Record<string, unknown> {
  const value = jsonOf(text);
  return isObject(value) ? value : {};
}

/** What a column of JSON holds; the text itself where it does not parse. */
export function jsonOf(text: ColumnValue | undefined): unknown {
  if (typeof text !== 'string') return text ?? null;
  try {
    return JSON.parse(text);
  } catch {
    return text;
  }
}
