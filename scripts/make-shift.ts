/** Makes demonstration shifts anew: replay-logs/<name>.log.gz and its truth, from simulator/shifts/<name>.yaml. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { parseScenario } from '../simulator/scenario.js';
import { simulateShift } from '../simulator/shift.js';
import { Simulation } from '../simulator/simulation.js';
import { truthText } from '../simulator/truth.js';

const ALL = ['morning-run', 'night-coach', 'quarry-run'];

const root = join(import.meta.dirname, '..', '..');
const named = process.argv.slice(2);
for (const name of named.length > 0 ? named : ALL) {
  const file = join(root, 'simulator', 'shifts', `${name}.yaml`);
  const scenario = parseScenario(readFileSync(file, 'utf8'), file);
  const lines = [...simulateShift(scenario)];
  const packed = gzipSync(`${lines.join('\n')}\n`, { level: 9 });
  const out = join(root, 'replay-logs', name);
  writeFileSync(`${out}.log.gz`, packed);
  const simulation = new Simulation(scenario);
  simulation.advance(simulation.endMs, () => {});
  writeFileSync(`${out}.truth.ndjson`, truthText(simulation.truth()));
  console.error(`${out}.log.gz: ${lines.length} frames, ${packed.length} bytes, seed ${scenario.seed}`);
}
