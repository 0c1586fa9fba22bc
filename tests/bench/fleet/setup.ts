import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type Audit, audit } from './audit.js';
import type { FleetOptions } from './options.js';
import { end, freePort, has, type Running, startBroker, startOffice, startPostgres } from './programs.js';
import { SimulatedFleet } from './simulated-fleet.js';
import { type Usage, usageOf } from './usage.js';

/** Trucks that connect in a second at the start, which is not what is measured. */
const CONNECTS_A_SECOND = 500;
const SETTLE_S = 120;

export interface SetupOptions {
  trucks: number;
  /** More than one share a PostgreSQL. */
  offices: number;
}

/** One broker, one or more offices, and a fleet that is connected and at rest. */
export class Setup {
  readonly fleet = new SimulatedFleet();
  readonly offices: Running[] = [];
  readonly options: FleetOptions;
  readonly trucks: number;
  readonly #folder = mkdtempSync(join(tmpdir(), 'axlepost-fleet-'));
  #database: { running: Running; url: string } | null = null;
  #broker: Running | null = null;
  #brokerPort = 0;

  private constructor(options: FleetOptions, trucks: number) {
    this.options = options;
    this.trucks = trucks;
  }

  /** Null where a program is missing, which is then told. Whatever `work` does, everything is ended. */
  static async run(
    options: FleetOptions,
    { trucks, offices }: SetupOptions,
    work: (setup: Setup) => Promise<void>,
  ): Promise<void> {
    const setup = new Setup(options, trucks);
    try {
      const missing = await setup.#start(offices);
      if (missing !== null) {
        process.stdout.write(`${missing} is not installed: left out\n`);
        if (process.env.CI === 'true') process.exitCode = 1;
        return;
      }
      await work(setup);
    } finally {
      await setup.#end();
    }
  }

  async #start(offices: number): Promise<string | null> {
    if (!has('mosquitto')) return 'mosquitto';
    if (offices > 1) {
      this.#database = await startPostgres(this.#folder);
      if (this.#database === null) return 'PostgreSQL';
    }
    this.#brokerPort = await freePort();
    await this.startBroker();
    const ports: number[] = [];
    for (let i = 0; i < offices; i++) {
      const port = await freePort();
      const place = {
        port,
        brokerPort: this.#brokerPort,
        database: this.#database?.url ?? null,
        isHeld: offices === 1,
      };
      this.offices.push(await startOffice(this.#folder, place));
      ports.push(port);
    }
    const { fleet, options, trucks } = this;
    await fleet.startBoard(ports[0]!, options.readers);
    fleet.startTrucks(trucks, this.#brokerPort, options.seed);
    const overMs = (1000 * trucks) / CONNECTS_A_SECOND;
    fleet.order({ order: 'connect', overMs });
    await fleet.until('all trucks connect', overMs / 1000 + SETTLE_S, () => fleet.counts.connected === trucks);
    await this.settle();
    return null;
  }

  async startBroker(): Promise<void> {
    this.#broker = await startBroker(this.#folder, this.#brokerPort, this.trucks);
  }

  async killBroker(): Promise<void> {
    if (this.#broker !== null) await end(this.#broker, 'SIGKILL');
  }

  /** Until the office has confirmed all events. */
  async settle(mostS = SETTLE_S): Promise<number> {
    await this.fleet.fresh();
    return this.fleet.until('all events are confirmed', mostS, () => this.fleet.counts.waiting === 0);
  }

  /** Of each process, by what it is. */
  usage(): Map<string, Usage> {
    const database = this.#database === null ? [] : [this.#database.running];
    const all = [
      ...this.offices,
      ...(this.#broker === null ? [] : [this.#broker]),
      ...database,
      ...this.fleet.processes,
    ];
    return new Map(all.map(({ name, child }) => [name, usageOf(child.pid!)]));
  }

  /** Ends the office, then looks at what it has stored. */
  async audit(): Promise<Audit> {
    const trucks = await this.fleet.list();
    for (const office of this.offices) await end(office);
    return audit(this.#folder, this.#database?.url ?? null, trucks);
  }

  async #end(): Promise<void> {
    await this.fleet.end();
    for (const office of this.offices) await end(office);
    if (this.#broker !== null) await end(this.#broker);
    if (this.#database !== null) await end(this.#database.running, 'SIGINT');
    rmSync(this.#folder, { recursive: true, force: true });
  }
}
