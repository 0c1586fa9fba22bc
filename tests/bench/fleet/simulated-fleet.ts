import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { setTimeout as pause } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import {
  type BoardReport,
  type BoardTask,
  type Change,
  type Commit,
  FLEET,
  type Shown,
  type TrucksCounts,
  type TrucksOrder,
  type TrucksReport,
  type TrucksTask,
} from './messages.js';
import { onCore, PROXY, type Running } from './programs.js';

/** So many in one process: its event loop must not be what is measured. */
const TRUCKS_OF_PROCESS = 5_000;
const LOOK_MS = 20;

export type ListedTruck = Extract<TrucksReport, { report: 'list' }>['trucks'][number];

/** The other ends: processes of trucks, and the readers of the board. Gathers what they report. */
export class SimulatedFleet {
  readonly processes: Running[] = [];
  /** What trucks committed and what the board showed, since the last `forget`. */
  committed: Commit[] = [];
  seen: Change[] = [];
  /** What the board showed of each alert at that moment. */
  readonly before = new Map<string, Shown>();
  ups = new Map<string, number>();
  board = { messages: 0, bytes: 0, delayP99Ms: 0, broken: 0 };
  readonly #counts: (TrucksCounts | null)[] = [];
  #orders = 0;
  #isReading = false;
  #list: ListedTruck[] = [];
  readonly #trucks: ChildProcess[] = [];
  #failure: string | null = null;
  /** Largest delay of the trucks' and readers' event loops since the last `forget`. */
  delayMs = 0;

  startTrucks(count: number, port: number, seed: number): void {
    for (let first = 1; first <= count; first += TRUCKS_OF_PROCESS) {
      const task: TrucksTask = {
        port,
        fleet: FLEET,
        first,
        count: Math.min(TRUCKS_OF_PROCESS, count + 1 - first),
        seed,
      };
      const index = this.#counts.push(null) - 1;
      const child = this.#fork('./trucks.js', task, `trucks from ${first}`);
      this.#trucks.push(child);
      child.on('message', (report: TrucksReport) => this.#trucksReport(index, report));
    }
  }

  /** Resolves when the first reader has the whole board. */
  async startBoard(port: number, readers: number): Promise<void> {
    const headers = { 'x-axlepost-proxy': PROXY.secret };
    const task: BoardTask = { url: `http://127.0.0.1:${port}`, headers, userHeader: PROXY.userHeader, readers };
    const child = this.#fork('./board.js', task, 'readers');
    child.on('message', (report: BoardReport) => {
      if (report.report === 'reading') this.#isReading = true;
      else if (report.report === 'changes') this.seen.push(...report.changes);
      else {
        this.board = report.counts;
        this.delayMs = Math.max(this.delayMs, report.counts.delayP99Ms);
      }
    });
    await this.until('the board is read', 60, () => this.#isReading);
  }

  order(order: TrucksOrder): void {
    this.#orders++;
    for (const child of this.#trucks) child.send(order);
  }

  /** Of all trucks together, as last reported. */
  get counts(): TrucksCounts {
    const sum = { trucks: 0, connected: 0, waiting: 0, trucksWaiting: 0, committed: 0, unconnected: 0 };
    const all = { ...sum, orders: 0, events: 0, repeated: 0, others: 0, connects: 0, delayP99Ms: 0 };
    for (const counts of this.#counts) {
      for (const key of Object.keys(all) as (keyof TrucksCounts)[]) all[key] += counts?.[key] ?? 0;
    }
    return all;
  }

  /** Resolves with the seconds it took. Rejects when it takes longer than so many, or a process has ended. */
  async until(what: string, mostS: number, isSo: () => boolean): Promise<number> {
    const startMs = performance.now();
    for (;;) {
      if (this.#failure !== null) throw new Error(this.#failure);
      const seconds = (performance.now() - startMs) / 1000;
      if (isSo()) return seconds;
      if (seconds > mostS) throw new Error(`not within ${mostS} s: ${what}; ${JSON.stringify(this.counts)}`);
      await pause(LOOK_MS);
    }
  }

  /** Counted after the last order was obeyed. */
  async fresh(): Promise<TrucksCounts> {
    this.#counts.fill(null);
    await this.until('all trucks report', 60, () => this.#counts.every((counts) => counts?.orders === this.#orders));
    return this.counts;
  }

  async list(): Promise<ListedTruck[]> {
    this.#list = [];
    const { trucks } = await this.fresh();
    this.order({ order: 'list' });
    await this.until('all trucks are listed', 60, () => this.#list.length >= trucks);
    return this.#list;
  }

  forget(): void {
    for (const [alert, shown] of this.seen) this.before.set(alert, shown);
    this.committed = [];
    this.seen = [];
    this.ups = new Map();
    this.delayMs = 0;
  }

  async end(): Promise<void> {
    this.#failure = null;
    for (const { child } of this.processes) {
      if (child.exitCode !== null || child.signalCode !== null) continue;
      child.removeAllListeners('exit');
      const ended = once(child, 'exit');
      child.kill();
      await ended;
    }
  }

  #fork(script: string, task: TrucksTask | BoardTask, name: string): ChildProcess {
    const [execPath, ...before] = [...onCore('others'), process.execPath];
    const path = fileURLToPath(new URL(script, import.meta.url));
    const child = fork(path, [JSON.stringify(task)], { execPath: execPath!, execArgv: before });
    this.processes.push({ name, child });
    child.once('exit', (code) => {
      this.#failure = `${name} ended with ${code}`;
    });
    return child;
  }

  #trucksReport(index: number, report: TrucksReport): void {
    if (report.report === 'changes') this.committed.push(...report.changes);
    else if (report.report === 'up') for (const [truck, ms] of report.ups) this.ups.set(truck, ms);
    else if (report.report === 'list') this.#list.push(...report.trucks);
    else {
      // One that was on its way before the last order says what was before it.
      if (report.counts.orders === this.#orders) this.#counts[index] = report.counts;
      this.delayMs = Math.max(this.delayMs, report.counts.delayP99Ms);
    }
  }
}
