import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { createInterface } from 'node:readline';
import { Database } from '../../../adapters/store/sqlite.js';
import type { BusCounts } from '../../../daemon/commands/bus-watch.js';
import type { Health } from '../../../daemon/commands/health.js';
import { run, type Scene, until } from './scene.js';

const CLI = 'dist/axlepost.js';

/** A line of the log, or text that is none. */
export interface Line {
  msg: string;
  level?: number;
  [key: string]: unknown;
}

/** What two runs over the same traffic have in common. */
export interface Told {
  t: number;
  rule: string;
  subject: string;
  change: string;
  urgency: string;
}

/** The real program, `axlepost run`, as a process. */
export class Axlepost {
  readonly lines: Line[] = [];
  readonly #child: ChildProcess;
  readonly #ended: Promise<number | null>;

  constructor(scene: Scene, config: string) {
    this.#child = spawn(process.execPath, [CLI, 'run', '--config', config], { stdio: ['ignore', 'ignore', 'pipe'] });
    this.#ended = once(this.#child, 'close').then(([code]) => code as number | null);
    createInterface(this.#child.stderr!).on('line', (line) => this.lines.push(lineOf(line)));
    scene.atEnd(() => this.kill());
  }

  get pid(): number {
    return this.#child.pid!;
  }

  /** Waits for a line, from the line `from` on. Rejects when the program ends before. */
  said(words: string | RegExp, from = 0): Promise<Line> {
    const is = ({ msg }: Line): boolean => (typeof words === 'string' ? msg === words : words.test(msg));
    return this.#until(() => this.lines.slice(from).find(is), String(words));
  }

  /** Every bus is open. */
  async listens(buses: number): Promise<void> {
    await this.#until(() => this.lines.filter(({ msg }) => msg === 'bus open').length >= buses, 'bus open');
  }

  #until<T>(look: () => T | undefined | false, what: string): Promise<T> {
    return until(() => {
      const found = look();
      if (!found && this.#child.exitCode !== null) {
        throw new Error(`it ended before it said ${what}:\n${this.lines.map(({ msg }) => msg).join('\n')}`);
      }
      return found;
    });
  }

  /** Ends it as a service manager does; its exit code. */
  stop(): Promise<number | null> {
    this.#child.kill('SIGTERM');
    return this.#ended;
  }

  /** As when the power goes. */
  kill(): Promise<number | null> {
    this.#child.kill('SIGKILL');
    return this.#ended;
  }

  /** How it ended by itself. */
  get ended(): Promise<number | null> {
    return this.#ended;
  }
}

function lineOf(line: string): Line {
  try {
    return JSON.parse(line) as Line;
  } catch {
    return { msg: line };
  }
}

/** Events of a database, all runs, with the wall time of each run's stream time 0. */
export function storedEvents(path: string): { told: Told[]; zeroWallMs: number[]; lastSeq: number; store: string } {
  const database = new Database(path, { readonly: true });
  try {
    const told = database.prepare('SELECT t, rule, subject, change, urgency FROM events ORDER BY seq').all() as Told[];
    const runs = database.prepare('SELECT zero_wall_ms AS zero FROM runs ORDER BY boot').all() as { zero: number }[];
    const meta = database.prepare('SELECT last_seq, store FROM meta').get() as { last_seq: number; store: string };
    return { told, zeroWallMs: runs.map(({ zero }) => zero), lastSeq: meta.last_seq, store: meta.store };
  } finally {
    database.close();
  }
}

/** Events of a replay, in canonical form. */
export async function replay(config: string, logs: string[], ...more: string[]): Promise<Told[]> {
  const words = [CLI, 'replay', ...logs, '--config', config, '--events', '-', '--format', 'canonical', ...more];
  const out = await run(process.execPath, ...words);
  return out
    .split('\n')
    .filter((line) => line !== '')
    .map((line) => {
      const { at, rule, subject, change, urgency } = JSON.parse(line) as Told & { at: number };
      return { t: at, rule, subject, change, urgency };
    });
}

export async function healthOf(
  port: number,
): Promise<Omit<Health, 'buses'> & { buses: (Health['buses'][number] & BusCounts)[] }> {
  const response = await fetch(`http://127.0.0.1:${port}/health`);
  return (await response.json()) as Awaited<ReturnType<typeof healthOf>>;
}
