import type { QuantityName } from '../../config/rule-test-quantities.js';
import type { Place, WheelEnd } from '../truck/subjects.js';

/** Where a quantity goes on the bus: SPN, whose value, and the factor from the inner unit to that of the signal. */
export interface Placed {
  spn: number;
  subject: string;
  quantity: QuantityName;
  factor: number;
}

/** A group that is sent again and again; left out while it has nothing to say. */
export interface TestGroup {
  pgn: number;
  source: number;
  everyMs: number;
  values: Placed[];
}

/** Source addresses as trucks commonly have them (SAE J1939 preferred addresses). */
export const SOURCE = { engine: 0, brakes: 11, air: 48, tires: 51 } as const;

const truck = (spn: number, quantity: QuantityName, factor = 1): Placed => ({
  spn,
  subject: 'truck',
  quantity,
  factor,
});
const air = (spn: number, subject: string): Placed => ({ spn, subject, quantity: 'pressure', factor: 1 });

const FIXED: readonly TestGroup[] = [
  { pgn: 61444, source: SOURCE.engine, everyMs: 100, values: [truck(190, 'engine')] },
  {
    ...{ pgn: 65265, source: SOURCE.engine, everyMs: 100 },
    values: [truck(84, 'speed'), truck(70, 'parkingBrake'), truck(597, 'brakeSwitch')],
  },
  // Shares are 0 to 1 here and percent on the bus.
  { pgn: 61441, source: SOURCE.brakes, everyMs: 100, values: [truck(521, 'pedal', 100)] },
  { pgn: 65269, source: SOURCE.engine, everyMs: 1000, values: [truck(171, 'ambient'), truck(108, 'barometer')] },
  {
    ...{ pgn: 65274, source: SOURCE.brakes, everyMs: 1000 },
    values: [truck(116, 'brakePressure'), air(117, 'air/primary'), air(118, 'air/secondary')],
  },
  {
    ...{ pgn: 65198, source: SOURCE.air, everyMs: 1000 },
    values: [air(46, 'air/supply'), air(1086, 'air/parking'), truck(1351, 'compressor')],
  },
  {
    ...{ pgn: 64964, source: SOURCE.brakes, everyMs: 1000 },
    values: [{ spn: 3839, subject: 'brakes', quantity: 'heatWarning', factor: 1 }],
  },
];

const STROKE_FIRST_SPN = 3785;
const LINING_FIRST_SPN = 1099;
const LINING_FIELDS = 8;
const TRACTOR = 'tractor';

/** The groups of a truck. */
export function groupsOf(wheelEnds: readonly WheelEnd[]): TestGroup[] {
  const strokes = wheelEnds
    .filter(({ bsaField }) => bsaField >= 0)
    .map(({ subject, bsaField }): Placed => {
      return { spn: STROKE_FIRST_SPN + bsaField, subject, quantity: 'strokeStatus', factor: 1 };
    });
  const linings = wheelEnds
    .filter((end) => end.unit === TRACTOR && liningField(end) < LINING_FIELDS)
    .map((end): Placed => {
      return { spn: LINING_FIRST_SPN + liningField(end), subject: end.subject, quantity: 'lining', factor: 100 };
    });
  return [
    ...FIXED,
    { pgn: 64881, source: SOURCE.brakes, everyMs: 1000, values: strokes },
    { pgn: 65196, source: SOURCE.brakes, everyMs: 1000, values: linings },
  ];
}

const liningField = ({ axleIndex, side }: Place): number => 2 * axleIndex + (side === 'right' ? 1 : 0);
