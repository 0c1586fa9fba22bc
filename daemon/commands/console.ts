/** Takes whole pieces of text; process.stdout and process.stderr do. */
export interface Out {
  write(text: string): unknown;
}

/** The part of a terminal that a progress bar and wrapped text need. */
export interface Terminal extends Out {
  isTTY?: boolean;
  columns?: number;
}

/** Data go to `out`, everything else to `err`. */
export interface Console {
  out: Terminal;
  err: Terminal;
  /** What `-` reads; default: process.stdin. */
  in?: AsyncIterable<Uint8Array>;
  /** How far the work is, 0…1, null: unknown; for whoever shows it in another way than on `err`. */
  onProgress?(share: number | null): void;
}

/** Columns of what is no terminal. */
const PLAIN_COLUMNS = 100;

/** How to write for people there: colour on a terminal unless NO_COLOR is set (https://no-color.org). */
export function styleOf({ isTTY, columns }: Terminal): { colour: boolean; columns: number } {
  const { NO_COLOR = '' } = process.env;
  return { colour: isTTY === true && NO_COLOR === '', columns: columns || PLAIN_COLUMNS };
}
