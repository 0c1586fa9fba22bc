import type { RuleName } from '../../config/resolved.js';
import type { FaultArea } from '../j1939/dm1.js';
import type { AlertState } from './alert.js';
import { CAUSES, FAULT_CAUSES, related } from './relations.js';
import type { Rule } from './rules.js';

/** Area of a fault-code subject; null for others. */
export type FaultAreaOf = (subject: string) => FaultArea | null;

/** Ordinal of the open alert that explains a finding of the rule on the subject; null: none does. */
export function causeOf(
  alerts: Readonly<Record<string, AlertState>>,
  rule: Rule,
  subject: string,
  areaOf: FaultAreaOf,
): number | null {
  for (const row of CAUSES) {
    if (row.of !== rule.name) continue;
    const found = worstOpen(alerts, row.cause, (other) => related(row.scope, other, subject));
    if (found !== null) return found;
  }
  if (rule.family !== 'faults') return null;
  const area = areaOf(subject);
  for (const name of (area !== null && FAULT_CAUSES[area]) || []) {
    const found = worstOpen(alerts, name, () => true);
    if (found !== null) return found;
  }
  return null;
}

function worstOpen(
  alerts: Readonly<Record<string, AlertState>>,
  rule: RuleName,
  belongs: (subject: string) => boolean,
): number | null {
  let found: AlertState | null = null;
  for (const a of Object.values(alerts)) {
    if (a.rule !== rule || !a.open || !belongs(a.subject)) continue;
    if (found === null || a.level > found.level || (a.level === found.level && a.ordinal < found.ordinal)) found = a;
  }
  return found?.ordinal ?? null;
}
