import { existsSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { setPriority } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { copyDatabase } from '../../adapters/archive/database-copy.js';
import { interfaces, versions } from '../../adapters/archive/machine.js';
import { CONFIG, DATABASE, RECORDINGS } from '../../adapters/archive/manifest.js';
import { recordingsSince, type Segment } from '../../adapters/archive/recordings.js';
import { scrubbed, secretAt, withoutSecrets } from '../../adapters/archive/scrub.js';
import { ArchiveWriter } from '../../adapters/archive/writer.js';
import { marksPath } from '../../adapters/host/marks-file.js';
import { loadTruckFile } from '../../config/load.js';
import { formatProblem } from '../../config/problems.js';
import { parseQuantity } from '../../config/quantities.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Console } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { Progress } from './progress.js';
import { DEFAULT_STORE } from './store-defaults.js';
import { VERSION } from './version.js';

export interface PackOptions {
  config: string;
  /** How far back recordings are taken: `12h`, `90 min`, `3 d`. */
  last: string;
  out: string;
}

const HOUR_MS = 3_600_000;
const HEALTH_MS = 2_000;
const MAX_HEALTH_BYTES = 1_000_000;
/** Behind everything that watches the truck. */
const NICE = 10;

/** Puts what a support case needs into one file. Returns the exit code; throws a Failure, and then there is no file. */
export async function packCommand(options: PackOptions, console: Console, nowMs = Date.now()): Promise<number> {
  const hours = hoursOf(options.last);
  const { config, origins, problems } = loadTruckFile(options.config);
  if (config === undefined) throw new Failure(EXIT.usage, problems.map(formatProblem).join('\n'));
  if (existsSync(options.out)) throw new Failure(EXIT.usage, `${options.out} is there already; name another file`);
  if (!existsSync(dirname(options.out))) {
    throw new Failure(EXIT.usage, `${options.out}: there is no folder ${dirname(options.out)}; create it`);
  }
  try {
    setPriority(NICE);
  } catch {
    // Not everywhere allowed, and never needed.
  }
  const packing = new Packing(config, origins.files, options, hours, console, nowMs);
  const stop = (): void => {
    void packing.giveUp().finally(() => process.exit(EXIT.failed));
  };
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, stop);
  try {
    await packing.run();
  } catch (error) {
    throw new Failure(EXIT.failed, `${options.out}: ${lineOf(error)}; nothing is left of it`, error);
  } finally {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.removeListener(signal, stop);
  }
  return EXIT.done;
}

function hoursOf(text: string): number {
  const { value: seconds } = parseQuantity(text, 'duration', { low: 60, high: 3_650 * 86_400 });
  if (seconds !== undefined) return seconds / 3_600;
  throw new Failure(EXIT.usage, `--last ${text}: write for example 12h, 90min or 3d`);
}

class Packing {
  readonly #config: TruckConfig;
  readonly #sources: readonly string[];
  readonly #options: PackOptions;
  readonly #hours: number;
  readonly #console: Console;
  readonly #nowMs: number;
  readonly #progress: Progress;
  readonly #writer: ArchiveWriter;
  /** Lies beside the archive: there is room, and no memory is used up as in a temporary folder it might be. */
  readonly #scratch: string;
  readonly #notes: string[] = [];
  readonly #secrets: string[];
  #bytes = 0;
  #total = 0;

  constructor(
    config: TruckConfig,
    sources: readonly string[],
    options: PackOptions,
    hours: number,
    console: Console,
    nowMs: number,
  ) {
    this.#config = config;
    this.#sources = sources;
    this.#options = options;
    this.#hours = hours;
    this.#console = console;
    this.#nowMs = nowMs;
    const secret = secretAt(config.mqtt?.password ?? null);
    this.#secrets = secret === null ? [] : [secret];
    this.#progress = new Progress(console.err, basename(options.out));
    this.#scratch = mkdtempSync(join(dirname(options.out), '.axlepost-pack-'));
    this.#writer = new ArchiveWriter({
      path: options.out,
      now: new Date(nowMs),
      onBytes: (bytes) => this.#moved(bytes),
    });
  }

  async run(): Promise<void> {
    try {
      const { fleet, truck } = this.#config;
      const segments = await this.#find();
      const database = this.#copyDatabase();
      this.#total = segments.reduce((sum, { bytes }) => sum + bytes, 0) + (database === null ? 0 : sizeOf(database));
      await this.#addFacts();
      if (database !== null) await this.#addDatabase(database);
      for (const segment of segments) await this.#addSegment(segment);
      const made = new Date(this.#nowMs).toISOString();
      const about = { v: 1 as const, fleet, truck, version: VERSION, made, lastHours: this.#hours };
      const entries = await this.#writer.finish({ ...about, notes: this.#notes });
      this.#progress.end();
      this.#say(segments.length, entries.length);
    } catch (error) {
      await this.giveUp();
      throw error;
    }
    rmSync(this.#scratch, { recursive: true, force: true });
  }

  /** Nothing is left behind. */
  async giveUp(): Promise<void> {
    this.#progress.end();
    rmSync(this.#scratch, { recursive: true, force: true });
    await this.#writer.abort();
  }

  async #find(): Promise<Segment[]> {
    const { recorder } = this.#config;
    if (recorder === null) {
      this.#notes.push('recordings: the truck file has no `recorder`');
      return [];
    }
    try {
      const found = await recordingsSince(recorder.path, this.#nowMs - this.#hours * HOUR_MS);
      if (found.length === 0)
        this.#notes.push(`recordings: none of the last ${this.#options.last} in ${recorder.path}`);
      return found;
    } catch (error) {
      this.#notes.push(`recordings: ${recorder.path} cannot be read (${lineOf(error)})`);
      return [];
    }
  }

  /** The copy, or the file as it lies when SQLite cannot read it; null when there is none. */
  #copyDatabase(): string | null {
    const { path } = this.#config.store ?? DEFAULT_STORE;
    if (!existsSync(path)) {
      this.#notes.push(`database: there is no ${path}`);
      return null;
    }
    this.#progress.update(null, 'copying the database');
    const copy = join(this.#scratch, 'copy.db');
    try {
      copyDatabase(path, copy);
      return copy;
    } catch (error) {
      this.#notes.push(`database: copied as it lies, as it cannot be read (${lineOf(error)})`);
      return path;
    }
  }

  async #addDatabase(path: string): Promise<void> {
    await this.#writer.addFile(DATABASE, path);
    // A copy has none. Of a file that lies as it is it holds the newest.
    await this.#writer.addFile(`${DATABASE}-wal`, `${path}-wal`);
  }

  async #addFacts(): Promise<void> {
    const { buses, store } = this.#config;
    await this.#json('versions.json', versions());
    await this.#json('interfaces.json', await interfaces(buses.map((bus) => bus.interface)));
    const health = await this.#health();
    if (health !== null) await this.#text('health.json', health);
    await this.#json(CONFIG, this.#config);
    for (const [index, path] of this.#sources.entries()) {
      const name = basename(path)
        .replace(/[^A-Za-z0-9._-]/g, '_')
        .slice(-80);
      const text = scrubbed(readFileSync(path, 'utf8'), this.#secrets);
      await this.#writer.addText(`config/${index + 1}-${name}`, text);
    }
    const marks = marksPath((store ?? DEFAULT_STORE).path);
    if (existsSync(marks)) await this.#text('marks.json', readFileSync(marks, 'utf8'));
  }

  /** What the running daemon says of itself. */
  async #health(): Promise<string | null> {
    const { health } = this.#config;
    if (health === null) {
      this.#notes.push('health: the truck file has no page (`health: {port: 9471}`)');
      return null;
    }
    try {
      const page = await fetch(`http://127.0.0.1:${health.port}/health`, { signal: AbortSignal.timeout(HEALTH_MS) });
      const text = await page.text();
      if (text.length <= MAX_HEALTH_BYTES) return text;
      this.#notes.push(`health: the page on port ${health.port} is too long`);
    } catch {
      this.#notes.push(`health: nothing answers on port ${health.port}; the daemon does not run`);
    }
    return null;
  }

  async #addSegment({ log, sidecar }: Segment): Promise<void> {
    const name = (path: string): string => `${RECORDINGS}${basename(path)}`;
    // The sidecar first: that of a segment that is still written tells less than there is, never more.
    const has = sidecar === null || (await this.#writer.addFile(name(sidecar), sidecar));
    if (has && (await this.#writer.addFile(name(log), log))) return;
    this.#notes.push(`recordings: ${basename(log)} was the oldest and went while the archive was made`);
  }

  #json(name: string, value: unknown): Promise<void> {
    return this.#text(name, `${JSON.stringify(value, null, 1)}\n`);
  }

  #text(name: string, text: string): Promise<void> {
    return this.#writer.addText(name, withoutSecrets(text, this.#secrets));
  }

  #moved(bytes: number): void {
    this.#bytes += bytes;
    const share = this.#total === 0 ? null : Math.min(1, this.#bytes / this.#total);
    this.#progress.update(share, `${megabytes(this.#bytes)} MB`);
  }

  #say(segments: number, entries: number): void {
    const { out } = this.#options;
    for (const note of this.#notes) this.#console.err.write(`note: ${note}\n`);
    const size = megabytes(sizeOf(out));
    this.#console.out.write(`${out}: ${size} MB, ${segments} recordings, ${entries} files\n`);
  }
}

const sizeOf = (path: string): number => statSync(path).size;
const megabytes = (bytes: number): string => (bytes / 1e6).toFixed(1);
