export type CsvCell = string | number | boolean | null | undefined;

/** A spreadsheet takes a text that begins so for a formula (OWASP, CSV Injection). Wide forms count too: some take them for the same. */
const FORMULA = /^[=+\-@\t\r\n＝＋－＠]/;

/**
 * One line of RFC 4180 with its CRLF, every cell quoted. A text that a spreadsheet would take for a formula begins with an
 * apostrophe; numbers stay numbers, also negative ones.
 */
export function csvLine(cells: readonly CsvCell[]): string {
  return `${cells.map(quoted).join(',')}\r\n`;
}

function quoted(cell: CsvCell): string {
  if (cell === null || cell === undefined) return '""';
  const text = typeof cell === 'string' && FORMULA.test(cell) ? `'${cell}` : String(cell);
  return `"${text.replaceAll('"', '""')}"`;
}
