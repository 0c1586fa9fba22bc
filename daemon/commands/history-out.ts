import { closeSync, openSync, writeSync } from 'node:fs';
import { csvLine } from '../../adapters/text/csv.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Out, Terminal } from './console.js';
import { EXIT, Failure } from './failure.js';
import { CELLS } from './history-cells.js';
import { jsonOf, KINDS, type Row } from './history-kinds.js';
import type { Format, What } from './history-settings.js';
import { HistoryTable } from './history-table.js';
import { wheelColumns, withWheels } from './history-wheels.js';

/** Where rows go, in one form. */
export interface RowsOut {
  /** A database begins: people are told whose it is where there are several. */
  begin(truck: string, path: string, show: TruckConfig['show']): void;
  rows(truck: string, rows: readonly Row[]): void;
  /** The database ends. */
  end(): void;
}

/**
 * @param several is more than one database read?
 * @param wheels wheel ends that get columns of their own in CSV
 */
export function rowsOut(
  { what, format }: { what: What; format: Format },
  out: Terminal,
  several: boolean,
  wheels: ReadonlySet<string>,
): RowsOut {
  const { columns, json } = KINDS[what];
  if (format === 'table') return tableOut(what, out, several);
  if (format === 'csv') {
    const all = [...columns, ...wheelColumns(wheels)];
    out.write(csvLine(['truck', ...all]));
    return each(out, (truck, row) => {
      const wide = wheels.size === 0 ? row : withWheels(row);
      return csvLine([truck, ...all.map((column) => wide[column])]);
    });
  }
  const jsonColumn = (row: Row, column: string): unknown =>
    json.includes(column) ? jsonOf(row[column]) : (row[column] ?? null);
  return each(out, (truck, row) => {
    const values = Object.fromEntries(columns.map((column) => [column, jsonColumn(row, column)]));
    return `${JSON.stringify({ truck, ...values })}\n`;
  });
}

const each = (out: Out, line: (truck: string, row: Row) => string): RowsOut => ({
  begin: () => {},
  rows: (truck, rows) => {
    if (rows.length > 0) out.write(rows.map((row) => line(truck, row)).join(''));
  },
  end: () => {},
});

function tableOut(what: What, out: Terminal, several: boolean): RowsOut {
  let table: HistoryTable | null = null;
  let head: string | null = null;
  let isFirst = true;
  return {
    begin: (truck, path, show) => {
      table = new HistoryTable(out, CELLS[what], show);
      head = several ? `${truck}  ${path}` : null;
    },
    rows: (_, rows) => {
      if (rows.length === 0) return;
      if (head !== null) out.write(`${isFirst ? '' : '\n'}${head}\n`);
      head = null;
      isFirst = false;
      table?.add(rows);
    },
    end: () => table?.end(),
  };
}

/** Standard output, or a file that is written anew. Throws a Failure. */
export function openOut(path: string | null, option: string, stdout: Terminal): { out: Terminal; close(): void } {
  if (path === null) return { out: stdout, close: () => {} };
  const failure = (error: unknown): Failure => {
    const { code } = error as NodeJS.ErrnoException;
    return new Failure(EXIT.failed, `${path}: cannot be written (${code}); choose another ${option} file`, error);
  };
  let handle: number;
  try {
    handle = openSync(path, 'w');
  } catch (error) {
    throw failure(error);
  }
  const write = (text: string): void => {
    const bytes = Buffer.from(text);
    try {
      for (let done = 0; done < bytes.length; ) done += writeSync(handle, bytes, done);
    } catch (error) {
      throw failure(error);
    }
  };
  return { out: { write }, close: () => closeSync(handle) };
}
