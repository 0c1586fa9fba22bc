import { GroupWriter, putBits } from './encode.js';
import type { SimulatedTruck } from './truck.js';

export const TIRE1 = 65268;
export const TIRE2 = 64578;

interface Told {
  truck: SimulatedTruck;
  place: number;
}

const kpa = ({ truck, place }: Told) => truck.samples[place]!.kpa;
const saysOk = ({ truck, place }: Told) => truck.faults.tires[place]!.says;

/** As TIRE1 tells it: whole degrees; no verdict of the sender's own. */
const tire1 = new GroupWriter<Told>(TIRE1, [
  [929, ({ truck, place }) => truck.subjects.tires[place]!.location],
  [241, (told) => (told.truck.scenario.sensors.message === 'TIRE2' ? Number.NaN : kpa(told))],
  [242, ({ truck, place }) => Math.round(truck.samples[place]!.celsius)],
  [1699, () => 1],
  [1697, (told) => (saysOk(told) === 'electrical' ? 2 : 0)],
  [6990, ({ truck }) => (truck.scenario.sensors.message === 'TIRE2' ? 1 : 0)],
]);
const tire2 = new GroupWriter<Told>(TIRE2, [
  [6987, ({ truck, place }) => truck.subjects.tires[place]!.location],
  [6988, kpa],
  [6989, ({ truck, place }) => truck.wheels.tires[place]!.targetKpa],
]);

const told: Told = { truck: undefined as unknown as SimulatedTruck, place: 0 };
const ERROR_BYTE = 0xfe;
const NOT_AVAILABLE_BYTE = 0xff;

/** What one tire's sensor said last, or what it says instead when it is in trouble. */
export function writeTire(data: Uint8Array, pgn: number, truck: SimulatedTruck, place: number): void {
  told.truck = truck;
  told.place = place;
  (pgn === TIRE1 ? tire1 : tire2).write(data, told, truck.faults.missing);
  const { says } = truck.faults.tires[place]!;
  if (says === null || says === 'electrical' || says === 'impossible') return;
  const last = pgn === TIRE1 ? 3 : 2;
  // Idle senders say 0 kPa at 0 °C (raw 8736), or nothing but their place.
  if (says === 'idle') {
    putBits(data, 8, pgn === TIRE1 ? 8 : 16, 0);
    if (pgn === TIRE1) putBits(data, 16, 16, 8736);
    return;
  }
  for (let byte = 1; byte <= last; byte += 1) data[byte] = says === 'error' ? ERROR_BYTE : NOT_AVAILABLE_BYTE;
}

/** A tire at a place that the truck does not have: plausible, as from the next truck in the yard. */
export function writeStranger(data: Uint8Array, location: number): void {
  data.fill(NOT_AVAILABLE_BYTE);
  data[0] = location;
  putBits(data, 8, 8, 170);
  putBits(data, 16, 16, 9300);
}
