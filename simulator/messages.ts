import type { SimulatedTruck } from './truck.js';

/** Source addresses of the units on this bus (SAE J1939 preferred addresses), and the function in their NAME. */
export const UNITS = [
  { source: 0, functionCode: 0 },
  { source: 3, functionCode: 3 },
  { source: 11, functionCode: 9 },
  { source: 23, functionCode: 19 },
  { source: 48, functionCode: 43 },
  { source: 51, functionCode: 37 },
] as const;
export const ENGINE = 0;
export const BRAKES = 11;
export const CLUSTER = 23;
export const PNEUMATIC = 48;
export const TIRES = 51;

type Value = (truck: SimulatedTruck) => number;
type Values = readonly (readonly [spn: number, read: Value])[];

export interface Message {
  acronym: string;
  pgn: number;
  source: number;
  priority: number;
  /** Frames per second of a real bus; for quality runs, where it is only told what rules need; 0: not sent there. */
  hz: number;
  thinHz: number;
  values: Values;
}

const STROKE_FIRST_SPN = 3785;
const STROKE_FIELDS = 20;
const NOT_FITTED = 7;
/** While the starter draws the battery down, pressure senders read low. */
const CRANK_DIP = 0.35;
const SUSPENSION_KPA = 560;
const PEDAL_KPA_PER_PERCENT = 8;
const PEDAL_FREE_PERCENT = 4;
const ENGINE_PULLS_PERCENT = 9;
const NEW_LINING_PERCENT = 80;

function pedalPercent({ vehicle: { demandKpa } }: SimulatedTruck): number {
  return demandKpa > 0 ? Math.min(100, PEDAL_FREE_PERCENT + demandKpa / PEDAL_KPA_PER_PERCENT) : 0;
}

function dip(truck: SimulatedTruck): number {
  return truck.vehicle.engine === 'cranking' ? CRANK_DIP : 1;
}

const flag = (on: boolean) => (on ? 1 : 0);
const torque: Value = ({ vehicle }) => Math.round(vehicle.torquePercent);
const always =
  (value: number): Value =>
  () =>
    value;
const speed: Value = ({ vehicle }) => vehicle.speedKmh;
const parked: Value = ({ vehicle }) => flag(vehicle.parkingBrake);

function stroke(truck: SimulatedTruck, field: number): number {
  const i = truck.subjects.wheelEnds.findIndex(({ bsaField }) => bsaField === field);
  return i >= 0 && truck.wheels.present[i] ? truck.brakes[i]!.stroke : NOT_FITTED;
}

/** Of the four axles that EBC3 and EBC4 know, left and right. */
const byWheelEnd = (first: number, read: (truck: SimulatedTruck, end: number) => number): Values =>
  Array.from({ length: 8 }, (_, i) => [first + i, (truck) => (i < truck.brakes.length ? read(truck, i) : Number.NaN)]);

const EEC1: Values = [
  [899, (truck) => (torque(truck) > ENGINE_PULLS_PERCENT ? 1 : 0)],
  [512, torque],
  [513, torque],
  [190, ({ vehicle }) => Math.round(vehicle.rpm * 2) / 2],
  [1483, always(ENGINE)],
];
const CCVS1: Values = [
  [70, parked],
  [84, speed],
  [595, always(0)],
  [597, ({ vehicle }) => flag(vehicle.demandKpa > 0)],
  [598, always(0)],
];
const EBC1: Values = [
  [561, always(0)],
  [562, always(0)],
  [563, always(0)],
  [1121, (truck) => flag(pedalPercent(truck) > 0)],
  [521, pedalPercent],
  [1243, always(1)],
  [1439, always(0)],
  [1438, always(0)],
  [1836, always(0)],
  [1792, always(0)],
];
const B1: Values = [
  [116, (truck) => truck.vehicle.brakeKpa * dip(truck)],
  [117, (truck) => truck.air.primaryKpa * dip(truck)],
  [118, (truck) => truck.air.secondaryKpa * dip(truck)],
  [619, parked],
  [3557, parked],
];
const AIR1: Values = [
  [46, (truck) => truck.air.supplyKpa * dip(truck)],
  [1086, (truck) => truck.air.trailerKpa * dip(truck)],
  [1087, (truck) => truck.air.primaryKpa * dip(truck)],
  [1088, (truck) => truck.air.secondaryKpa * dip(truck)],
  [1090, always(SUSPENSION_KPA)],
  [1351, (truck) => flag(truck.air.pumping)],
];
const BSA: Values = Array.from({ length: STROKE_FIELDS }, (_, field) => [
  STROKE_FIRST_SPN + field,
  (truck) => stroke(truck, field),
]);
const AMB: Values = [
  [108, (truck) => truck.outsideKpa],
  [171, (truck) => truck.ambientC],
  [172, (truck) => truck.ambientC + 6],
];
const VP1: Values = [
  [584, (truck) => truck.position[0]],
  [585, (truck) => truck.position[1]],
];
const VDHR: Values = [
  [917, ({ vehicle }) => vehicle.odometerM],
  [918, ({ vehicle }) => vehicle.tripM],
];

/** Everything that is sent again and again, but tires and fault codes. Rates: the standard's. */
export const MESSAGES: readonly Message[] = [
  { acronym: 'EEC1', pgn: 61444, source: ENGINE, priority: 3, hz: 20, thinHz: 1, values: EEC1 },
  { acronym: 'CCVS1', pgn: 65265, source: ENGINE, priority: 6, hz: 10, thinHz: 1, values: CCVS1 },
  { acronym: 'EBC1', pgn: 61441, source: BRAKES, priority: 6, hz: 10, thinHz: 1, values: EBC1 },
  { acronym: 'B1', pgn: 65274, source: BRAKES, priority: 6, hz: 1, thinHz: 1, values: B1 },
  { acronym: 'BSA', pgn: 64881, source: BRAKES, priority: 6, hz: 1, thinHz: 1, values: BSA },
  { acronym: 'AIR1', pgn: 65198, source: PNEUMATIC, priority: 6, hz: 1, thinHz: 1, values: AIR1 },
  { acronym: 'AMB', pgn: 65269, source: ENGINE, priority: 6, hz: 1, thinHz: 1, values: AMB },
  { acronym: 'VP1', pgn: 65267, source: CLUSTER, priority: 6, hz: 1, thinHz: 0.1, values: VP1 },
  { acronym: 'VDHR', pgn: 65217, source: CLUSTER, priority: 6, hz: 1, thinHz: 0.1, values: VDHR },
];

const WHEEL_SPEEDS: Values = [1592, 1593, 1594, 1595].map((spn) => [spn, speed]);

/** What some trucks send as well (`also` in the scenario). Lining comes on request only: here somebody asks each minute. */
export const MORE_MESSAGES: readonly Message[] = [
  { acronym: 'HRW', pgn: 65134, source: BRAKES, priority: 2, hz: 50, thinHz: 1, values: WHEEL_SPEEDS },
  { acronym: 'TCO1', pgn: 65132, source: CLUSTER, priority: 3, hz: 20, thinHz: 1, values: [[1624, speed]] },
  {
    ...{ acronym: 'EBC3', pgn: 65197, source: BRAKES, priority: 6, hz: 10, thinHz: 1 },
    values: byWheelEnd(1091, ({ vehicle }) => vehicle.brakeKpa),
  },
  {
    ...{ acronym: 'EBC4', pgn: 65196, source: BRAKES, priority: 7, hz: 1 / 60, thinHz: 1 / 60 },
    values: byWheelEnd(1099, ({ faults }, end) => faults.wheelEnds[end]!.lining ?? NEW_LINING_PERCENT),
  },
  {
    ...{ acronym: 'EBC5', pgn: 64964, source: BRAKES, priority: 6, hz: 10, thinHz: 1 },
    values: [[3839, ({ faults }) => flag(faults.brakeHot)]],
  },
  {
    ...{ acronym: 'B2', pgn: 61712, source: BRAKES, priority: 2, hz: 1, thinHz: 1 },
    values: [[8484, ({ vehicle }) => vehicle.demandKpa]],
  },
];

/** Units that send fault codes (DM1), once a second. */
export const DM1_SENDERS: readonly number[] = [ENGINE, BRAKES, PNEUMATIC];

/** Measured stroke has no standard message: 0.5 mm a bit, one byte a wheel end, eight to a group. */
export const STROKE_PGNS: readonly number[] = [0xff21, 0xff22];
export const STROKE_MM_PER_BIT = 0.5;

/**
 * Frames that nobody here looks at, as on any bus: payloads by PGN, once a second. Layouts from memory, not judged:
 * engine temperature 1 (byte 1 coolant, °C + 40), vehicle electrical power 1 (bytes 5–6 battery, 0.05 V).
 */
export const BACKGROUND: readonly { pgn: number; source: number; data(truck: SimulatedTruck): number[] }[] = [
  { pgn: 65262, source: ENGINE, data: (truck) => [40 + coolant(truck), 255, 255, 255, 255, 255, 255, 255] },
  { pgn: 65271, source: ENGINE, data: (truck) => [255, 255, 255, 255, volts(truck) * 20, 0, 255, 255] },
];

function coolant({ vehicle, ambientC, t }: SimulatedTruck): number {
  return Math.round(vehicle.engine === 'off' ? Math.max(ambientC, 20) : Math.min(86, ambientC + t / 9000));
}

function volts({ vehicle }: SimulatedTruck): number {
  if (vehicle.engine === 'cranking') return 9;
  return vehicle.engine === 'off' ? 12.3 : 12.7;
}
