import type { Incoming, TruckKey } from '../core/model.js';
import type { Statement } from './postgres-link.js';
import { eventRow, gapRow, readingRow, tripRow } from './rows.js';

/** Rows of messages as PostgreSQL takes them: one array per column, which it reads many times faster than one JSON of all. */

type Type = 'text' | 'bigint' | 'json';
export type Columns = Record<string, Type>;
type Row = Record<string, unknown>;

const KEY = { fleet: 'text', truck: 'text' } as const;
const BODY = { received_ms: 'bigint', body: 'json' } as const;
/** `keys`: what is there once. */
const TABLES: Record<'events' | 'readings' | 'trips' | 'gaps', { columns: Columns; keys: readonly string[] }> = {
  events: {
    columns: {
      ...{ ...KEY, store: 'text', seq: 'bigint', at: 'text', alert: 'text' },
      ...{ rule: 'text', subject: 'text', change: 'text', urgency: 'text', ...BODY },
    },
    keys: ['fleet', 'truck', 'store', 'seq'],
  },
  readings: { columns: { ...KEY, at: 'text', ...BODY }, keys: ['fleet', 'truck', 'at'] },
  trips: {
    columns: { ...KEY, store: 'text', boot: 'bigint', trip: 'bigint', kind: 'text', start: 'text', ...BODY },
    keys: ['fleet', 'truck', 'store', 'boot', 'trip', 'kind'],
  },
  gaps: {
    columns: { ...KEY, store: 'text', from_seq: 'bigint', to_seq: 'bigint', what: 'text', content: 'text', ...BODY },
    keys: ['fleet', 'truck', 'store', 'from_seq', 'to_seq', 'what', 'content'],
  },
};
export type TableName = keyof typeof TABLES;
export const TABLE_NAMES = Object.keys(TABLES) as TableName[];

/** Rows of these columns, from as many parameters; `n` counts them. */
export function given(columns: Columns): string {
  const arrays = Object.values(columns).map((type, n) => `$${n + 1}::${type}[]`);
  return `unnest(${arrays}) WITH ORDINALITY AS g (${Object.keys(columns)}, n)`;
}

/** The parameters. */
export const arraysOf = (columns: Columns, rows: readonly Row[]): unknown[][] =>
  Object.entries(columns).map(([name, type]) =>
    rows.map((row) => (type === 'json' ? JSON.stringify(row[name]) : row[name])),
  );

/**
 * Adds rows that are new and gives their keys. Whether one is there already is asked of all months by its key, as an index can hold to
 * it within one month only; that nobody adds it meanwhile is sure, as the truck's row is locked. A subquery per row: planned as a join,
 * it would read whole tables.
 */
function adding(table: TableName): Statement {
  const { columns, keys } = TABLES[table];
  const names = Object.keys(columns);
  const same = keys.map((key) => `e.${key} = g.${key}`).join(' AND ');
  return {
    name: `add-${table}`,
    text: `INSERT INTO ${table} (${names}) SELECT ${names} FROM ${given(columns)}
      WHERE (SELECT true FROM ${table} e WHERE ${same} LIMIT 1) IS NULL ON CONFLICT DO NOTHING RETURNING ${keys}`,
  };
}
const ADD = Object.fromEntries(TABLE_NAMES.map((name) => [name, adding(name)])) as Record<TableName, Statement>;

export const addition = (table: TableName, rows: readonly Row[]): [Statement, unknown[][]] => [
  ADD[table],
  arraysOf(TABLES[table].columns, rows),
];

/** The same for a row that is given and for one that comes back, where large numbers are text. */
export const idOf = (table: TableName, row: Row): string =>
  TABLES[table].keys.map((key) => String(row[key])).join('\n');

/** Null: nothing of it is history. */
export function rowOf(key: TruckKey, incoming: Incoming): { table: TableName; row: Row } | null {
  switch (incoming.kind) {
    case 'event':
      return { table: 'events', row: eventRow(key, incoming) };
    case 'reading':
      return { table: 'readings', row: readingRow(key, incoming) };
    case 'trip':
    case 'start-check':
      return { table: 'trips', row: tripRow(key, incoming) };
    case 'gap':
      return { table: 'gaps', row: gapRow(key, incoming) };
    default:
      return null;
  }
}
