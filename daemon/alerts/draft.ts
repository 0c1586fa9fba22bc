import type { RuleName } from '../../config/resolved.js';
import type { StreamMs } from '../time.js';
import { adviceFor } from './advice.js';
import type { AlertState } from './alert.js';
import { isSnoozed } from './decisions.js';
import type { Change, EventDraft, OpenAlert } from './event.js';
import { type Judgement, levelOf, type Subject, urgencyOf } from './judgement.js';
import { ruleNamed } from './rules.js';

export const kindOf = (rule: RuleName): EventDraft['kind'] => ruleNamed(rule)?.kind ?? 'equipment';

/** What the alert itself says in an event. j, s: null where its rule or subject is no longer judged. */
export function draftOf(
  a: AlertState,
  j: Judgement | null,
  s: Subject | null,
  t: StreamMs,
  change: Change,
): Omit<EventDraft, 'cause' | 'was' | 'reason' | 'trailer' | 'vehicle'> {
  const ended = change === 'cleared' || change === 'closed';
  const urgency = urgencyOf(ended ? a.worst : a.level);
  const known = j !== null && s !== null;
  const description = known ? j.describe(s, t, a.level) : { measured: null };
  return {
    t,
    alert: a.ordinal,
    rule: a.rule,
    kind: kindOf(a.rule),
    subject: a.subject,
    place: a.place,
    change,
    urgency,
    sinceAgoMs: t - a.raisedAt,
    measured: description.measured,
    evidence: description.evidence ?? null,
    forecast: description.forecast ?? null,
    advice: adviceFor(a.rule, change, urgency),
    basis: known ? j.basis(s, levelOf(urgency)) : 'common practice',
  };
}

/** The alert as the list of what is open has it. */
export function openAlertOf(
  a: AlertState,
  j: Judgement | null,
  s: Subject | null,
  t: StreamMs,
  cause: number | null,
): OpenAlert {
  return {
    alert: a.ordinal,
    cause,
    rule: a.rule,
    kind: kindOf(a.rule),
    subject: a.subject,
    place: a.place,
    urgency: urgencyOf(a.level),
    unsure: a.unsure,
    chattering: a.chatter.on,
    sinceAgoMs: t - a.raisedAt,
    measured: j !== null && s !== null ? j.describe(s, t, a.level).measured : null,
    taken: a.takenBy === '' ? null : { who: a.takenBy, agoMs: t - a.takenAt },
    snoozed: isSnoozed(a) ? { who: a.snoozedBy, leftS: Math.ceil((a.snoozeEndsAt - t) / 1000) } : null,
  };
}
