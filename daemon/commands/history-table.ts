import type { TruckConfig } from '../../config/resolved.js';
import { styleOf, type Terminal } from './console.js';
import type { CellColumn } from './history-cells.js';
import type { Row } from './history-kinds.js';
import { wrap } from './survey-table.js';

const BOLD = '\u001b[1m';
const PLAIN = '\u001b[0m';
const GAP = 2;
/** From so many columns on, those that are `wide` are shown too. */
const WIDE = 110;
/** The last column is wrapped, but never narrower than this. */
const LEAST = 20;
/** Rows that the widths are taken of; of a longer table the later rows are fitted into these. */
const MEASURED_ROWS = 500;

/**
 * A table for people that is written while its rows come: the first rows say how wide its columns are. A later cell that is
 * wider moves the rest of its row.
 */
export class HistoryTable {
  readonly #out: Terminal;
  readonly #columns: readonly CellColumn[];
  readonly #show: TruckConfig['show'];
  readonly #width: number;
  readonly #colour: boolean;
  #waiting: string[][] = [];
  #widths: number[] | null = null;

  constructor(out: Terminal, columns: readonly CellColumn[], show: TruckConfig['show']) {
    const { colour, columns: width } = styleOf(out);
    this.#out = out;
    this.#columns = columns.filter(({ wide }) => wide !== true || width >= WIDE);
    this.#show = show;
    this.#width = width;
    this.#colour = colour;
  }

  add(rows: readonly Row[]): void {
    const cells = rows.map((row) => this.#columns.map((column) => plain(column.of(row, this.#show))));
    if (this.#widths !== null) {
      this.#write(cells);
      return;
    }
    this.#waiting.push(...cells);
    if (this.#waiting.length >= MEASURED_ROWS) this.#begin();
  }

  /** What is left. A table without rows has no titles either. */
  end(): void {
    if (this.#widths === null && this.#waiting.length > 0) this.#begin();
  }

  #begin(): void {
    const titles = this.#columns.map(({ title }) => title);
    this.#widths = titles.map((title, i) => Math.max(title.length, ...this.#waiting.map((row) => row[i]!.length)));
    const head = this.#lines(titles).join('\n');
    this.#out.write(this.#colour ? `${BOLD}${head}${PLAIN}\n` : `${head}\n`);
    this.#write(this.#waiting);
    this.#waiting = [];
  }

  #write(rows: readonly (readonly string[])[]): void {
    if (rows.length > 0) this.#out.write(`${rows.flatMap((row) => this.#lines(row)).join('\n')}\n`);
  }

  #lines(cells: readonly string[]): string[] {
    const last = cells.length - 1;
    const widths = this.#widths!;
    const before = widths.slice(0, last).reduce((sum, width) => sum + width + GAP, 0);
    const room = Math.max(LEAST, this.#width - before);
    const cell = (text: string, i: number): string =>
      this.#columns[i]!.right === true ? text.padStart(widths[i]!) : text.padEnd(widths[i]!);
    const head = cells.slice(0, last).map((text, i) => `${cell(text, i)}${' '.repeat(GAP)}`);
    const tail = this.#columns[last]!.right === true ? [cell(cells[last]!, last)] : wrap(cells[last]!, room);
    return tail.map((text, i) => `${i === 0 ? head.join('') : ' '.repeat(before)}${text}`.trimEnd());
  }
}

/** What came from a file may be anything; a terminal must not be told to do something by it. */
const plain = (text: string): string => text.replace(/\p{Cc}/gu, '\ufffd');
