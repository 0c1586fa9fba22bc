import type { Judgement } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';

/** The last values of something that is learned now and then (a cut-in, a build-up), oldest first. */
export interface LearnedState {
  values: number[];
  learnedAt: StreamMs[];
}

/** As many as any "n of m" of these rules may look back. */
const MOST = 10;

export const newLearned = (): LearnedState => ({ values: [], learnedAt: [] });

/**
 * One more value, and its result under limit number k. The level is left when as many in a row as it takes to raise it meet the
 * clear limit: one good value among bad ones is no repair.
 */
export function learn(s: LearnedState, t: StreamMs, value: number): void {
  s.values.push(value);
  s.learnedAt.push(t);
  if (s.values.length <= MOST) return;
  s.values.shift();
  s.learnedAt.shift();
}

export function judgeLearned(
  j: Judgement,
  k: number,
  s: LearnedState,
  raises: (value: number) => boolean,
  clears: (value: number) => boolean,
): void {
  const n = Math.max(1, j.limits[k]!.n);
  const isClear = s.values.length >= n && s.values.slice(-n).every(clears);
  j.verdict(0, k, s.learnedAt.at(-1)!, raises(s.values.at(-1)!), isClear);
}

export function forgetLearned(s: LearnedState): void {
  s.values = [];
  s.learnedAt = [];
}
