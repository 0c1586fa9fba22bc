import { listSubjects } from '../daemon/truck/subjects.js';
import { BRAKES, STROKE_MM_PER_BIT, STROKE_PGNS, TIRES } from './messages.js';
import type { Scenario } from './scenario.js';
import { BUS_NAME } from './witness-bus.js';

/** The truck file (YAML) of the truck that a scenario drives: with it the daemon knows what the simulator built. */
export function truckFileOf(scenario: Scenario): string {
  const { truck, sensors, brakes, weather } = scenario;
  const lines = [
    'fleet: northline',
    'truck: T-1042',
    `vehicle: ${truck.vehicle}`,
    `buses: [{name: ${BUS_NAME}, interface: ${scenario.interface}}]`,
    'layout:',
  ];
  for (const unit of truck.units) {
    lines.push(`  ${unit.unit}:`);
    if (unit.id !== null) lines.push(`    id: ${unit.id}`);
    lines.push('    axles:');
    for (const { name, kind, tires, coldPressureKpa, chamber } of unit.axles) {
      const stroke = chamber?.ratedStrokeMm ? `, ratedStroke: ${chamber.ratedStrokeMm} mm` : '';
      const actuator = chamber ? `, chamber: {type: ${chamber.type}${stroke}}` : '';
      const axle = `name: ${name}, kind: ${kind}, tires: ${tires}, coldPressure: ${coldPressureKpa} kPa`;
      lines.push(`      - {${axle}${actuator}}`);
    }
  }
  if (weather.altitudeM !== undefined) lines.push(`depotAltitude: ${weather.altitudeM} m`);
  if (sensors.gauge === 'fixed') lines.push(`gauge: {${BUS_NAME}/${TIRES}: fixed}`);
  if (brakes.measured) lines.push('signals:', ...strokeSignals(scenario));
  return `${lines.join('\n')}\n`;
}

function strokeSignals(scenario: Scenario): string[] {
  return listSubjects(scenario.truck.units).wheelEnds.map(({ subject }, i) => {
    const pgn = `0x${STROKE_PGNS[i >> 3]!.toString(16).toUpperCase()}`;
    const place = `byte: ${(i & 7) + 1}, length: 8, scale: ${STROKE_MM_PER_BIT} mm`;
    return `  - {bus: ${BUS_NAME}, pgn: ${pgn}, source: ${BRAKES}, ${place}, quantity: stroke, subject: ${subject}}`;
  });
}
