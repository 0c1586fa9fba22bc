import { StoreError } from './errors.js';

/** Where a row stands in the order of a scan: `major` is a number or a time, `minor` parts rows that share it. */
export interface Key {
  major: number;
  minor: number;
}

/** A scan of one table in the order of a key. */
export interface Scan<Row> {
  /** Rows behind a key, at most `limit`. One short transaction. */
  page(after: Key, limit: number): Row[];
  keyOf(row: Row): Key;
  start: Key;
  /** Rows of one page. */
  limit: number;
  /** Nothing between the two could be read; `to` null: nor anything behind. */
  lost(from: number, to: number | null): void;
}

/** Before every row with this `major`. */
export const from = (major: number): Key => ({ major, minor: Number.MIN_SAFE_INTEGER });

/** Of a scan whose key is one whole number: rows with a greater one are behind the key. */
export const below = ({ major, minor }: Key): number => (minor < 0 ? major - 1 : major);

/** More than any number or time. */
const LAST = 2 ** 52;
/** A file with more damaged places than that is no help to anybody. */
const MOST_LOST = 200;

/** Codes of what a damaged file or a failing disk gives. */
const DAMAGE = /^SQLITE_(?:CORRUPT|NOTADB|IOERR)/;

export function isDamage(error: unknown): boolean {
  if (error instanceof StoreError) return error.code === 'store-corrupt';
  const { code = '', message = '' } = error as { code?: string; message?: string };
  return DAMAGE.test(code) || (code === 'SQLITE_ERROR' && /malformed JSON/.test(message));
}

/**
 * All rows, page by page. Around a place that cannot be read the pages become shorter, down to single rows; then it is looked
 * for the next key from which on reading works again. Throws what is no damage.
 */
export function* pagesOf<Row>(scan: Scan<Row>): Generator<Row[]> {
  let after = scan.start;
  let { limit } = scan;
  for (let lost = 0; ; ) {
    const rows = attempt(() => scan.page(after, limit));
    if (rows !== null) {
      if (rows.length > 0) yield rows;
      if (rows.length < limit) return;
      after = scan.keyOf(rows.at(-1)!);
      limit = Math.min(scan.limit, limit * 2);
      continue;
    }
    if (limit > 1) {
      limit = Math.floor(limit / 2);
      continue;
    }
    const next = ++lost > MOST_LOST ? null : beyond(scan, after.major);
    scan.lost(after.major, next);
    if (next === null) return;
    after = from(next);
  }
}

/** The first row behind a damaged place; null: there is none that can be read. */
function beyond<Row>(scan: Scan<Row>, major: number): number | null {
  const read = (at: number): Row[] | null => attempt(() => scan.page(from(at), 1));
  let low = major;
  let high = major + 1;
  while (read(high) === null) {
    low = high;
    high = major + (high - major) * 2;
    if (high > LAST) return null;
  }
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (read(middle) === null) low = middle;
    else high = middle;
  }
  const [first] = read(high) ?? [];
  return first === undefined ? null : scan.keyOf(first).major;
}

function attempt<T>(work: () => T): T | null {
  try {
    return work();
  } catch (error) {
    if (isDamage(error)) return null;
    throw error;
  }
}
