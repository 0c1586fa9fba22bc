import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { hostTimers } from '../../adapters/mqtt/clock.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import { readTruckFile } from '../../config/load.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { TakeFrame } from '../../simulator/frame-queue.js';
import { framesInto, type Scenario, Simulation, truckFileOf } from '../../simulator/index.js';
import { Answers } from './answers.js';
import { Session } from './session.js';
import { VERSION } from './version.js';

const DAY_MS = 86_400_000;
const STORE_BYTES = 32 * 1024 * 1024;
/** The past is driven in pieces that hold nothing up. */
const PIECE_MS = 30_000;
/** As often as a truck on the road sends its readings. */
const READING_MS = 300_000;
const SEND_MS = 20;
const STOP_MS = 1_000;

export interface DemoTruckOptions {
  truck: string;
  scenario: Scenario;
  /** So much of its shift lies behind it when the demonstration begins, s. */
  pastS: number;
  brokerUrl: string;
  folder: string;
}

/** A simulated truck that goes through the program itself, to a broker: first its past, quickly, then second by second. */
export class DemoTruck {
  readonly name: string;
  readonly #session: Session;
  readonly #publisher: Publisher;
  readonly #store: Store;
  readonly #simulation: Simulation;
  readonly #take: TakeFrame;
  readonly #pastMs: number;
  readonly #zeroWallMs: number;
  #isLive = false;

  static async open({ truck, scenario, pastS, brokerUrl, folder }: DemoTruckOptions): Promise<DemoTruck> {
    const text = truckFileOf(scenario).replace(/^truck: .*$/m, `truck: ${truck}`);
    const { config, problems } = readTruckFile(text, 'truck.yaml');
    if (config === undefined) throw new Error(problems.map((problem) => problem.text).join('; '));
    const zeroWallMs = Math.floor(Date.now() / 1000) * 1000 - pastS * 1000;
    const store = await openStore({
      path: join(folder, `${truck}.db`),
      truck,
      maxBytes: STORE_BYTES,
      keepMs: DAY_MS,
      run: { zeroWallMs, synced: true },
    });
    return new DemoTruck(config, store, scenario, brokerUrl, zeroWallMs, pastS);
  }

  private constructor(
    config: TruckConfig,
    store: Store,
    scenario: Scenario,
    url: string,
    zeroWallMs: number,
    pastS: number,
  ) {
    this.name = config.truck;
    this.#store = store;
    this.#zeroWallMs = zeroWallMs;
    this.#pastMs = pastS * 1000;
    this.#publisher = new Publisher({
      source: store,
      url,
      confirm: 'office',
      fleet: config.fleet,
      truck: config.truck,
      version: VERSION,
      config: () => config.hash,
      presence: { state: 'awake', bus: {}, degraded: [], since: null },
      // While its past is driven it is as late as that past: nothing in it was held back.
      clock: { ...hostTimers(), streamNow: () => this.#now(), wallNow: () => zeroWallMs + this.#now() },
      onAnswer: (answer) => void answers.take(answer),
      log: () => {},
    });
    this.#session = new Session({
      config,
      resume: null,
      run: { zeroWallMs, synced: true },
      store,
      publisher: this.#publisher,
      nowMs: () => performance.now(),
      bus: { main: 'simulated' },
    });
    const answers = new Answers({
      ordinals: (ids) => store.ordinals(ids),
      volatileOrdinal: () => null,
      hand: (answer) => this.#session.rare({ kind: 'answer', t: this.#session.stepper.lastTick + 1, answer }),
      log: () => {},
    });
    this.#simulation = new Simulation(scenario, { thin: true });
    this.#take = framesInto(this.#session.stepper);
  }

  /** Goes online and drives what lies behind it, so that history and plots have something to show. */
  async catchUp(): Promise<void> {
    this.#publisher.start();
    this.#session.presence({}, 0);
    for (let t = PIECE_MS; t < this.#pastMs + PIECE_MS; t += PIECE_MS) {
      this.#advance(Math.min(t, this.#pastMs));
      await this.#session.backPressure();
      // Its reading goes out before the next one takes its place; others have their turn.
      await sleep(t % READING_MS === 0 ? SEND_MS : 0);
    }
    this.#isLive = true;
  }

  /** Drives up to this moment. */
  second(): void {
    const t = this.#now();
    this.#advance(t);
    this.#session.settle(t);
  }

  async stop(): Promise<void> {
    await this.#publisher.stop(STOP_MS);
    await this.#session.finish(this.#session.stepper.lastTick);
    await this.#store.close();
  }

  #now(): number {
    return this.#isLive ? Date.now() - this.#zeroWallMs : this.#session.stepper.lastTick;
  }

  #advance(t: number): void {
    this.#simulation.advance(t, this.#take);
    this.#session.stepper.advance(t);
  }
}
