import { Failure } from '../../../daemon/commands/failure.js';
import { historyCommand } from '../../../daemon/commands/history.js';
import type { HistoryOptions } from '../../../daemon/commands/history-settings.js';
import type { Ended } from './helpers.js';

/** `axlepost history …` in this process. @param columns of a terminal; left out: the output is none */
export async function history(words: string[], options: HistoryOptions, columns?: number): Promise<Ended> {
  const [out, err]: [string[], string[]] = [[], []];
  const terminal = columns === undefined ? {} : { isTTY: true, columns };
  const console = {
    out: { write: (text: string) => out.push(text), ...terminal },
    err: { write: (text: string) => err.push(text) },
  };
  let code: number;
  try {
    code = await historyCommand(words, options, console);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

/** RFC 4180 read letter by letter: rows of cells. Throws where it is none. */
export function parseCsv(text: string): string[][] {
  const rows: string[][] = [];
  let row: string[] = [];
  for (let i = 0; i < text.length; ) {
    if (text[i] !== '"') throw new Error(`no quote at ${i}`);
    let cell = '';
    for (i++; ; i++) {
      if (text[i] !== '"') cell += text[i];
      else if (text[i + 1] === '"') cell += text[i++];
      else break;
    }
    row.push(cell);
    i++;
    if (text[i] === ',') i++;
    else if (text.startsWith('\r\n', i)) {
      rows.push(row);
      row = [];
      i += 2;
    } else throw new Error(`neither a comma nor an end at ${i}`);
  }
  return rows;
}
