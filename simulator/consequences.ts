import type { RuleName } from '../config/resolved.js';
import type { Subjects } from '../daemon/truck/subjects.js';
import type { Fault, FaultKind } from './scenario.js';
import type { MayLine } from './truth.js';

/** What of a fault a consequence may be told of: the tire or brake itself, its pair or tires, its mate, something named. */
type On = 'itself' | 'pair' | 'tires' | 'axle' | 'any' | { subject: string };
type Row = readonly [rule: RuleName, on: On];

const SERVICE = { subject: 'air/service' };
const SUPPLY = { subject: 'air/supply' };
const DEFECTIVE: Row = ['brakes-defective-share', { subject: 'brakes' }];
const WRONG_PRESSURE: readonly Row[] = [
  ['tire-underinflated', 'itself'],
  ['tire-losing-air', 'itself'],
  ['duals-unequal', 'pair'],
];
const FILLED: readonly Row[] = [
  ['tire-underinflated', 'itself'],
  ['tire-overinflated', 'itself'],
  ['duals-unequal', 'pair'],
];
const LITTLE_AIR: readonly Row[] = [
  ['air-low', SERVICE],
  ['air-leaking', SUPPLY],
  ['air-leaking', SERVICE],
  ['circuits-unequal', SERVICE],
  ['compressor-overworked', SUPPLY],
  ['air-builds-slowly', SUPPLY],
  ['air-cut-in-low', SUPPLY],
];

/** What may be told of each kind of fault without being wrong, whether or not it must be. */
const ROWS: Record<FaultKind, readonly Row[]> = {
  'tire-leak': [...WRONG_PRESSURE, ['tire-hot', 'itself']],
  'tire-burst': [...WRONG_PRESSURE, ['tire-sensor-silent', 'itself']],
  'sensor-silent': [['tire-sensor-silent', 'itself']],
  'sensor-stuck': WRONG_PRESSURE,
  'sensor-drift': [...WRONG_PRESSURE, ['tire-overinflated', 'itself']],
  'sensor-error': [
    ['tire-sensor-fault', 'itself'],
    ['tire-sensor-silent', 'itself'],
  ],
  'brake-overstroke': [
    ['brake-overstroke', 'itself'],
    ['brake-stroke-uneven', 'axle'],
    ['brake-stroke-growing', 'itself'],
    DEFECTIVE,
  ],
  'brake-dragging': [
    ['brake-dragging', 'itself'],
    ['brake-stroke-uneven', 'axle'],
    ['tire-hot', 'tires'],
    ['tire-overinflated', 'tires'],
    ['duals-unequal', 'pair'],
    DEFECTIVE,
  ],
  'brake-not-applying': [['brake-not-applying', 'itself'], ['brake-stroke-uneven', 'axle'], DEFECTIVE],
  'brake-uneven': [
    ['brake-stroke-uneven', 'axle'],
    ['brake-overstroke', 'itself'],
    ['brake-stroke-growing', 'itself'],
    DEFECTIVE,
  ],
  'brake-growing': [
    ['brake-stroke-growing', 'itself'],
    ['brake-stroke-uneven', 'axle'],
    ['brake-overstroke', 'itself'],
    DEFECTIVE,
  ],
  'brake-sensor': [['brake-sensor-fault', 'itself']],
  'brake-lining': [['brake-lining-low', 'itself'], DEFECTIVE],
  'brake-hot': [['brake-hot', 'any']],
  'air-leak': LITTLE_AIR,
  'circuit-blocked': LITTLE_AIR,
  'compressor-weak': LITTLE_AIR,
  governor: [...LITTLE_AIR, ['air-cut-out-high', SUPPLY]],
  'fault-codes': [
    ['fault-code', 'any'],
    ['stop-lamp', 'any'],
  ],
  'bus-silent': [
    ['bus-silent', 'any'],
    ['source-silent', 'any'],
  ],
  'bus-errors': [['bus-off', 'any']],
  'source-silent': [['source-silent', 'any']],
  'strange-locations': [['layout-mismatch', { subject: 'layout' }]],
  'not-sent': [],
};

/** Alerts of a tire that was filled otherwise than the rest. */
export function allowedByFilling(tire: string): MayLine[] {
  const end = tire.replace(/\/[^/]*$/, '');
  return FILLED.map(([may, on]) => {
    return { may, subject: on === 'pair' ? `${end}/pair` : tire, from: 0, because: 'tire-filled' };
  });
}

/** Alerts that a fault may raise from its begin on. */
export function allowedBy(fault: Fault, subjects: Subjects): MayLine[] {
  const from = 1000 * (fault.kind === 'tire-leak' ? fault.phases[0]!.from : fault.from);
  return ROWS[fault.kind].flatMap(([may, on]) =>
    subjectsOn(fault, on, subjects).map((subject) => ({ may, subject, from, because: fault.kind })),
  );
}

function subjectsOn(fault: Fault, on: On, subjects: Subjects): string[] {
  if (on === 'any') return ['*'];
  if (typeof on === 'object') return [on.subject];
  const itself = 'tire' in fault ? fault.tire : 'wheelEnd' in fault ? fault.wheelEnd : '';
  if (on === 'itself') return [itself];
  const end = 'tire' in fault ? itself.replace(/\/[^/]*$/, '') : itself;
  if (on === 'pair') return [`${end}/pair`];
  if (on === 'axle') return [end.replace(/\/[^/]*$/, '/left'), end.replace(/\/[^/]*$/, '/right')];
  return subjects.tires.filter(({ subject }) => subject.startsWith(`${end}/`)).map(({ subject }) => subject);
}
