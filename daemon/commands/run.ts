import { type Logger, pino } from 'pino';
import { type InterfaceMode, interfaceMode } from '../../adapters/can/interface-mode.js';
import { type OnFrame, type OpenBus, openSocketCan } from '../../adapters/can/socketcan.js';
import { HostClock } from '../../adapters/clock/host-clock.js';
import { hostTimers } from '../../adapters/mqtt/clock.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { TruckConfig } from '../../config/resolved.js';
import { BASE_PGNS, type KernelFilter, kernelFilters } from '../j1939/interest.js';
import type { Resume } from '../pipeline.js';
import type { Plain } from '../state.js';
import { TICK_MS } from '../time.js';
import { EXIT, Failure, lineOf } from './failure.js';
import type { Console } from './replay.js';
import { Session } from './session.js';
import { readTruck } from './truck-file.js';
import { VERSION } from './version.js';

/** A bus that is missing or down is tried again after so long, doubling. */
const FIRST_RETRY_MS = 1_000;
const LAST_RETRY_MS = 60_000;
/** What waits for the broker when the program is told to stop. */
const DRAIN_MS = 3_000;
/** Classes of linux/can/error.h carry this flag in recordings. */
const ERROR_FLAG = 0x20000000;

/** What touches the machine; tests put their own in its place. */
export interface RunEdges {
  openBus(name: string, filters: readonly KernelFilter[], onFrame: OnFrame, onStopped: () => void): Promise<OpenBus>;
  modeOf(name: string): Promise<InterfaceMode>;
  log: Logger;
}

/** Runs until SIGTERM or SIGINT. Returns the exit code. */
export async function runCommand(path: string, console: Console): Promise<number> {
  const config = readTruck(path, console.err);
  const log = pino({ base: null }, pino.destination(2));
  const daemon = await startDaemon(config, { openBus: openSocketCan, modeOf: interfaceMode, log });
  await new Promise<void>((resolve) => {
    for (const signal of ['SIGTERM', 'SIGINT'] as const) process.once(signal, () => resolve());
  });
  await daemon.stop();
  return EXIT.done;
}

export interface Daemon {
  /** Decides what is due, writes it, tells the office `offline`, and lets go of everything. */
  stop(): Promise<void>;
}

/** Starts the program on a truck. Throws a Failure when it must not or cannot listen. */
export async function startDaemon(config: TruckConfig, edges: RunEdges): Promise<Daemon> {
  const modes = await listenOnlyModes(config, edges);
  const { store, clock } = await openLiveStore(config, edges.log);
  const live = new Live(config, edges, store, clock, modes);
  live.start();
  return live;
}

/** A controller that may talk is refused, unless the truck file says that it shall acknowledge. */
async function listenOnlyModes(config: TruckConfig, edges: RunEdges): Promise<Record<string, string>> {
  const modes: Record<string, string> = {};
  for (const bus of config.buses) {
    const mode = await edges.modeOf(bus.interface);
    if (mode === 'acknowledging' && !bus.acknowledge) {
      throw new Failure(
        EXIT.failed,
        `${bus.interface}: the controller is not in listen-only mode; set it with "ip link set ${bus.interface} down && ip link set ${bus.interface} type can listen-only on && ip link set ${bus.interface} up", or write "acknowledge: yes" for bus ${bus.name} in the truck file`,
      );
    }
    modes[bus.name] = mode === 'absent' ? 'down' : mode;
  }
  return modes;
}

async function openLiveStore(config: TruckConfig, log: Logger): Promise<{ store: Store; clock: HostClock }> {
  const place = config.store ?? { path: 'axlepost.db', maxBytes: 256 * 2 ** 20, keepMs: 90 * 86_400_000 };
  const before = new HostClock();
  const store = await openStore({
    ...place,
    truck: config.truck,
    run: { zeroWallMs: before.zeroWallMs, synced: before.isSet },
  }).catch((error: unknown) => {
    throw new Failure(EXIT.failed, `${place.path}: ${lineOf(error)}`, error);
  });
  for (const note of store.opened.notes) log.warn(note);
  return { store, clock: before };
}

class Live implements Daemon {
  readonly #config: TruckConfig;
  readonly #edges: RunEdges;
  readonly #store: Store;
  readonly #clock: HostClock;
  readonly #session: Session;
  readonly #publisher: Publisher | null;
  readonly #buses: (OpenBus | null)[];
  readonly #timers = new Set<NodeJS.Timeout>();
  #stopped = false;

  constructor(config: TruckConfig, edges: RunEdges, store: Store, clock: HostClock, modes: Record<string, string>) {
    this.#config = config;
    this.#edges = edges;
    this.#store = store;
    this.#clock = clock;
    this.#buses = config.buses.map(() => null);
    const run = { zeroWallMs: clock.zeroWallMs, synced: clock.isSet };
    this.#publisher = config.mqtt === null ? null : this.#makePublisher(config.mqtt, modes);
    this.#session = new Session({
      config,
      resume: resumeOf(store, run.synced ? run.zeroWallMs : null),
      run,
      store,
      publisher: this.#publisher,
      nowMs: () => performance.now(),
      onEffects: (effects) => {
        if (effects.life === null) return;
        const since = new Date(run.zeroWallMs + effects.t).toISOString();
        this.#publisher?.presence({ state: effects.life, bus: modes, degraded: [], since });
      },
      onEvents: (events) => {
        for (const { draft } of events)
          edges.log.info({ rule: draft.rule, subject: draft.subject, urgency: draft.urgency }, draft.change);
      },
      onStoreError: (error) => edges.log.error(lineOf(error)),
    });
  }

  start(): void {
    this.#publisher?.start();
    for (const index of this.#config.buses.keys()) void this.#openBus(index, FIRST_RETRY_MS);
    this.#tickLater();
    this.#edges.log.info({ truck: this.#config.truck, config: this.#config.hash, version: VERSION }, 'listening');
  }

  async stop(): Promise<void> {
    if (this.#stopped) return;
    this.#stopped = true;
    for (const timer of this.#timers) clearTimeout(timer);
    for (const bus of this.#buses) bus?.close();
    await this.#session.finish(this.#clock.streamNow());
    await this.#publisher?.stop(DRAIN_MS);
    await this.#store.close();
  }

  #makePublisher(mqtt: NonNullable<TruckConfig['mqtt']>, modes: Record<string, string>): Publisher {
    return new Publisher({
      source: this.#store,
      url: mqtt.url,
      confirm: mqtt.confirm,
      fleet: this.#config.fleet,
      truck: this.#config.truck,
      version: VERSION,
      config: () => this.#config.hash,
      presence: { state: 'awake', bus: modes, degraded: [], since: null },
      clock: {
        ...hostTimers(),
        streamNow: () => this.#clock.streamNow(),
        wallNow: () => (this.#clock.isSet ? Date.now() : null),
      },
      hold: () => (this.#clock.isSet ? null : 'waiting for clock'),
      log: (level, line) => this.#edges.log[level](line),
    });
  }

  async #openBus(index: number, retryMs: number): Promise<void> {
    const bus = this.#config.buses[index]!;
    const again = (): void => {
      this.#buses[index] = null;
      if (!this.#stopped) this.#later(retryMs, () => this.#openBus(index, Math.min(2 * retryMs, LAST_RETRY_MS)));
    };
    try {
      const pgns = [...BASE_PGNS, ...this.#config.signals.map((signal) => signal.pgn)];
      const onFrame: OnFrame = (id, data, isError) => this.#frame(index, id, data, isError);
      this.#buses[index] = await this.#edges.openBus(bus.interface, kernelFilters(pgns), onFrame, again);
      this.#edges.log.info({ bus: bus.name, interface: bus.interface }, 'bus open');
    } catch (error) {
      this.#edges.log.warn({ bus: bus.name, retryS: retryMs / 1000 }, lineOf(error));
      again();
    }
  }

  #frame(bus: number, id: number, data: Uint8Array, isError: boolean): void {
    // Never before the last tick: what was decided is decided.
    const t = Math.max(this.#clock.streamNow(), this.#session.stepper.lastTick);
    if (isError) this.#session.stepper.errorFrame(t, bus, id | ERROR_FLAG, data, data.length);
    else if (this.#session.pipeline.interest[(id >>> 8) & 0x3ffff]! > 0)
      this.#session.stepper.frame(t, bus, id, data, data.length);
  }

  #tickLater(): void {
    const now = this.#clock.streamNow();
    this.#later(TICK_MS - (now % TICK_MS), () => {
      this.#session.stepper.advance(this.#clock.streamNow());
      this.#tickLater();
    });
  }

  #later(ms: number, act: () => void): void {
    const timer = setTimeout(() => {
      this.#timers.delete(timer);
      act();
    }, ms);
    this.#timers.add(timer);
  }
}

/** What the last run left, with how long nobody listened: null when one of the two clocks was not right. */
function resumeOf(store: Store, zeroWallMs: number | null): Resume | null {
  const { restored } = store.opened;
  if (restored === null) return null;
  const known = zeroWallMs !== null && restored.run.synced;
  const downMs = known ? Math.max(0, zeroWallMs - (restored.run.zeroWallMs + restored.t)) : null;
  return { kind: 'restart', state: JSON.parse(restored.state) as Plain, downMs };
}
