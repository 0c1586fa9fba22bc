import type { AxleConfig, UnitConfig } from '../../config/resolved.js';

export type Side = 'left' | 'right';
export type TirePosition = 'single' | 'outer' | 'inner';
/** Tires that run alike and are compared with each other. A single tire that does not steer is no peer of a steer tire. */
export type PeerKind = 'steer' | 'single' | 'outer' | 'inner';

/** What tires, wheel ends and pairs have in common. */
export interface Place {
  /** `U/N/…` as in the subject column of every event; axles from 1 per unit. */
  subject: string;
  /** The subject in words, for people. */
  place: string;
  unit: string;
  /** From 0, front to rear, within the unit. */
  axleIndex: number;
  side: Side;
  /** Target gauge pressure of the axle's tires, kPa, or null where the truck file leaves it out. */
  coldPressureKpa: number | null;
  chamber: AxleConfig['chamber'];
}

export interface Tire extends Place {
  position: TirePosition;
  peers: PeerKind;
  axleKind: AxleConfig['kind'];
  /** Index into wheelEnds. */
  wheelEnd: number;
  /** Index into pairs, −1 for a single tire. */
  pair: number;
  /** The location byte that a sender gives which counts as SPN 929 says; −1 past sixteen axles. */
  location: number;
}

export interface WheelEnd extends Place {
  /** Indexes into tires, left to right. */
  tires: number[];
  /** Which of the twenty 3-bit fields of BSA (SPN 3785 + this) tells of this brake; −1 for none. */
  bsaField: number;
}

export interface Pair extends Place {
  /** Indexes into tires. */
  outer: number;
  inner: number;
  /** Index into wheelEnds. */
  wheelEnd: number;
}

export interface Subjects {
  tires: Tire[];
  wheelEnds: WheelEnd[];
  pairs: Pair[];
}

/** SPN 929 counts axles in one nibble; 0xF says "axle unknown". */
const MAX_LOCATION_AXLES = 15;
/** BSA has five axles per vehicle: the tractor's fields are 0…9, the first trailer's 10…19 (SPN 3785–3804). */
const BSA_AXLES = 5;
const BSA_FIRST: Record<string, number> = { tractor: 0, trailer: 10 };

const SIDES: readonly Side[] = ['left', 'right'];
const DUAL: Record<Side, readonly TirePosition[]> = { left: ['outer', 'inner'], right: ['inner', 'outer'] };
const SINGLE: readonly TirePosition[] = ['single'];

/** Everything that a wheel can be called, front to rear and left to right as seen facing forward. */
export function listSubjects(units: readonly UnitConfig[]): Subjects {
  const all: Subjects = { tires: [], wheelEnds: [], pairs: [] };
  let axleOfCombination = 0;
  for (const unit of units) {
    unit.axles.forEach((axle, axleIndex) => {
      addAxle(all, unit.unit, axle, axleIndex, axleOfCombination);
      axleOfCombination += 1;
    });
  }
  return all;
}

function addAxle(all: Subjects, unit: string, axle: AxleConfig, axleIndex: number, axleOfCombination: number): void {
  let fromLeft = 0;
  const at = (side: Side, last: string | null): Place => {
    const end = `${unit}/${axleIndex + 1}/${side}`;
    const subject = last === null ? end : `${end}/${last}`;
    const { coldPressureKpa, chamber } = axle;
    return { subject, place: placeOf(subject), unit, axleIndex, side, coldPressureKpa, chamber };
  };
  for (const side of SIDES) {
    const wheelEnd = all.wheelEnds.length;
    const pair = axle.tires === 'dual' ? all.pairs.length : -1;
    const indexes: number[] = [];
    for (const position of axle.tires === 'dual' ? DUAL[side] : SINGLE) {
      indexes.push(all.tires.length);
      all.tires.push({
        ...at(side, position),
        position,
        peers: position === 'single' && axle.kind === 'steer' ? 'steer' : position,
        axleKind: axle.kind,
        wheelEnd,
        pair,
        location: axleOfCombination < MAX_LOCATION_AXLES ? axleOfCombination * 16 + fromLeft : -1,
      });
      fromLeft += 1;
    }
    all.wheelEnds.push({ ...at(side, null), tires: indexes, bsaField: bsaField(unit, axleIndex, side) });
    if (pair >= 0) {
      const [first, second] = indexes as [number, number];
      const [outer, inner] = side === 'left' ? [first, second] : [second, first];
      all.pairs.push({ ...at(side, 'pair'), outer, inner, wheelEnd });
    }
  }
}

function bsaField(unit: string, axleIndex: number, side: Side): number {
  const first = BSA_FIRST[unit];
  if (first === undefined || axleIndex >= BSA_AXLES) return -1;
  return first + 2 * axleIndex + (side === 'right' ? 1 : 0);
}

const WHOLE_SUBJECTS: Record<string, string> = {
  'air/service': 'service air',
  'air/supply': 'air supply',
  'air/primary': 'primary air circuit',
  'air/secondary': 'secondary air circuit',
  'air/parking': 'parking and trailer air circuit',
  layout: 'tire layout',
  brakes: 'all brakes',
  trailer: 'trailer',
};

const WHEEL_WORDS: Record<string, string> = {
  single: 'tire',
  outer: 'outer tire',
  inner: 'inner tire',
  pair: 'dual pair',
};

/** Any subject of design.md in words: `tractor/2/left/outer` is "tractor axle 2, left outer tire". Unknown ones stay as they are. */
export function placeOf(subject: string): string {
  const whole = WHOLE_SUBJECTS[subject];
  if (whole !== undefined) return whole;
  const [head, a, b, c, d] = subject.split('/');
  if (a === undefined) return subject;
  switch (head) {
    case 'fault':
      return `bus ${a}, source address ${b}, SPN ${c}, FMI ${d}`;
    case 'lamp':
      return `red stop lamp, bus ${a}`;
    case 'source':
      return `source address ${b}, bus ${a}`;
    case 'bus':
      return `bus ${a}`;
  }
  if (b !== 'left' && b !== 'right') return subject;
  const words = c === undefined ? 'brake' : WHEEL_WORDS[c];
  return words === undefined ? subject : `${head} axle ${a}, ${b} ${words}`;
}
