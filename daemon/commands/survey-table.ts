const GAP = 2;
/** The last column is wrapped, but never narrower than this. */
const LEAST = 12;

export interface Column {
  title: string;
  right?: boolean;
}

/** Stands between words that are not to be parted, and is printed as a space. */
export const TIE = '\u00a0';

/** Words broken into lines of at most `width`; a longer word stays whole. Always at least one line. */
export function wrap(text: string, width: number): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else line = line === '' ? word : `${line} ${word}`;
  }
  return [...lines, line].map((text) => text.replaceAll(TIE, ' '));
}

/** Text that is indented, the first line by `first`. */
export function paragraph(text: string, columns: number, indent = 0, first = indent): string[] {
  return wrap(text, columns - Math.max(indent, first)).map(
    (line, i) => `${' '.repeat(i === 0 ? first : indent)}${line}`,
  );
}

/** Rows under their titles; every column is as wide as its longest cell, the last one takes what is left and is wrapped. */
export function table(titles: readonly Column[], rows: readonly (readonly string[])[], columns: number): string[] {
  const widths = titles.map(({ title }, i) => Math.max(title.length, ...rows.map((row) => row[i]!.length)));
  const last = titles.length - 1;
  const before = widths.slice(0, last).reduce((sum, width) => sum + width + GAP, 0);
  const room = Math.max(LEAST, columns - before);
  const cell = (text: string, i: number): string =>
    titles[i]!.right === true ? text.padStart(widths[i]!) : text.padEnd(widths[i]!);
  const line = (cells: readonly string[]): string[] => {
    const head = cells.slice(0, last).map((text, i) => `${cell(text, i)}${' '.repeat(GAP)}`);
    const tail = wrap(cells[last]!, room);
    return tail.map((text, i) => `${i === 0 ? head.join('') : ' '.repeat(before)}${text}`.trimEnd());
  };
  return [...line(titles.map(({ title }) => title)), ...rows.flatMap(line)];
}
