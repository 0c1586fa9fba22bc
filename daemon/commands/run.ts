import { pino } from 'pino';
import { interfaceMode } from '../../adapters/can/interface-mode.js';
import { openSocketCan } from '../../adapters/can/socketcan.js';
import { HostClock } from '../../adapters/clock/host-clock.js';
import { hostTimers } from '../../adapters/mqtt/clock.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { EventDraft } from '../alerts/event.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { BASE_PGNS, kernelFilters } from '../j1939/interest.js';
import type { Resume } from '../pipeline.js';
import type { Plain } from '../state.js';
import { TICK_MS } from '../time.js';
import type { Console } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { LiveBus, type RunEdges, refusalOf } from './live-bus.js';
import { Session } from './session.js';
import { DEFAULT_STORE } from './store-defaults.js';
import { readTruck } from './truck-file.js';
import { VERSION } from './version.js';
import { Volatile } from './volatile.js';

export type { RunEdges } from './live-bus.js';

/** What waits for the broker when the program is told to stop. */
const DRAIN_MS = 3_000;
/** Error frames carry this flag in their id (linux/can.h), as in recordings. */
const ERROR_FLAG = 0x20000000;

/** Runs until SIGTERM or SIGINT. Returns the exit code. Throws a Failure when it must not or cannot go on. */
export async function runCommand(path: string, console: Console): Promise<number> {
  const config = readTruck(path, console.err);
  const log = pino({ base: null }, pino.destination({ dest: 2, sync: true }));
  // Whatever gets here is a mistake of ours. The supervisor starts us anew from what is on disk.
  process.on('uncaughtException', (error) => {
    log.fatal({ err: error }, 'a mistake in this program: it ends');
    process.exit(EXIT.failed);
  });
  const told = new Promise<null>((resolve) => {
    for (const signal of ['SIGTERM', 'SIGINT'] as const) process.once(signal, () => resolve(null));
  });
  const daemon = await startDaemon(config, { openBus: openSocketCan, modeOf: interfaceMode, log });
  const failure = await Promise.race([told, daemon.failed]);
  await daemon.stop();
  if (failure !== null) throw failure;
  return EXIT.done;
}

export interface Daemon {
  /** Resolves when going on makes no sense; `stop` is still to be called. */
  readonly failed: Promise<Failure>;
  /** Decides what is due, writes it, tells the office `offline`, and lets go of everything. Again: the same promise. */
  stop(): Promise<void>;
}

/** Starts the program on a truck. Throws a Failure when it must not or cannot listen. */
export async function startDaemon(config: TruckConfig, edges: RunEdges): Promise<Daemon> {
  for (const bus of config.buses) {
    const mode = await edges.modeOf(bus.interface).catch((error: unknown) => {
      throw new Failure(EXIT.failed, lineOf(error), error);
    });
    const refusal = refusalOf(bus, mode);
    if (refusal !== null) throw new Failure(EXIT.failed, refusal);
  }
  const clock = new HostClock();
  const store = await openLiveStore(config, clock, edges);
  const live = new Live(config, edges, store, clock);
  live.start();
  return live;
}

async function openLiveStore(config: TruckConfig, clock: HostClock, { log }: RunEdges): Promise<Store> {
  const place = config.store ?? DEFAULT_STORE;
  const store = await openStore({ ...place, truck: config.truck, run: clock.run }).catch((error: unknown) => {
    throw new Failure(EXIT.failed, lineOf(error), error);
  });
  for (const note of store.opened.notes) log.warn(note);
  const { restored } = store.opened;
  if (restored?.run.synced === true) clock.raiseFloor(restored.run.zeroWallMs + restored.t);
  return store;
}

class Live implements Daemon {
  readonly failed: Promise<Failure>;
  readonly #config: TruckConfig;
  readonly #edges: RunEdges;
  readonly #store: Store;
  readonly #clock: HostClock;
  readonly #session: Session;
  readonly #publisher: Publisher | null;
  readonly #buses: LiveBus[];
  readonly #volatile: Volatile;
  #fail: (failure: Failure) => void = () => {};
  #timer: NodeJS.Timeout | null = null;
  #degraded = false;
  #stopping: Promise<void> | null = null;

  constructor(config: TruckConfig, edges: RunEdges, store: Store, clock: HostClock) {
    this.#config = config;
    this.#edges = edges;
    this.#store = store;
    this.#clock = clock;
    this.#volatile = new Volatile(config.truck);
    this.failed = new Promise((resolve) => {
      this.#fail = resolve;
    });
    this.#buses = this.#makeBuses();
    this.#publisher = config.mqtt === null ? null : this.#makePublisher(config.mqtt);
    this.#session = new Session({
      config,
      resume: resumeOf(store, clock.run),
      run: clock.run,
      store,
      publisher: this.#publisher,
      nowMs: () => performance.now(),
      bus: this.#busStates(),
      onEvents: (events) => this.#events(events),
      onUnstored: (events, error) => this.#unstored(events, error),
      onStoreBack: () => this.#setDegraded(false),
    });
  }

  start(): void {
    const { log } = this.#edges;
    log.info({ truck: this.#config.truck, config: this.#config.hash, version: VERSION }, 'started');
    this.#session.presence({ state: 'awake' }, this.#clock.streamNow());
    // A better floor of the clock came with the store.
    this.#session.setRun(this.#clock.run);
    void this.#knowOpenAlerts();
    this.#publisher?.start();
    for (const bus of this.#buses) void bus.start();
    this.#tickLater();
  }

  stop(): Promise<void> {
    this.#stopping ??= this.#stop();
    return this.#stopping;
  }

  async #stop(): Promise<void> {
    if (this.#timer !== null) clearTimeout(this.#timer);
    for (const bus of this.#buses) bus.close();
    await this.#session.finish(this.#clock.streamNow());
    await this.#publisher?.stop(DRAIN_MS);
    await this.#store.close().catch((error: unknown) => this.#edges.log.error(lineOf(error)));
  }

  #makeBuses(): LiveBus[] {
    const { buses, signals } = this.#config;
    const filters = kernelFilters([...BASE_PGNS, ...signals.map((signal) => signal.pgn)]);
    return buses.map(
      (bus, index) =>
        new LiveBus({
          bus,
          edges: this.#edges,
          filters,
          onFrame: (id, data, isError) => this.#frame(index, id, data, isError),
          onState: () => this.#session.presence({ bus: this.#busStates() }, this.#clock.streamNow()),
          onFatal: (failure) => this.#fail(failure),
        }),
    );
  }

  #busStates(): Record<string, string> {
    return Object.fromEntries(this.#config.buses.map(({ name }, index) => [name, this.#buses[index]!.state]));
  }

  #makePublisher(mqtt: NonNullable<TruckConfig['mqtt']>): Publisher {
    return new Publisher({
      source: this.#store,
      url: mqtt.url,
      confirm: mqtt.confirm,
      fleet: this.#config.fleet,
      truck: this.#config.truck,
      version: VERSION,
      config: () => this.#config.hash,
      presence: { state: 'awake', bus: this.#busStates(), degraded: [], since: null },
      clock: {
        ...hostTimers(),
        streamNow: () => this.#clock.streamNow(),
        wallNow: () => this.#clock.wallNow(),
      },
      hold: () => (this.#clock.isSet ? null : 'waiting for clock'),
      log: (level, line) => this.#edges.log[level](line),
    });
  }

  #frame(bus: number, id: number, data: Uint8Array, isError: boolean): void {
    const { stepper, pipeline } = this.#session;
    // Never before the last tick: what was decided is decided.
    const t = Math.max(this.#clock.streamNow(), stepper.lastTick);
    if (isError) stepper.errorFrame(t, bus, (id | ERROR_FLAG) >>> 0, data, data.length);
    else if (pipeline.interest[(id >>> 8) & 0x3ffff]! > 0) stepper.frame(t, bus, id, data, data.length);
  }

  #tickLater(): void {
    const now = this.#clock.streamNow();
    this.#timer = setTimeout(
      () => {
        const t = this.#clock.streamNow();
        this.#session.stepper.advance(t);
        this.#session.settle(t);
        const run = this.#clock.look();
        if (run !== null) this.#setRun(run);
        this.#tickLater();
      },
      TICK_MS - (now % TICK_MS),
    );
  }

  #setRun(run: RunInfo): void {
    this.#edges.log.info({ zero: new Date(run.zeroWallMs).toISOString(), synced: run.synced }, 'the clock was set');
    this.#session.setRun(run);
  }

  #events(events: NumberedEvent[]): void {
    this.#volatile.learn(events);
    for (const { draft } of events) this.#logEvent(draft);
  }

  /** While the store cannot be written, changes go out at once and only from memory. */
  #unstored(events: EventDraft[], error: unknown): void {
    if (!this.#degraded) this.#edges.log.error(`the store cannot be written: ${lineOf(error)}; events go out unstored`);
    this.#setDegraded(true);
    if (events.length === 0) return;
    for (const draft of events) this.#logEvent(draft);
    this.#publisher?.volatile(this.#volatile.number(events, this.#session.run));
  }

  #setDegraded(degraded: boolean): void {
    if (degraded === this.#degraded) return;
    this.#degraded = degraded;
    if (!degraded) this.#edges.log.info('the store can be written again');
    this.#session.presence({ degraded: degraded ? ['store'] : [] }, this.#clock.streamNow());
  }

  #logEvent({ rule, subject, urgency, change }: EventDraft): void {
    this.#edges.log.info({ rule, subject, urgency }, change);
  }

  /** Alerts of earlier runs keep their ids should the store fail later. */
  async #knowOpenAlerts(): Promise<void> {
    const list = await this.#store.open().catch(() => null);
    for (const [index, { alert }] of (list?.open.alerts ?? []).entries()) {
      this.#volatile.know(alert, list!.alertIds[index]!);
    }
  }
}

/** What the last run left, with how long nobody listened: null when one of the two clocks was not right. */
function resumeOf(store: Store, run: RunInfo): Resume | null {
  const { restored } = store.opened;
  if (restored === null) return null;
  const known = run.synced && restored.run.synced;
  const downMs = known ? Math.max(0, run.zeroWallMs - (restored.run.zeroWallMs + restored.t)) : null;
  return { kind: 'restart', state: JSON.parse(restored.state) as Plain, downMs };
}
