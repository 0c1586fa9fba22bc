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

type Values = Record<number, number>;

export interface Message {
  acronym: string;
  pgn: number;
  source: number;
  priority: number;
  /** Frames per second of a real bus. */
  hz: number;
  values(truck: SimulatedTruck): Values;
}

const STROKE_FIRST_SPN = 3785;
const NOT_FITTED = 7;
/** While the starter draws the battery down, pressure senders read low. */
const CRANK_DIP = 0.35;
const SUSPENSION_KPA = 560;
const PEDAL_KPA_PER_PERCENT = 8;
const PEDAL_FREE_PERCENT = 4;

function pedalPercent(demandKpa: number): number {
  return demandKpa > 0 ? Math.min(100, PEDAL_FREE_PERCENT + demandKpa / PEDAL_KPA_PER_PERCENT) : 0;
}

function dip(truck: SimulatedTruck): number {
  return truck.vehicle.engine === 'cranking' ? CRANK_DIP : 1;
}

const flag = (on: boolean) => (on ? 1 : 0);

function engine({ vehicle }: SimulatedTruck): Values {
  const torque = Math.round(vehicle.torquePercent);
  return { 899: torque > 9 ? 1 : 0, 512: torque, 513: torque, 190: Math.round(vehicle.rpm * 2) / 2, 1483: ENGINE };
}

function speed({ vehicle }: SimulatedTruck): Values {
  return {
    70: flag(vehicle.parkingBrake),
    84: vehicle.speedKmh,
    595: 0,
    597: flag(vehicle.demandKpa > 0),
    598: 0,
  };
}

function brakeController({ vehicle }: SimulatedTruck): Values {
  const percent = pedalPercent(vehicle.demandKpa);
  return { 561: 0, 562: 0, 563: 0, 1121: flag(percent > 0), 521: percent, 1243: 1, 1439: 0, 1438: 0, 1836: 0, 1792: 0 };
}

function brakes(truck: SimulatedTruck): Values {
  const { vehicle, air } = truck;
  return {
    116: vehicle.brakeKpa * dip(truck),
    117: air.primaryKpa * dip(truck),
    118: air.secondaryKpa * dip(truck),
    619: flag(vehicle.parkingBrake),
    3557: flag(vehicle.parkingBrake),
  };
}

function airSupply(truck: SimulatedTruck): Values {
  const { air } = truck;
  return {
    46: air.supplyKpa * dip(truck),
    1086: air.trailerKpa * dip(truck),
    1087: air.primaryKpa * dip(truck),
    1088: air.secondaryKpa * dip(truck),
    1090: SUSPENSION_KPA,
    1351: flag(air.pumping),
  };
}

function strokes(truck: SimulatedTruck): Values {
  const values: Values = {};
  for (let field = 0; field < 20; field += 1) values[STROKE_FIRST_SPN + field] = NOT_FITTED;
  truck.subjects.wheelEnds.forEach(({ bsaField }, i) => {
    if (bsaField >= 0) values[STROKE_FIRST_SPN + bsaField] = truck.brakes[i]!.stroke;
  });
  return values;
}

function ambient(truck: SimulatedTruck): Values {
  return { 108: truck.outsideKpa, 171: truck.ambientC, 172: truck.ambientC + 6 };
}

function position(truck: SimulatedTruck): Values {
  const [lat, lon] = truck.position;
  return { 584: lat, 585: lon };
}

function distance({ vehicle }: SimulatedTruck): Values {
  return { 917: vehicle.odometerM, 918: vehicle.tripM };
}

/** Everything that is sent again and again, but tires and fault codes. Rates: the standard's. */
export const MESSAGES: readonly Message[] = [
  { acronym: 'EEC1', pgn: 61444, source: ENGINE, priority: 3, hz: 20, values: engine },
  { acronym: 'CCVS1', pgn: 65265, source: ENGINE, priority: 6, hz: 10, values: speed },
  { acronym: 'EBC1', pgn: 61441, source: BRAKES, priority: 6, hz: 10, values: brakeController },
  { acronym: 'B1', pgn: 65274, source: BRAKES, priority: 6, hz: 1, values: brakes },
  { acronym: 'BSA', pgn: 64881, source: BRAKES, priority: 6, hz: 1, values: strokes },
  { acronym: 'AIR1', pgn: 65198, source: PNEUMATIC, priority: 6, hz: 1, values: airSupply },
  { acronym: 'AMB', pgn: 65269, source: ENGINE, priority: 6, hz: 1, values: ambient },
  { acronym: 'VP1', pgn: 65267, source: CLUSTER, priority: 6, hz: 1, values: position },
  { acronym: 'VDHR', pgn: 65217, source: CLUSTER, priority: 6, hz: 1, values: distance },
];

/** Units that send fault codes (DM1), once a second. */
export const DM1_SENDERS: readonly number[] = [ENGINE, BRAKES, PNEUMATIC];

/** What one tire's sensor said last, as TIRE1 tells it: whole degrees; no verdict of the sender's own. */
export function tireValues(truck: SimulatedTruck, index: number): Values {
  const { kpa, celsius } = truck.samples[index]!;
  const { location } = truck.subjects.tires[index]!;
  return { 929: location, 241: kpa, 242: Math.round(celsius), 1699: 1, 1697: 0, 6990: 0 };
}

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
