import { type Cycle, randomScenarioFile, Simulation, scenarioOf, simulateInto } from '../../simulator/index.js';
import { medianOf } from '../../simulator/moment.js';

/*
 * What the simulated truck does, beside what the rules' constants were chosen for: `node dist/tests/bench/physics.js`.
 * Cold-equivalent pressure by each sensor's own temperature against the air that is really in the tire.
 */

const SHIFTS = 6;
/** From here on everything is warm. */
const WARM_S = 3600;
const EVERY_MS = 30_000;
const KELVIN = 273.15;
const REFERENCE_C = 18;

interface Readings {
  steer: number[];
  others: number[];
  hottestC: number[];
}

/** Reads every tire of some shifts as its sensor would without noise, and says by how much Pc is off, in percent. */
function drive(cycle: Cycle, sensor: 'rim' | 'valve' | 'mixed', full: boolean): Readings {
  const all: Readings = { steer: [], others: [], hottestC: [] };
  for (let seed = 1; seed <= SHIFTS; seed += 1) {
    const file = randomScenarioFile(seed, { truck: 'combination', cycle, hours: 2.5 });
    file.sensors = { kind: sensor };
    if (full) file.truck.load = 1;
    const simulation = new Simulation(scenarioOf(file), { thin: true });
    const { truck } = simulation;
    const depotKpa = truck.outsideKpa;
    let hottestC = -99;
    while (simulation.t < simulation.endMs) {
      simulation.advance(simulation.t + EVERY_MS, () => {});
      if (simulation.t < WARM_S * 1000 || truck.vehicle.speedKmh < 20) continue;
      truck.wheels.tires.forEach((tire, i) => {
        const absolute = tire.gaugeKpa(truck.outsideKpa) + truck.outsideKpa;
        const told = (absolute * (REFERENCE_C + KELVIN)) / (tire.sensorC + KELVIN) - depotKpa;
        const off = 100 * (told / tire.coldKpa() - 1);
        (truck.subjects.tires[i]!.peers === 'steer' ? all.steer : all.others).push(off);
        hottestC = Math.max(hottestC, tire.sensorC);
      });
    }
    all.hottestC.push(hottestC);
  }
  return all;
}

const least = (values: readonly number[]): number => values.reduce((a, b) => Math.min(a, b), Number.POSITIVE_INFINITY);
const one = (value: number): string => value.toFixed(1);
const rows: string[][] = [
  ['cycle', 'load', 'sensor', 'Pc steer %', 'Pc others %', 'lowest %', 'hottest °C, median and most'],
];
for (const cycle of ['highway', 'city', 'mountain'] as const)
  for (const full of [false, true])
    for (const sensor of ['rim', 'mixed', 'valve'] as const) {
      const { steer, others, hottestC } = drive(cycle, sensor, full);
      const lowest = Math.min(least(steer), least(others));
      const heat = `${one(medianOf(hottestC))}, ${one(Math.max(...hottestC))}`;
      const words = [one(medianOf(steer)), one(medianOf(others)), one(lowest), heat];
      rows.push([cycle, full ? 'full' : 'drawn', sensor, ...words]);
    }
for (const row of rows) console.log(`| ${row.join(' | ')} |`);

for (const thin of [false, true]) {
  const scenario = scenarioOf(randomScenarioFile(5, { truck: 'combination', cycle: 'mixed', hours: 8 }));
  let frames = 0;
  const sink = {
    frame() {
      frames += 1;
    },
    errorFrame() {},
  };
  const before = process.cpuUsage();
  simulateInto(scenario, sink, { thin });
  const { user, system } = process.cpuUsage(before);
  const seconds = (user + system) / 1e6;
  const times = Math.round(scenario.durationS / seconds);
  console.log(
    `${thin ? 'thin' : 'whole bus'}: ${frames} frames, ${seconds.toFixed(2)} s of CPU for 8 h, ${times} × real time`,
  );
}
