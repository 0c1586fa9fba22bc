/**
 * `npm run bench:fleet`: thousands of simulated trucks, a real mosquitto, and `axlepost office`, each in processes of their own; what
 * the office does of them, how soon, and at what cost. It prints tables; nothing here is a test. fleet/options.ts has the options.
 */
import { availableParallelism, cpus, loadavg } from 'node:os';
import { type FleetOptions, type Phase, readOptions, USAGE } from './fleet/options.js';
import { OFFICE_FLAGS } from './fleet/programs.js';
import { Setup } from './fleet/setup.js';
import { burst, steady, stored } from './fleet/steady.js';
import { storm } from './fleet/storm.js';
import { title } from './fleet/table.js';

const PHASE: Record<Phase, (options: FleetOptions) => Promise<void>> = {
  steady: (options) =>
    Setup.run(options, { trucks: options.trucks, offices: 1 }, async (setup) => {
      for (const rate of options.rates) await steady(setup, rate);
      await burst(setup);
      await stored(setup);
    }),
  storm: (options) =>
    Setup.run(options, { trucks: options.stormTrucks, offices: 1 }, async (setup) => {
      await storm(setup);
      await stored(setup);
    }),
  shared: (options) =>
    Setup.run(options, { trucks: options.stormTrucks, offices: 2 }, async (setup) => {
      for (const rate of options.rates) await steady(setup, rate);
      await storm(setup);
      await stored(setup);
    }),
};

const NAMES: Record<Phase, string> = {
  steady: 'ONE OFFICE, SQLITE: A DAY GOES ON',
  storm: 'ONE OFFICE, SQLITE: THE BROKER IS KILLED',
  shared: 'TWO OFFICES, POSTGRESQL, SHARED SUBSCRIPTIONS',
};

function options(): FleetOptions {
  try {
    return readOptions(process.argv.slice(2));
  } catch (error) {
    process.stderr.write(`${(error as Error).message}\n${USAGE}\n`);
    process.exit(2);
  }
}

const chosen = options();
const [{ model } = { model: 'unknown' }] = cpus();
process.stdout.write(
  `${new Date().toISOString().slice(0, 16)}, node ${process.version}, ${availableParallelism()} cores of ${model.trim()}, ` +
    `load before ${loadavg()[0]!.toFixed(1)}, seed ${chosen.seed}; office: node ${OFFICE_FLAGS.join(' ')}\n`,
);
for (const phase of chosen.phases) {
  title(NAMES[phase]);
  await PHASE[phase](chosen);
}
process.exit();
