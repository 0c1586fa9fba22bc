import { TireLocations } from '../../config/positions.js';
import type { TruckConfig } from '../../config/resolved.js';
import { listSubjects, type Subjects } from './subjects.js';

export {
  listSubjects,
  type Pair,
  type PeerKind,
  type Place,
  placeOf,
  type Side,
  type Tire,
  type TirePosition,
  type WheelEnd,
} from './subjects.js';

/** The wheels of a truck in layout order: front to rear, left to right. Indexes into the three lists are stable. */
export interface Layout extends Subjects {
  /** Tire index that a location byte means; −1 when the layout has none there. bus: index into the configuration's buses. */
  tireIndexAt(bus: number, source: number, location: number): number;
  /** Index of the wheel end that a BSA field (0…19) tells of; −1 when the layout has none. */
  wheelEndOfBsa: Int8Array;
}

export function buildLayout(config: Pick<TruckConfig, 'units' | 'tirePositions' | 'buses'>): Layout {
  const subjects = listSubjects(config.units);
  const locations = new TireLocations(subjects.tires, config);
  const wheelEndOfBsa = new Int8Array(20).fill(-1);
  subjects.wheelEnds.forEach((end, index) => {
    if (end.bsaField >= 0) wheelEndOfBsa[end.bsaField] = index;
  });
  return {
    ...subjects,
    wheelEndOfBsa,
    tireIndexAt: (bus, source, location) => locations.at(bus, source, location),
  };
}
