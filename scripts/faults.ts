import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { startVitest } from 'vitest/node';

/*
 * `npm run faults`: every row of the table of faults (tests/faults) in its full count. What was finished is remembered for as
 * long as neither the commit nor the seed changes, so that a run that was broken off goes on where it was.
 */

const ROWS = 'tests/faults';
const ROW_END = '.test.ts';
const USAGE = `npm run faults -- [--row NAME]... [--shard i/n] [--seed N] [--round K] [--short] [--fresh]

  --row NAME   only this row; may be given several times (rows: ${rowNames().join(', ')})
  --shard i/n  every n-th round, from the i-th, counted from 0
  --seed N     instead of that of the run before, or a new one
  --round K    this round alone
  --short      the counts of npm test
  --fresh      forget what was finished`;

function rowNames(): string[] {
  return readdirSync(ROWS)
    .filter((name) => name.endsWith(ROW_END))
    .map((name) => name.slice(0, -ROW_END.length))
    .sort();
}

function options() {
  const { values } = parseArgs({
    options: {
      row: { type: 'string', multiple: true },
      shard: { type: 'string', default: '0/1' },
      seed: { type: 'string' },
      round: { type: 'string' },
      short: { type: 'boolean', default: false },
      fresh: { type: 'boolean', default: false },
    },
  });
  const known = rowNames();
  const unknown = (values.row ?? []).filter((name) => !known.includes(name));
  const shard = /^(\d+)\/(\d+)$/.exec(values.shard);
  if (unknown.length > 0) throw new Error(`--row ${unknown.join(', ')}: no such row`);
  if (shard === null || Number(shard[1]) >= Number(shard[2]))
    throw new Error(`--shard ${values.shard}: i/n with 0 ≤ i < n`);
  for (const name of ['seed', 'round'] as const) {
    if (values[name] !== undefined && !/^\d+$/.test(values[name]))
      throw new Error(`--${name} ${values[name]}: not a number`);
  }
  return { ...values, rows: values.row ?? known };
}

/** Of a run of this commit that was broken off; its seed goes on unless another is asked for. */
function seedIn(folder: string, given: string | undefined): number {
  const file = join(folder, 'seed');
  const before = existsSync(file) ? readFileSync(file, 'utf8').trim() : undefined;
  const seed = Number(given ?? before ?? Math.floor(Math.random() * 2 ** 31));
  mkdirSync(folder, { recursive: true });
  writeFileSync(file, `${seed}\n`);
  return seed;
}

async function main(): Promise<number> {
  const { rows, shard, seed: given, round, short, fresh } = options();
  // Set by the npm script; with changes that are not committed it ends in -dirty.
  const commit = process.env.AXLEPOST_COMMIT || 'unknown';
  const folder = join('dist/faults', `${commit}${short ? '-short' : ''}-${shard.replace('/', '-of-')}`);
  if (fresh) rmSync(folder, { recursive: true, force: true });
  const seed = seedIn(folder, given);
  console.log(`commit ${commit}, seed ${seed}, shard ${shard}${round === undefined ? '' : `, round ${round}`}`);
  Object.assign(process.env, {
    AXLEPOST_FAULTS: short ? 'short' : 'full',
    AXLEPOST_SEED: String(seed),
    AXLEPOST_SHARD: shard,
    ...(round === undefined ? { AXLEPOST_FAULTS_DONE: join(folder, String(seed)) } : { AXLEPOST_ROUND: round }),
  });
  const files = rows.map((row) => join(ROWS, row + ROW_END));
  // One file at a time: rounds start processes and brokers of their own.
  const vitest = await startVitest('test', files, { watch: false, maxWorkers: 1 });
  await vitest.close();
  if (process.exitCode === 1) {
    console.log(`commit ${commit}, seed ${seed}, shard ${shard}: failed; the same command goes on with what is left`);
  }
  return Number(process.exitCode ?? 0);
}

try {
  process.exitCode = await main();
} catch (error) {
  console.error(`${(error as Error).message}\n\n${USAGE}`);
  process.exitCode = 2;
}
