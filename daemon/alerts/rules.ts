import type { RuleName } from '../../config/resolved.js';

export type SubjectKind =
  | 'tire'
  | 'pair'
  | 'wheel-end'
  | 'air/service'
  | 'air/supply'
  | 'layout'
  | 'fault'
  | 'lamp'
  | 'bus';

/** When data of a subject are expected: past their age limit then, an open alert becomes unsure. */
export type Expected = 'moving' | 'engine-running' | 'never';

export interface Rule {
  name: RuleName;
  family: 'tires' | 'brakes' | 'air' | 'faults' | 'bus';
  kind: 'equipment' | 'system';
  subject: SubjectKind;
  expected: Expected;
  /** Low limits raise at ≤ and clear at ≥; high limits the other way round; states are judged by their monitor. */
  limit: 'low' | 'high' | 'state';
  /** Judges that nothing is heard: evidence is held at zero while muted. */
  silence: boolean;
}

const rule = (
  name: RuleName,
  family: Rule['family'],
  kind: Rule['kind'],
  subject: SubjectKind,
  limit: Rule['limit'],
  expected: Expected = 'never',
  silence = false,
): Rule => ({ name, family, kind, subject, limit, expected, silence });

/** The rules that are judged, in the order in which a tick decides them. A rule's monitor is in daemon/monitors. */
export const RULES: readonly Rule[] = [
  rule('tire-underinflated', 'tires', 'equipment', 'tire', 'low', 'moving'),
  rule('tire-losing-air', 'tires', 'equipment', 'tire', 'state', 'moving'),
  rule('tire-hot', 'tires', 'equipment', 'tire', 'high', 'moving'),
  rule('duals-unequal', 'tires', 'equipment', 'pair', 'high', 'moving'),
  rule('tire-sensor-silent', 'tires', 'system', 'tire', 'state', 'never', true),
  rule('tires-off-target', 'tires', 'equipment', 'layout', 'state', 'moving'),
  rule('brake-overstroke', 'brakes', 'equipment', 'wheel-end', 'state', 'engine-running'),
  rule('brake-dragging', 'brakes', 'equipment', 'wheel-end', 'state', 'engine-running'),
  rule('brake-not-applying', 'brakes', 'equipment', 'wheel-end', 'state', 'engine-running'),
  rule('air-low', 'air', 'equipment', 'air/service', 'low', 'engine-running'),
  rule('circuits-unequal', 'air', 'equipment', 'air/service', 'high', 'engine-running'),
  rule('fault-code', 'faults', 'equipment', 'fault', 'state', 'engine-running'),
  rule('stop-lamp', 'faults', 'equipment', 'lamp', 'state', 'engine-running'),
  rule('bus-silent', 'bus', 'system', 'bus', 'state'),
];

export const ruleNamed = (name: RuleName): Rule | undefined => RULES.find((r) => r.name === name);

/** In the order of the rule table, then of the layout (placeOf: index, −1 for what has left it); the rest as it was. */
export function sortByTable<T extends { rule: RuleName }>(list: T[], placeOf: (x: T) => number): void {
  const order = (x: T): number => {
    const i = placeOf(x);
    return RULES.findIndex((r) => r.name === x.rule) * 1e6 + (i < 0 ? 1e6 - 1 : i);
  };
  list.sort((x, y) => order(x) - order(y));
}
