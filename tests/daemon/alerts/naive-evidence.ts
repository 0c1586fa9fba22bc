import type { EvidenceSpec } from '../../../daemon/alerts/evidence.js';

/**
 * A second, deliberately plain reading of design.md, "Evidence" and "Comparison": from the whole list of what was read to
 * what holds at each tick. Nothing is carried on: each answer walks through the time from the start, STEP_MS by STEP_MS.
 */
export interface Input {
  t: number;
  /** null: bad data. */
  reading: { raising: boolean; clearing: boolean; limitMs: number } | null;
}

export const STEP_MS = 100;
const TICK_MS = 1000;

type Which = 'raising' | 'clearing';

/** Evidence at `until`, counted from `from` on. A frame at the very instant of a tick comes after it. */
function collected(inputs: readonly Input[], which: Which, from: number, until: number): number {
  let clock = 0;
  let next = 0;
  let last: Input | null = null;
  let stopped = true;
  for (let at = 0; at < until; at += STEP_MS) {
    for (; next < inputs.length && inputs[next]!.t <= at; next++) {
      const { t, reading } = inputs[next]!;
      if (reading === null) {
        stopped = true;
        continue;
      }
      // "after ten age limits it is zero"
      if (last !== null && t - last.t > 10 * last.reading!.limitMs) clock = 0;
      // "One good reading that misses … sets that level's clock to zero"
      if (!reading[which]) clock = 0;
      last = inputs[next]!;
      stopped = false;
    }
    // "after the last reading it counts until the age limit"; "bad or missing data stop it"
    const counts = last !== null && !stopped && last.reading![which] && at + STEP_MS <= last.t + last.reading!.limitMs;
    if (counts && at >= from) clock += STEP_MS;
  }
  if (last !== null && until - last.t > 10 * last.reading!.limitMs) return 0;
  return clock;
}

const readingsBefore = (inputs: readonly Input[], t: number): Input[] =>
  inputs.filter((i) => i.reading !== null && i.t < t);

/** Of the last m readings, newest last; a silence of ten age limits makes it an empty list. */
function lastResults(inputs: readonly Input[], m: number, from: number, t: number): boolean[] {
  const list: boolean[] = [];
  let before: Input | null = null;
  for (const input of readingsBefore(inputs, t)) {
    if (before !== null && input.t - before.t > 10 * before.reading!.limitMs) list.length = 0;
    if (input.t >= from) list.push(input.reading!.raising);
    before = input;
  }
  return list.slice(-m);
}

/** One limit with what was read under it. */
export interface NaiveLimit {
  inputs: readonly Input[];
  spec: EvidenceSpec;
  /** 1 plan, 2 next-stop, 3 pull-over. */
  level: number;
}

interface Held {
  up: boolean;
  changedAt: number;
  clearedAt: number;
}

/** Does the limit change at tick t? */
function changes({ inputs, spec }: NaiveLimit, { up, changedAt, clearedAt }: Held, t: number): boolean {
  const last = readingsBefore(inputs, t).at(-1);
  if (last === undefined) return false;
  const { raising, clearing, limitMs } = last.reading!;
  const isOld = t - last.t > 10 * limitMs;
  const results = lastResults(inputs, spec.m, clearedAt, t);
  if (!up) {
    if (spec.n > 0) return results.filter((r) => r).length >= spec.n;
    return raising && !isOld && collected(inputs, 'raising', changedAt, t) >= spec.raiseAfterMs;
  }
  if (spec.n > 0 && !spec.clearsByTime) return results.length >= spec.m && results.every((r) => !r);
  return clearing && !isOld && collected(inputs, 'clearing', changedAt, t) >= spec.clearAfterMs;
}

/** Which limits of one subject hold at each tick up to `until`? "Time beyond a worse level counts for the lesser ones". */
export function naiveStack(limits: readonly NaiveLimit[], until: number): boolean[][] {
  const held: Held[] = limits.map(() => ({ up: false, changedAt: 0, clearedAt: 0 }));
  const out: boolean[][] = [];
  for (let t = TICK_MS; t <= until; t += TICK_MS) {
    for (const [i, limit] of limits.entries()) {
      const h = held[i]!;
      if (!changes(limit, h, t)) continue;
      Object.assign(h, { up: !h.up, changedAt: t, clearedAt: h.up ? t : h.clearedAt });
      if (!h.up) continue;
      // A worse one holds: so do lesser ones whose raise limit is met, though they take longer to prove.
      for (const [k, lesser] of limits.entries()) {
        const last = readingsBefore(lesser.inputs, t).at(-1);
        const isMet = last?.reading?.raising === true && t - last.t <= 10 * last.reading.limitMs;
        if (lesser.level < limit.level && !held[k]!.up && isMet) Object.assign(held[k]!, { up: true, changedAt: t });
      }
    }
    out.push(held.map(({ up }) => up));
  }
  return out;
}

/** Does the limit hold at each tick up to `until`? */
export const naiveLevels = (inputs: readonly Input[], spec: EvidenceSpec, until: number): boolean[] =>
  naiveStack([{ inputs, spec, level: 1 }], until).map(([up]) => up!);
