import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { Database } from '../../../adapters/store/sqlite.js';
import { awaitedBy } from '../../../daemon/alerts/relations.js';
import { LAYOUT } from '../../support/truck-file.js';

const PROGRAM = fileURLToPath(new URL('truck.mjs', import.meta.url));

/** Rules that fault codes would wait for after each start, up to 20 s. */
const AWAITED = awaitedBy('fault-code');

export interface TruckOptions {
  truck: string;
  folder: string;
  brokerUrl: string;
  /** Stream seconds per second. */
  speed: number;
}

/** The truck's own time: goes on while the program does not run. */
export class Truck {
  readonly options: TruckOptions;
  readonly database: string;
  readonly recordings: string;
  /** From here on the codes are at rest; seconds of wall time after the start, for processes that start from now on. */
  restS = 1e6;
  readonly #realStartMs = Date.now();
  /** A round time: the same codes come at the same seconds after the start. */
  readonly #wallStartMs = Math.ceil(Date.now() / 86_400_000) * 86_400_000;

  constructor(options: TruckOptions) {
    this.options = options;
    mkdirSync(options.folder, { recursive: true });
    this.database = join(options.folder, 'axlepost.db');
    this.recordings = join(options.folder, 'recordings');
  }

  get text(): string {
    const { truck, brokerUrl } = this.options;
    return `${LAYOUT.replace('T-1042', truck)}
mqtt: {url: "${brokerUrl}", confirm: office}
store: {path: ${this.database}}
recorder: {path: ${this.recordings}}
rules:
${AWAITED.map((rule) => `  ${rule}: {enabled: no}\n`).join('')}`;
  }

  /** Seconds of wall time since the start. */
  get atS(): number {
    return ((Date.now() - this.#realStartMs) * this.options.speed) / 1000;
  }

  start(env: NodeJS.ProcessEnv = {}): Process {
    const { speed } = this.options;
    const argument = {
      speed,
      realStartMs: this.#realStartMs,
      wallStartMs: this.#wallStartMs,
      restS: this.restS,
      config: this.text,
      log: process.env.AXLEPOST_FAULTS_LOG,
    };
    return new Process(
      spawn(process.execPath, [PROGRAM, JSON.stringify(argument)], {
        env: { ...process.env, ...env },
        stdio: ['ignore', 'pipe', 'inherit'],
      }),
    );
  }

  /** What the database says now, read beside the program. */
  stored<T>(sql: string): T[] {
    const db = new Database(this.database, { readonly: true, timeout: 5_000 });
    try {
      return db.prepare<[], T>(sql).all();
    } finally {
      db.close();
    }
  }

  get identity(): { store: string; last_seq: number; boot: number } | null {
    if (!existsSync(this.database)) return null;
    try {
      return this.stored<{ store: string; last_seq: number; boot: number }>('SELECT * FROM meta')[0] ?? null;
    } catch {
      // It is just being made.
      return null;
    }
  }
}

export class Process {
  /** From the process's start until it listened, by the wall and of the processor; null: it ended before. */
  readonly ready: Promise<{ wallMs: number; cpuMs: number } | null>;
  readonly #child: ChildProcess;
  readonly #ended: Promise<unknown>;

  constructor(child: ChildProcess) {
    this.#child = child;
    this.#ended = once(child, 'exit');
    const lines = createInterface({ input: child.stdout! });
    this.ready = new Promise((resolve) => {
      lines.on('line', (line) => {
        const [word, wallMs, cpuMs] = line.split(' ');
        if (process.env.AXLEPOST_FAULTS_LOG !== undefined) console.log(line);
        if (word === 'ready') resolve({ wallMs: Number(wallMs), cpuMs: Number(cpuMs) });
      });
      child.once('exit', () => resolve(null));
    });
  }

  get hasEnded(): boolean {
    return this.#child.exitCode !== null || this.#child.signalCode !== null;
  }

  async killed(): Promise<void> {
    this.#child.kill('SIGKILL');
    await this.ended();
  }

  /** As the service manager does it. Gives the exit code. */
  async stopped(): Promise<number | null> {
    this.#child.kill('SIGTERM');
    return this.ended();
  }

  /** Resolves when it has ended by itself; null: by a signal. */
  async ended(): Promise<number | null> {
    await this.#ended;
    return this.#child.exitCode;
  }
}
