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

/** Does the limit hold at each tick up to `until`? */
export function naiveLevels(inputs: readonly Input[], spec: EvidenceSpec, until: number): boolean[] {
  const out: boolean[] = [];
  let up = false;
  let changedAt = 0;
  let clearedAt = 0;
  for (let t = TICK_MS; t <= until; t += TICK_MS) {
    const last = readingsBefore(inputs, t).at(-1)?.reading ?? null;
    const results = lastResults(inputs, spec.m, clearedAt, t);
    if (!up) {
      const byTime = last?.raising === true && collected(inputs, 'raising', changedAt, t) >= spec.raiseAfterMs;
      const expired = t - (readingsBefore(inputs, t).at(-1)?.t ?? 0) > 10 * (last?.limitMs ?? 0);
      const holds = spec.n > 0 ? results.filter((r) => r).length >= spec.n : byTime && !expired;
      if (holds) {
        up = true;
        changedAt = t;
      }
    } else {
      const byCount = results.length >= spec.m && results.every((r) => !r);
      const byTime = last?.clearing === true && collected(inputs, 'clearing', changedAt, t) >= spec.clearAfterMs;
      const expired = t - readingsBefore(inputs, t).at(-1)!.t > 10 * last!.limitMs;
      const clears = spec.n > 0 && !spec.clearsByTime ? byCount : byTime && !expired;
      if (clears) {
        up = false;
        changedAt = t;
        clearedAt = t;
      }
    }
    out.push(up);
  }
  return out;
}
