import type { RuleName } from '../../config/resolved.js';

export type SubjectKind =
  | 'tire'
  | 'pair'
  | 'wheel-end'
  | 'brakes'
  | 'air/service'
  | 'air/supply'
  | 'layout'
  | 'trailer'
  | 'fault'
  | 'lamp'
  | 'bus'
  | 'source';

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
  rule('tire-overinflated', 'tires', 'equipment', 'tire', 'high', 'moving'),
  rule('tire-hot', 'tires', 'equipment', 'tire', 'high', 'moving'),
  rule('duals-unequal', 'tires', 'equipment', 'pair', 'high', 'moving'),
  rule('tire-sensor-silent', 'tires', 'system', 'tire', 'state', 'never', true),
  rule('tire-sensor-fault', 'tires', 'system', 'tire', 'state', 'moving'),
  rule('layout-mismatch', 'tires', 'system', 'layout', 'state'),
  rule('trailer-not-seen', 'tires', 'system', 'trailer', 'state', 'never', true),
  rule('tires-off-target', 'tires', 'equipment', 'layout', 'state', 'moving'),
  rule('brake-overstroke', 'brakes', 'equipment', 'wheel-end', 'state', 'engine-running'),
  rule('brake-dragging', 'brakes', 'equipment', 'wheel-end', 'state', 'engine-running'),
  rule('brake-not-applying', 'brakes', 'equipment', 'wheel-end', 'state', 'engine-running'),
  rule('brake-stroke-uneven', 'brakes', 'equipment', 'wheel-end', 'high', 'engine-running'),
  rule('brake-stroke-growing', 'brakes', 'equipment', 'wheel-end', 'low', 'engine-running'),
  rule('brake-lining-low', 'brakes', 'equipment', 'wheel-end', 'low'),
  rule('brake-hot', 'brakes', 'equipment', 'brakes', 'state', 'engine-running'),
  rule('brakes-defective-share', 'brakes', 'equipment', 'brakes', 'high'),
  rule('brake-sensor-fault', 'brakes', 'system', 'wheel-end', 'state', 'engine-running'),
  rule('air-low', 'air', 'equipment', 'air/service', 'low', 'engine-running'),
  rule('air-leaking', 'air', 'equipment', 'air/supply', 'state'),
  rule('air-builds-slowly', 'air', 'equipment', 'air/supply', 'state'),
  rule('air-cut-in-low', 'air', 'equipment', 'air/supply', 'low'),
  rule('air-cut-out-high', 'air', 'equipment', 'air/supply', 'high'),
  rule('compressor-overworked', 'air', 'equipment', 'air/supply', 'high'),
  rule('circuits-unequal', 'air', 'equipment', 'air/service', 'high', 'engine-running'),
  rule('fault-code', 'faults', 'equipment', 'fault', 'state', 'engine-running'),
  rule('stop-lamp', 'faults', 'equipment', 'lamp', 'state', 'engine-running'),
  rule('bus-silent', 'bus', 'system', 'bus', 'state'),
  rule('bus-off', 'bus', 'system', 'bus', 'state'),
  rule('source-silent', 'bus', 'system', 'source', 'state', 'never', true),
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
