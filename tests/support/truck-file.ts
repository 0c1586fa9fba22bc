import { readTruckFile } from '../../config/load.js';
import type { TruckConfig } from '../../config/resolved.js';

/** The five-axle combination of config/examples/T-1042.yaml, with the default limits. */
export const LAYOUT = `fleet: northline
truck: T-1042
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {kind: steer, tires: single, coldPressure: 120 psi, chamber: {type: 20, ratedStroke: 2.25 in}}
      - {kind: drive, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
      - {kind: drive, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
  trailer:
    id: TR-77
    axles:
      - {kind: trailer, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
      - {kind: trailer, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
`;

const read = new Map<string, TruckConfig>();

/** A truck file read by the real loader, once; throws with its problems. */
export function truckOf(text: string = LAYOUT): TruckConfig {
  const known = read.get(text);
  if (known !== undefined) return known;
  const { config, problems } = readTruckFile(text, 'truck.yaml');
  if (config === undefined) throw new Error(JSON.stringify(problems));
  read.set(text, config);
  return config;
}
