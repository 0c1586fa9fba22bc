import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';
import {
  type Climate,
  type Cycle,
  type FaultName,
  parseScenario,
  randomScenario,
  type Scenario,
  type TruckName,
} from '../../simulator/index.js';

/** One truck of the demonstration: what is wrong with it, and how much of its shift is over when the board opens. */
export interface DemoShift {
  truck: string;
  pastS: number;
  scenario: Scenario;
}

interface Row {
  truck: string;
  past: number;
  seed: number;
  form?: TruckName;
  faults?: readonly FaultName[];
  climate?: Climate;
  cycle?: Cycle;
  hours?: number;
}

const MINUTE_S = 60;
/** The demonstration shift: brake and tire are told already, and two minutes and a half later the tire becomes urgent. */
const MORNING = { truck: 'T-1042', past: 78, file: 'simulator/shifts/morning-run.yaml' };
/** Minutes of past; seeds are chosen for nothing but that the fault has been found by then. */
const ROWS: readonly Row[] = [
  {
    truck: 'T-1054',
    past: 85,
    seed: 22,
    form: 'combination',
    faults: ['tire-low', 'duals-apart', 'sensor-dead', 'code-amber', 'brake-sensor', 'sensor-impossible'],
    climate: 'cold',
  },
  { truck: 'T-1050', past: 75, seed: 11, form: 'combination', faults: ['tire-burst'], climate: 'mild' },
  { truck: 'T-1051', past: 70, seed: 12, form: 'combination', faults: ['brake-overstroke'], climate: 'mild' },
  { truck: 'T-1052', past: 65, seed: 13, form: 'straight', faults: ['tire-leak-steady'], climate: 'warm' },
  { truck: 'T-1053', past: 80, seed: 14, form: 'combination', faults: ['sensor-dead'], climate: 'mild' },
  { truck: 'T-1055', past: 75, seed: 15, form: 'combination', faults: ['brake-dragging'], climate: 'warm' },
  { truck: 'T-1056', past: 45, seed: 16, form: 'combination', cycle: 'highway', climate: 'mild' },
  { truck: 'T-1057', past: 75, seed: 17, form: 'straight', cycle: 'city', climate: 'mild', hours: 1 },
  { truck: 'T-1058', past: 30, seed: 18, form: 'combination', cycle: 'highway', climate: 'cold' },
  { truck: 'T-1059', past: 60, seed: 19, form: 'straight', faults: ['tire-very-low'], climate: 'mild' },
  { truck: 'T-1060', past: 50, seed: 20, form: 'combination', cycle: 'mountain', climate: 'mild' },
  { truck: 'B-31', past: 70, seed: 21, form: 'bus', faults: ['brake-lining-low'], climate: 'mild' },
];

/** The demonstration shift and a dozen other trucks of fleet northline. */
export function demoFleet(): DemoShift[] {
  const file = join(packageRoot(), MORNING.file);
  return [
    { truck: MORNING.truck, pastS: MORNING.past * MINUTE_S, scenario: parseScenario(readFileSync(file, 'utf8'), file) },
    ...ROWS.map(({ truck, past, seed, form, faults, climate, cycle, hours }) => ({
      truck,
      pastS: past * MINUTE_S,
      scenario: randomScenario(seed, {
        ...(form !== undefined && { truck: form }),
        ...(faults !== undefined && { faults }),
        ...(climate !== undefined && { climate }),
        ...(cycle !== undefined && { cycle }),
        ...(hours !== undefined && { hours }),
      }),
    })),
  ];
}
