import type { WallMs } from '../../daemon/time.js';
import { answerDue, published } from '../core/answer.js';
import { attention } from '../core/attention.js';
import { fold } from '../core/fold.js';
import type { FleetRules, Folded, Incoming, TruckKey, TruckState } from '../core/model.js';

/** Everything that follows for one truck from what came, and from the time that has passed. answer: its revision, when one was made. */
export function step(
  key: TruckKey,
  before: TruckState,
  fresh: readonly Incoming[],
  rules: FleetRules,
  nowMs: WallMs,
): { folded: Folded; answerRev: number | null } {
  let { state, notices } = fresh.length > 0 ? fold(key, before, fresh, rules, nowMs) : { state: before, notices: [] };
  const overdue = attention(key, state, rules, nowMs);
  if (overdue !== null) {
    state = overdue.state;
    notices = [...notices, ...overdue.notices];
  }
  const answer = answerDue(state, nowMs);
  if (answer !== null) state = published(state, answer, nowMs);
  return { folded: { state, notices }, answerRev: answer?.rev ?? null };
}
