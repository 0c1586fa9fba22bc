import { createHash } from 'node:crypto';
import { appendFileSync, existsSync, mkdirSync, readdirSync, readFileSync, truncateSync, writeFileSync } from 'node:fs';
import { extname, join } from 'node:path';
import { loadDefaults } from '../config/load.js';
import type { Outcome } from './judge.js';

const VERSION = 1;
const NAME = /^results-\d+-of-\d+\.ndjson$/;

/** First line of a file of results: they count only for the same seed and the same program. */
interface Header {
  v: number;
  seed: number;
  code: string;
}

/** Results cannot be used; the message is one line that says what to do. */
export class ResultsError extends Error {}

/** A folder of results: one file per shard, one line per scenario. A line that was cut off is driven again. */
export class Results {
  readonly folder: string;
  readonly header: Header;

  constructor(folder: string, seed: number, code: string) {
    this.folder = folder;
    this.header = { v: VERSION, seed, code };
    mkdirSync(folder, { recursive: true });
  }

  /** What is there of all shards, each scenario once. Throws ResultsError. */
  read(): Map<string, Outcome> {
    const outcomes = new Map<string, Outcome>();
    for (const name of readdirSync(this.folder)
      .filter((file) => NAME.test(file))
      .sort()) {
      const path = join(this.folder, name);
      const [first = '', ...lines] = wholeLines(readFileSync(path, 'utf8'));
      this.check(path, first);
      for (const line of lines) {
        const outcome = JSON.parse(line) as Outcome;
        outcomes.set(outcome.id, outcome);
      }
    }
    return outcomes;
  }

  /** Where outcomes of a shard are put, one by one. */
  writer(shard: { index: number; of: number }): (outcome: Outcome) => void {
    const path = join(this.folder, `results-${shard.index}-of-${shard.of}.ndjson`);
    if (!existsSync(path)) writeFileSync(path, `${JSON.stringify(this.header)}\n`);
    const text = readFileSync(path);
    const whole = text.lastIndexOf(10) + 1;
    if (whole < text.length) truncateSync(path, whole);
    return (outcome) => appendFileSync(path, `${JSON.stringify(outcome)}\n`);
  }

  private check(path: string, line: string): void {
    const { seed, code } = this.header;
    let found: Partial<Header> = {};
    try {
      found = JSON.parse(line) as Header;
    } catch {
      // Nothing of it is a header: told below.
    }
    if (found.v === VERSION && found.seed === seed && found.code === code) return;
    throw new ResultsError(
      `${path}: made with seed ${found.seed} by program ${found.code}, not ${seed} and ${code}; name another folder with --work`,
    );
  }
}

function wholeLines(text: string): string[] {
  return text
    .slice(0, text.lastIndexOf('\n') + 1)
    .trimEnd()
    .split('\n');
}

/** What results depend on, beside the seed: the program that judges, the simulator, and what is made of both. */
const JUDGED_BY = ['config', 'daemon', 'simulator', 'quality'];
/** Only how results are driven, kept and shown. */
const NOT_JUDGED_BY =
  /daemon.commands|daemon.survey|daemon.cli|quality.(?:goals|poisson|report|results|run|tally|worker)\b/;

/** Eight digits that change when anything changes that could change a result. root: of the sources, or of what was compiled. */
export function codeHash(root: string): string {
  const hash = createHash('sha256').update(JSON.stringify(loadDefaults()));
  const own = extname(import.meta.filename);
  for (const folder of JUDGED_BY)
    for (const name of readdirSync(join(root, folder), { recursive: true, encoding: 'utf8' }).sort()) {
      const path = join(folder, name);
      if (extname(name) === own && !NOT_JUDGED_BY.test(path)) hash.update(path).update(readFileSync(join(root, path)));
    }
  return hash.digest('hex').slice(0, 8);
}
