import { appendFileSync, existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { SEED } from '../../support/seed.js';

/** How often a row of the table of faults is run: in `npm test`, and in `npm run faults`. */
export interface Counts {
  short: number;
  full: number;
}

/** One run of a row. Everything that is left to chance in it comes from `random`. */
export interface Round {
  /** From 0; the same index and base seed give the same round, whatever the shard. */
  index: number;
  /** In [0, 1). */
  random(): number;
  /** A whole number in [0, below). */
  below(below: number): number;
}

/** In the short form a whole row is one test; a machine that does other things takes its time. */
const SHORT_TIMEOUT_MS = 600_000;
const FULL_TIMEOUT_MS = 12 * 3_600_000;

export const isFull = process.env.AXLEPOST_FAULTS === 'full';

/** A small generator (mulberry32). */
export function generator(seed: number): () => number {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let x = Math.imul(a ^ (a >>> 15), a | 1);
    x ^= x + Math.imul(x ^ (x >>> 7), x | 61);
    return ((x ^ (x >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** FNV-1a of the row's name, seed and index, so that no two rounds share their chance. */
function seedOfRound(name: string, seed: number, index: number): number {
  let hash = 0x811c9dc5;
  for (const char of `${name} ${seed} ${index}`) hash = Math.imul(hash ^ char.charCodeAt(0), 0x01000193);
  return hash >>> 0;
}

function shardOf(text: string): { index: number; of: number } {
  const [index = 0, of = 1] = text.split('/').map(Number);
  return { index, of };
}

/**
 * A row of the table: how many rounds, from which seed, which of them here. Read from the environment, which `npm run faults`
 * sets: AXLEPOST_FAULTS=full, AXLEPOST_SEED, AXLEPOST_SHARD=i/n (from 0), AXLEPOST_ROUND (that one alone),
 * AXLEPOST_FAULTS_DONE (a folder that remembers the finished rounds). The short form has the same seed each time, so that a
 * change is judged by what it changes; new chances are `npm run faults`'s.
 */
export class FaultRow {
  readonly name: string;
  readonly count: number;
  readonly seed: number;
  /** For the test that calls `each`. */
  readonly timeoutMs = isFull ? FULL_TIMEOUT_MS : SHORT_TIMEOUT_MS;
  readonly #doneFile: string | null;

  constructor(name: string, { short, full }: Counts) {
    this.name = name;
    this.count = isFull ? full : short;
    this.seed = Number(process.env.AXLEPOST_SEED ?? SEED);
    const folder = process.env.AXLEPOST_FAULTS_DONE;
    if (folder !== undefined) mkdirSync(folder, { recursive: true });
    this.#doneFile = folder === undefined ? null : join(folder, `${name.replace(/\W+/g, '-')}.done`);
    console.log(`${name}: ${this.count} rounds, AXLEPOST_SEED=${this.seed}`);
  }

  /** The rounds that are to be run here and were not finished before. */
  rounds(): Round[] {
    const shard = shardOf(process.env.AXLEPOST_SHARD ?? '0/1');
    const only = process.env.AXLEPOST_ROUND;
    const done = this.#done();
    return Array.from({ length: this.count }, (_, index) => index)
      .filter((index) =>
        only === undefined ? index % shard.of === shard.index && !done.has(index) : index === Number(only),
      )
      .map((index) => this.#round(index));
  }

  /** Runs them one after the other. The first that fails ends it, and says how to see it again. */
  async each(run: (round: Round) => Promise<void> | void): Promise<void> {
    for (const round of this.rounds()) {
      try {
        await run(round);
      } catch (error) {
        console.log(`${this.name}: round ${round.index} failed; again: ${this.again(round)}`);
        throw error;
      }
      if (this.#doneFile !== null) appendFileSync(this.#doneFile, `${round.index}\n`);
    }
  }

  /** The command that runs this round again, at the same commit. */
  again({ index }: Pick<Round, 'index'>): string {
    const form = isFull ? '' : ' --short';
    return `npm run faults -- --row ${this.name.split(':')[0]} --seed ${this.seed} --round ${index}${form}`;
  }

  #done(): Set<number> {
    if (this.#doneFile === null || !existsSync(this.#doneFile)) return new Set();
    // A kill may have cut the last line.
    return new Set(readFileSync(this.#doneFile, 'utf8').split('\n').slice(0, -1).map(Number));
  }

  #round(index: number): Round {
    const random = generator(seedOfRound(this.name, this.seed, index));
    return { index, random, below: (below) => Math.floor(random() * below) };
  }
}
