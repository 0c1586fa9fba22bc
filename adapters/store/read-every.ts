import { isoTime } from '../../daemon/alerts/iso-time.js';
import type { WallMs } from '../../daemon/time.js';
import { type Minute, minutesOf } from './read-history.js';
import type { ReadingRow, RunRow } from './read-rows.js';
import type { StoreReader, Wanted } from './reader.js';

const DAY_MS = 86_400_000;
/** 1970-01-05, the first Monday: weeks begin on Mondays (ISO 8601). */
const MONDAY_MS = 4 * DAY_MS;

/** When the part of so long begins that a moment is in: counted from midnight UTC, of a day and more from a Monday. */
export function partStart(ms: WallMs, everyMs: number): WallMs {
  const zero = everyMs < DAY_MS ? Math.floor(ms / DAY_MS) * DAY_MS : MONDAY_MS;
  return zero + Math.floor((ms - zero) / everyMs) * everyMs;
}

/**
 * Minutes of readings put together: one row per so long, subject and quantity, with the columns of the public view. `at` is the
 * start of that part by the wall clock; `boot` and `t` are those of its first minute. A minute is in the part in which it begins.
 * Runs share a part where the clock of both was known to be right: two wrong clocks may say the same of two days. Rows come in
 * the order of the minutes, by series within a part; one part is kept at a time, and a page without an ended one is empty.
 */
export function* readingsEvery(reader: StoreReader, wanted: Wanted, everyMs: number): Generator<ReadingRow[]> {
  const part = new Part(reader);
  for (const { run, minutes } of minutesOf(reader, wanted)) {
    const ended: ReadingRow[] = [];
    for (const minute of minutes) {
      const startMs = partStart(run.zero_wall_ms + minute.t, everyMs);
      if (!part.has(startMs, run)) ended.push(...part.next(startMs, run));
      part.add(minute);
    }
    yield ended;
  }
  yield part.rows();
}

/** What was measured in one part, by series. */
class Part {
  readonly #names: ReadonlyMap<number, { subject: string; quantity: string }>;
  readonly #minutes = new Map<number, Minute & { boot: number }>();
  #startMs: WallMs = Number.NaN;
  #run: RunRow | null = null;

  constructor({ series }: StoreReader) {
    this.#names = new Map(series.map((one) => [one.id, one]));
  }

  /** Does what begins there in this run belong to it? If so, it goes on with this run. */
  has(startMs: WallMs, run: RunRow): boolean {
    const before = this.#run;
    if (before === null || startMs !== this.#startMs) return false;
    if (before.boot !== run.boot && (before.synced !== 1 || run.synced !== 1)) return false;
    this.#run = run;
    return true;
  }

  /** Begins another one; gives the rows of the one before. */
  next(startMs: WallMs, run: RunRow): ReadingRow[] {
    const rows = this.rows();
    this.#minutes.clear();
    this.#startMs = startMs;
    this.#run = run;
    return rows;
  }

  add(minute: Minute): void {
    const sum = this.#minutes.get(minute.series);
    if (sum === undefined) {
      this.#minutes.set(minute.series, { ...minute, boot: this.#run!.boot });
      return;
    }
    sum.min = Math.min(sum.min, minute.min);
    sum.max = Math.max(sum.max, minute.max);
    sum.last = minute.last;
    sum.count += minute.count;
  }

  rows(): ReadingRow[] {
    if (this.#minutes.size === 0) return [];
    const [at, synced] = [isoTime(this.#startMs), this.#run!.synced];
    return [...this.#minutes.values()]
      .sort((a, b) => a.series - b.series)
      .map(({ series, min, max, last, count, boot, t }) => {
        const { subject, quantity } = this.#names.get(series)!;
        return { at, synced, subject, quantity, min, max, last, count, boot, t };
      });
  }
}
