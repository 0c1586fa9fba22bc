import type { StreamMs } from '../time.js';

/** What two events of one rule, subject and change are matched by. */
export interface Placed {
  /** Times count anew in each run: which one, from 1. */
  run: number;
  at: StreamMs;
  urgency: string;
  /** The whole event, as one line. */
  line: string;
}

export interface Matched<T> {
  pairs: (readonly [expected: T, got: T])[];
  missing: T[];
  extra: T[];
}

/** What an event costs that has no partner: two that lie further apart than twice this are never one that moved. */
export const ALONE_MS = 1_800_000;
/** Another urgency, or another run, counts as much as ten minutes: the longest delay of any urgent level. */
const OTHER_MS = 600_000;
/** So many differences of one kind are matched at a time, as the work grows with the third power; more of them piece by piece. */
const MOST_AT_ONCE = 400;

/** How unlike two events are, ms. A metric: the direct way is never longer than one by way of a third. */
export function apart(a: Placed, b: Placed): number {
  return Math.abs(a.at - b.at) + (a.urgency === b.urgency ? 0 : OTHER_MS) + (a.run === b.run ? 0 : OTHER_MS);
}

/**
 * Pairs events of one rule, subject and change so that what they are apart, and ALONE_MS for each that is left alone, is least
 * in all. The same for any order of the events: of several ways that cost the same, one by time.
 */
export function matchNearest<T extends Placed>(expected: readonly T[], got: readonly T[]): Matched<T> {
  const { pairs, missing: left, extra: more } = takeSame(expected, got);
  const all: Matched<T> = { pairs, missing: [], extra: [] };
  for (const [one, other] of pieces(left.sort(inTime), more.sort(inTime))) {
    const partners = assign(one, other);
    all.pairs.push(...uncrossed(one.flatMap((e, i) => (partners[i] === undefined ? [] : [[e, partners[i]] as const]))));
    all.missing.push(...one.filter((_, i) => partners[i] === undefined));
    const taken = new Set(partners);
    all.extra.push(...other.filter((g) => !taken.has(g)));
  }
  all.pairs.sort(([a], [b]) => inTime(a, b));
  return all;
}

export const inTime = (a: Placed, b: Placed): number =>
  a.run - b.run || a.at - b.at || compare(a.urgency, b.urgency) || compare(a.line, b.line);

const compare = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);

/** The same place costs nothing; as `apart` is a metric, the least total always has these pairs. The same line goes first. */
function takeSame<T extends Placed>(expected: readonly T[], got: readonly T[]): Matched<T> {
  const pairs: (readonly [T, T])[] = [];
  let [missing, extra] = [[...expected], [...got]];
  for (const keyOf of [
    (e: T) => `${e.run} ${e.at} ${e.urgency} ${e.line}`,
    (e: T) => `${e.run} ${e.at} ${e.urgency}`,
  ]) {
    const waiting = new Map<string, T[]>();
    for (const e of missing.sort(inTime)) {
      const key = keyOf(e);
      const list = waiting.get(key);
      if (list === undefined) waiting.set(key, [e]);
      else list.push(e);
    }
    extra = extra.sort(inTime).filter((g) => {
      const same = waiting.get(keyOf(g))?.shift();
      if (same !== undefined) pairs.push([same, g]);
      return same === undefined;
    });
    missing = [...waiting.values()].flat();
  }
  return { pairs, missing, extra };
}

/** Cuts where nothing on one side of the cut could be matched with the other, and where a piece grows too large. */
function pieces<T extends Placed>(expected: readonly T[], got: readonly T[]): [T[], T[]][] {
  const all = [...expected.map((e) => ({ e, side: 0 })), ...got.map((e) => ({ e, side: 1 }))];
  all.sort((a, b) => a.e.at - b.e.at || a.side - b.side || inTime(a.e, b.e));
  const cut: [T[], T[]][] = [];
  let lastAt = Number.NEGATIVE_INFINITY;
  for (const { e, side } of all) {
    const open = cut.at(-1);
    const isNew = open === undefined || e.at - lastAt > 2 * ALONE_MS || open[0].length + open[1].length >= MOST_AT_ONCE;
    if (isNew) cut.push([[], []]);
    cut.at(-1)![side]!.push(e);
    lastAt = e.at;
  }
  return cut;
}

/**
 * The assignment with the least total: shortest augmenting paths with potentials, after Kuhn and Munkres. Columns are what
 * came, and after them as many that stand for "alone".
 * @returns for each expected event its partner, or undefined
 */
function assign<T extends Placed>(expected: readonly T[], got: readonly T[]): (T | undefined)[] {
  const rows = expected.length;
  const columns = got.length + rows;
  const cost = (row: number, column: number): number =>
    // Left alone, both of a pair cost.
    column < got.length ? Math.min(apart(expected[row]!, got[column]!), 2 * ALONE_MS + 1) : 2 * ALONE_MS;
  const ofRow = new Float64Array(rows);
  const ofColumn = new Float64Array(columns);
  const rowAt = new Int32Array(columns).fill(-1);
  for (let row = 0; row < rows; row++) augment(row, { columns, cost, ofRow, ofColumn, rowAt });
  const partners = new Array<T | undefined>(rows).fill(undefined);
  for (const [column, g] of got.entries()) {
    const row = rowAt[column]!;
    if (row >= 0 && apart(expected[row]!, g) <= 2 * ALONE_MS) partners[row] = g;
  }
  return partners;
}

interface Assignment {
  columns: number;
  cost(row: number, column: number): number;
  /** Potentials. */
  ofRow: Float64Array;
  ofColumn: Float64Array;
  /** −1: nobody has this column. */
  rowAt: Int32Array;
}

/** Gives one more row its column, by the cheapest chain of changes. */
function augment(first: number, { columns, cost, ofRow, ofColumn, rowAt }: Assignment): void {
  const least = new Float64Array(columns).fill(Number.POSITIVE_INFINITY);
  const from = new Int32Array(columns).fill(-1);
  const done = new Uint8Array(columns);
  let [row, column] = [first, -1];
  do {
    let [delta, next] = [Number.POSITIVE_INFINITY, -1];
    for (let j = 0; j < columns; j++) {
      if (done[j] === 1) continue;
      const reduced = cost(row, j) - ofRow[row]! - ofColumn[j]!;
      if (reduced < least[j]!) {
        least[j] = reduced;
        from[j] = column;
      }
      if (least[j]! < delta) [delta, next] = [least[j]!, j];
    }
    ofRow[first]! += delta;
    for (let j = 0; j < columns; j++) {
      if (done[j] === 1) {
        ofRow[rowAt[j]!]! += delta;
        ofColumn[j]! -= delta;
      } else least[j]! -= delta;
    }
    column = next;
    done[column] = 1;
    row = rowAt[column]!;
  } while (row >= 0);
  for (; column >= 0; column = from[column]!) rowAt[column] = from[column]! < 0 ? first : rowAt[from[column]!]!;
}

/** Pairs of the same urgencies and runs in the order of time: this costs no more, and nobody reads of two that changed places. */
function uncrossed<T extends Placed>(pairs: readonly (readonly [T, T])[]): (readonly [T, T])[] {
  const alike = new Map<string, (readonly [T, T])[]>();
  for (const pair of pairs) {
    const key = pair.map(({ run, urgency }) => `${run} ${urgency}`).join();
    alike.set(key, [...(alike.get(key) ?? []), pair]);
  }
  return [...alike.values()].flatMap((list) => {
    const [expected, got] = [list.map(([e]) => e).sort(inTime), list.map(([, g]) => g).sort(inTime)];
    return expected.map((e, i) => [e, got[i]!] as const);
  });
}
