import type { WallMs } from '../../daemon/time.js';
import type { SeqGap, SeqRanges, StoreSeen } from './model.js';

/** Numbers may come through another instance so much later than the ones after them. */
export const SETTLE_MS = 10_000;
/**
 * A database begins with 1. Where an office hears a later number first, those before it were confirmed to another office, or were sent
 * when none listened: those a truck says again after a minute, and only then it is known which.
 */
export const UNKNOWN_MS = 75_000;
/** Databases of one truck that are remembered; the one not heard of for longest goes first. */
const MAX_STORES = 8;
/** Beyond it the oldest hole counts as filled: so many later pieces have come that it will not be. */
const MAX_RANGES = 512;
/** Gaps of one database that wait for their numbers; beyond it two become one. A truck has two kinds at most, each grows. */
const MAX_GAPS = 16;

/** So long after its first message lower numbers of a database may come. */
export const settleMs = ({ ranges }: Pick<StoreSeen, 'ranges'>): number =>
  (ranges[0]?.[0] ?? 1) === 1 ? SETTLE_MS : UNKNOWN_MS;

export const isVolatile = (store: string): boolean => store.startsWith('~');

export const newStoreSeen = (store: string, ms: WallMs): StoreSeen => ({
  store,
  ranges: [],
  firstMs: ms,
  lastMs: ms,
  floor: 0,
  isOver: false,
  gaps: [],
  stuck: null,
  lost: 0,
});

/** The list with one of its entries as `change` makes it; it is added when it is not there. The one just changed stands last. */
export function withStore(
  stores: readonly StoreSeen[],
  store: string,
  ms: WallMs,
  change: (seen: StoreSeen) => StoreSeen,
): StoreSeen[] {
  const seen = stores.find((each) => each.store === store) ?? newStoreSeen(store, ms);
  const others = stores.filter((each) => each.store !== store);
  return [...others, change({ ...seen, lastMs: Math.max(seen.lastMs, ms) })].slice(-MAX_STORES);
}

/**
 * An event of the database is stored. What is lower than the first number that was there when it could be confirmed was confirmed by
 * then, or was before this office: it is not waited for.
 */
export function withSeq(seen: StoreSeen, seq: number, ms: WallMs): StoreSeen {
  const first = seen.ranges[0]?.[0];
  if (first !== undefined && seq < first && ms - seen.firstMs >= settleMs(seen)) return seen;
  const gaps = seen.gaps.map((gap) => (gap.passedMs === null && seq > gap.to ? { ...gap, passedMs: ms } : gap));
  const firstMs = first === undefined ? ms : seen.firstMs;
  return settled({ ...seen, firstMs, ranges: joined(seen.ranges, seq, seq), gaps }, ms);
}

/** Some numbers will never come. The same gap twice is the caller's matter. */
export function withGap(seen: StoreSeen, fromSeq: number, toSeq: number, count: number, ms: WallMs): StoreSeen {
  if (toSeq < fromSeq || toSeq === 0 || count === 0) return seen;
  const passedMs = (seen.ranges.at(-1)?.[1] ?? 0) > toSeq ? ms : null;
  const gaps = [...seen.gaps, { from: fromSeq, to: toSeq, count, passedMs }];
  return settled({ ...seen, gaps: gaps.length > MAX_GAPS ? oneFewer(gaps) : gaps }, ms);
}

/**
 * The number that may be confirmed: nothing is missing since the first one seen. null: none yet, also as long after the first message
 * as lower numbers may come: through another instance, or because the truck says them again.
 */
export function confirmable(seen: StoreSeen, nowMs: WallMs): number | null {
  if (isVolatile(seen.store) || nowMs - seen.firstMs < settleMs(seen)) return null;
  return settled(seen, nowMs).ranges[0]?.[1] ?? null;
}

/**
 * Holes that a gap explains are filled. A gap says how many of its numbers never come, not which, and counts also some that had
 * been confirmed before: so the holes must be no more than that, and the truck, which sends in order, must have gone past them ten
 * seconds ago. Gaps that overlap explain each other's holes.
 */
function settled(seen: StoreSeen, nowMs: WallMs): StoreSeen {
  if (seen.gaps.length === 0) return seen;
  let { ranges } = seen;
  const open: SeqGap[] = [];
  for (const group of overlapping(seen.gaps)) {
    const from = Math.min(...group.map((gap) => gap.from));
    const to = Math.max(...group.map((gap) => gap.to));
    const count = group.reduce((sum, gap) => sum + gap.count, 0);
    const first = ranges[0]?.[0];
    const isPassed = group.every(({ passedMs }) => passedMs !== null && nowMs - passedMs >= SETTLE_MS);
    if (first !== undefined && isPassed && missingIn(ranges, Math.max(from, first), to) <= count) {
      if (to >= first) ranges = joined(ranges, Math.max(from, first), to);
    } else open.push(...group);
  }
  return open.length === seen.gaps.length ? seen : { ...seen, ranges, gaps: open };
}

/** Lists of gaps that touch one another. */
function overlapping(gaps: readonly SeqGap[]): SeqGap[][] {
  const groups: SeqGap[][] = [];
  let end = -1;
  for (const gap of [...gaps].sort((a, b) => a.from - b.from)) {
    if (gap.from > end) groups.push([]);
    groups.at(-1)!.push(gap);
    end = Math.max(end, gap.to);
  }
  return groups;
}

/** The two oldest become one that covers both. */
function oneFewer([a, b, ...rest]: SeqGap[]): SeqGap[] {
  const passedMs = a!.passedMs === null || b!.passedMs === null ? null : Math.max(a!.passedMs, b!.passedMs);
  const both = { from: Math.min(a!.from, b!.from), to: Math.max(a!.to, b!.to), count: a!.count + b!.count, passedMs };
  return [both, ...rest];
}

/** How many of from..to are not there. */
export function missingIn(ranges: SeqRanges, from: number, to: number): number {
  let there = 0;
  for (const [first, last] of ranges) there += Math.max(0, Math.min(last, to) - Math.max(first, from) + 1);
  return Math.max(0, to - from + 1 - there);
}

/** The ranges with from..to in them. */
export function joined(ranges: SeqRanges, from: number, to: number): SeqRanges {
  const last = ranges.at(-1);
  // Nearly every event: the next one.
  if (last !== undefined && from === last[1] + 1) return [...ranges.slice(0, -1), [last[0], to]];
  const before = ranges.filter((range) => range[1] < from - 1);
  const after = ranges.filter((range) => range[0] > to + 1);
  const touched = ranges.slice(before.length, ranges.length - after.length);
  const middle: [number, number] = [Math.min(from, touched[0]?.[0] ?? from), Math.max(to, touched.at(-1)?.[1] ?? to)];
  const all: SeqRanges = [...before, middle, ...after];
  if (all.length <= MAX_RANGES) return all;
  return [[all[0]![0], all[1]![1]], ...all.slice(2)];
}
