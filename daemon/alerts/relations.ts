import type { RuleName } from '../../config/resolved.js';
import type { FaultArea } from '../j1939/dm1.js';
import type { Level } from './judgement.js';

/** How a cause's subject and the other subject must belong together. */
export type Scope = 'any' | 'same' | 'same-wheel-end' | 'same-bus' | 'only-source';

export interface MuteRow {
  when: RuleName | 'cranking';
  /** The cause holds at this level or worse. */
  least: Level;
  mutes: RuleName;
  scope: Scope;
  /** Mutes only findings up to this level. */
  upTo: Level;
}

const row = (when: MuteRow['when'], least: Level, mutes: RuleName, scope: Scope = 'any', upTo: Level = 3): MuteRow => ({
  when,
  least,
  mutes,
  scope,
  upTo,
});

const AIR_RULES: readonly RuleName[] = [
  'air-low',
  'air-leaking',
  'air-builds-slowly',
  'air-cut-in-low',
  'air-cut-out-high',
  'compressor-overworked',
  'circuits-unequal',
];

/** What mutes what. Muting withholds `raised` and `worse`; it is worked out at each tick from what holds then. */
export const MUTES: readonly MuteRow[] = [
  row('bus-silent', 1, 'tire-sensor-silent'),
  row('bus-silent', 1, 'tire-sensor-fault'),
  row('bus-silent', 1, 'brake-sensor-fault'),
  row('bus-silent', 1, 'source-silent'),
  row('bus-silent', 1, 'trailer-not-seen'),
  row('source-silent', 1, 'tire-sensor-silent', 'only-source'),
  row('tire-losing-air', 2, 'duals-unequal', 'same-wheel-end'),
  row('tire-losing-air', 2, 'tire-underinflated', 'same', 1),
  row('air-low', 1, 'circuits-unequal'),
  row('air-low', 1, 'air-leaking'),
  row('air-low', 1, 'compressor-overworked'),
  ...AIR_RULES.map((rule) => row('cranking', 1, rule)),
];

export interface CauseRow {
  cause: RuleName;
  of: RuleName;
  scope: Scope;
}

/** What explains what, apart from fault codes. */
export const CAUSES: readonly CauseRow[] = [
  { cause: 'air-low', of: 'circuits-unequal', scope: 'any' },
  // A compressor works for what leaks, and fills the tanks with what is left.
  { cause: 'air-leaking', of: 'compressor-overworked', scope: 'any' },
  { cause: 'air-leaking', of: 'air-builds-slowly', scope: 'any' },
  { cause: 'tire-losing-air', of: 'duals-unequal', scope: 'same-wheel-end' },
  { cause: 'tire-sensor-fault', of: 'tire-sensor-silent', scope: 'same' },
  { cause: 'bus-off', of: 'bus-silent', scope: 'same' },
  { cause: 'bus-off', of: 'source-silent', scope: 'same-bus' },
  // The wheels that are counted.
  { cause: 'brakes-defective-share', of: 'brake-overstroke', scope: 'any' },
  { cause: 'brakes-defective-share', of: 'brake-dragging', scope: 'any' },
  { cause: 'brakes-defective-share', of: 'brake-not-applying', scope: 'any' },
  { cause: 'brakes-defective-share', of: 'brake-lining-low', scope: 'any' },
];

/** Rules that judge the same as a fault code of the area: an open alert of one of them explains the code. */
export const FAULT_CAUSES: Partial<Record<FaultArea, readonly RuleName[]>> = {
  'tire-pressure': ['tire-losing-air', 'tire-underinflated'],
  'tire-temperature': ['tire-hot'],
  'tire-leak': ['tire-losing-air'],
  'tire-sensor': ['tire-sensor-fault', 'tire-sensor-silent'],
  'brake-stroke': ['brake-overstroke', 'brake-dragging', 'brake-not-applying', 'brake-sensor-fault'],
  'brake-lining': ['brake-lining-low'],
  'brake-temperature': ['brake-hot'],
  'air-pressure': ['air-low', 'circuits-unequal'],
};

const busOf = (subject: string): string | undefined => subject.split('/')[1];
const wheelEndOf = (subject: string): string => subject.slice(0, subject.lastIndexOf('/'));

export function related(scope: Scope, cause: string, subject: string): boolean {
  if (scope === 'any') return true;
  if (scope === 'same' || scope === 'only-source') return cause === subject;
  if (scope === 'same-bus') return busOf(cause) === busOf(subject);
  return wheelEndOf(cause) === wheelEndOf(subject);
}

/** Rules whose judgement must be awaited after a start before this one may speak. */
export function awaitedBy(rule: RuleName): RuleName[] {
  const from = new Set<RuleName>();
  for (const m of MUTES) if (m.mutes === rule && m.when !== 'cranking') from.add(m.when);
  for (const c of CAUSES) if (c.of === rule) from.add(c.cause);
  if (rule === 'fault-code' || rule === 'stop-lamp') {
    for (const rules of Object.values(FAULT_CAUSES)) for (const r of rules) from.add(r);
  }
  return [...from];
}
