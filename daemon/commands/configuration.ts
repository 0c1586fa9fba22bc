import type { Logger } from 'pino';
import { MarksFile, marksPath } from '../../adapters/host/marks-file.js';
import { loadTruckFile } from '../../config/load.js';
import { withMarks } from '../../config/marks.js';
import { formatProblem } from '../../config/problems.js';
import type { Mark, TruckConfig } from '../../config/resolved.js';
import type { WallMs } from '../time.js';
import type { Out } from './console.js';
import { DEFAULT_STORE } from './store-defaults.js';
import { readTruck } from './truck-file.js';

/** Sections that only a start can change, as they are what the program has open. */
const AT_START = ['fleet', 'truck', 'store', 'recorder', 'health', 'clock'] as const;

/** The configuration of a live run: the truck file with what it builds on, and the marks of bad sensors beside the store. */
export class Configuration {
  readonly #path: string;
  readonly #log: Logger;
  readonly #marksFile: MarksFile;
  /** Of the truck file alone, as it is in force. */
  #truck: TruckConfig;
  #marks: Mark[] = [];
  #inForce: TruckConfig;

  /** Throws a Failure, one line per problem, for a truck file that cannot be used. */
  constructor(path: string, err: Out, log: Logger) {
    this.#path = path;
    this.#log = log;
    this.#truck = readTruck(path, err);
    this.#marksFile = new MarksFile(marksPath((this.#truck.store ?? DEFAULT_STORE).path));
    this.#readMarks();
    this.#inForce = withMarks(this.#truck, this.#marks);
  }

  /** As last given out. */
  get inForce(): TruckConfig {
    return this.#inForce;
  }

  /** Reads the truck file anew. null: it cannot be used, which is said in the log, and the one in force stays. */
  reread(nowMs: WallMs | null): TruckConfig | null {
    const { config, problems, notes } = loadTruckFile(this.#path);
    if (config === undefined) {
      for (const problem of problems) this.#log.error(formatProblem(problem));
      this.#log.error(`${this.#path}: the configuration in force stays; mend the file and reload again`);
      return null;
    }
    for (const note of notes) this.#log.warn(formatProblem({ ...note, text: `note: ${note.text}` }));
    const changed = AT_START.filter((name) => JSON.stringify(config[name]) !== JSON.stringify(this.#truck[name]));
    if (changed.length > 0)
      this.#log.warn(`${changed.join(', ')}: changed in ${this.#path}, and changes at the next start`);
    const kept = Object.fromEntries(AT_START.map((name) => [name, this.#truck[name]]));
    this.#truck = { ...config, ...kept };
    this.#readMarks();
    return this.#give(nowMs);
  }

  /** Looks at the marks. null: nothing has changed. A mark past its end is none any more, once the clock is known. */
  lookAtMarks(nowMs: WallMs | null): TruckConfig | null {
    if (this.#marksFile.changed()) this.#readMarks();
    const before = this.#inForce.marks;
    return JSON.stringify(before) === JSON.stringify(this.#lasting(nowMs)) ? null : this.#give(nowMs);
  }

  #give(nowMs: WallMs | null): TruckConfig {
    this.#inForce = withMarks(this.#truck, this.#lasting(nowMs));
    return this.#inForce;
  }

  #lasting(nowMs: WallMs | null): Mark[] {
    return nowMs === null ? this.#marks : this.#marks.filter(({ untilMs }) => untilMs > nowMs);
  }

  #readMarks(): void {
    const read = this.#marksFile.read();
    if (read === null) this.#marks = [];
    else if (read.problem === undefined) this.#marks = read.marks;
    else this.#log.error(`${read.problem}; the marks in force stay`);
  }
}
