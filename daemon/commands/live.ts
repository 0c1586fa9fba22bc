import { BusTime, TIME_DATE_PGN } from '../../adapters/clock/bus-time.js';
import type { HostClock } from '../../adapters/clock/host-clock.js';
import type { SyncSource } from '../../adapters/clock/sync-source.js';
import type { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Recorder } from '../../adapters/recorder/contract.js';
import type { Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { EventDraft } from '../alerts/event.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { BASE_PGNS, kernelFilters } from '../j1939/interest.js';
import type { Resume } from '../pipeline.js';
import type { Plain } from '../state.js';
import { TICK_MS, type WallMs } from '../time.js';
import { Answers } from './answers.js';
import { type Failure, lineOf } from './failure.js';
import { LiveBus, type RunEdges } from './live-bus.js';
import { LiveInputs } from './live-inputs.js';
import { livePublisher } from './live-publisher.js';
import { Session } from './session.js';
import { VERSION } from './version.js';
import { Volatile } from './volatile.js';

/** What waits for the broker when the program is told to stop; what is not sent then is in the store. */
const DRAIN_MS = 300;
/** Changes after which the segments of the recording around them are kept longer. */
const WORTH_KEEPING: readonly string[] = ['raised', 'worse', 'reopened'];

/** Of a store that cannot be written, or opened, the id begins so. */
const VOLATILE = '~';

export interface Daemon {
  /** Resolves when going on makes no sense; `stop` is still to be called. */
  readonly failed: Promise<Failure>;
  /** Another configuration is in force from now on. What only a start can change is said in the log. */
  reload(config: TruckConfig): void;
  /** Decides what is due, writes it, tells the office `offline`, and lets go of everything. Again: the same promise. */
  stop(): Promise<void>;
}

export interface LiveParts {
  edges: RunEdges;
  store: Store;
  clock: HostClock;
  recorder: Recorder | null;
  /** Who says that the host's clock is right. */
  sync: SyncSource;
}

/** The running program: buses, pipeline, store, recorder and publisher, tied together by one timer. */
export class Live implements Daemon {
  readonly failed: Promise<Failure>;
  readonly session: Session;
  readonly recorder: Recorder | null;
  readonly answers: Answers;
  readonly store: Store;
  readonly clock: HostClock;
  readonly sync: SyncSource;
  readonly busTime: BusTime;
  readonly #edges: RunEdges;
  readonly #inputs: LiveInputs;
  readonly #volatile: Volatile;
  #publisher: Publisher | null;
  #buses: LiveBus[];
  #fail: (failure: Failure) => void = () => {};
  #timer: NodeJS.Timeout | null = null;
  #storeFails = false;
  /** As last told in `presence`. */
  #degraded = '';
  #stopping: Promise<void> | null = null;

  constructor(config: TruckConfig, { edges, store, clock, recorder, sync }: LiveParts) {
    this.#edges = edges;
    this.store = store;
    this.clock = clock;
    this.recorder = recorder;
    this.sync = sync;
    this.busTime = new BusTime(clock);
    const { store: id } = store.opened;
    this.#storeFails = id.startsWith(VOLATILE);
    this.#volatile = new Volatile(config.truck, this.#storeFails ? id : undefined);
    this.failed = new Promise((resolve) => {
      this.#fail = resolve;
    });
    this.#buses = this.#makeBuses(config);
    this.#publisher = this.#makePublisher(config);
    this.session = new Session({
      config,
      resume: resumeOf(store, clock.run),
      run: clock.run,
      store,
      publisher: this.#publisher,
      nowMs: () => performance.now(),
      bus: busStates(config, this.#buses),
      isUnstored: this.#storeFails,
      onEvents: (events) => this.#events(events),
      onUnstored: (events, error) => this.#unstored(events, error),
      onStoreBack: () => this.#storeBack(),
      onQuiet: () => recorder?.flush(),
    });
    this.#inputs = new LiveInputs(this.session, () => clock.streamNow(), recorder);
    this.answers = new Answers({
      ordinals: (ids) => store.ordinals(ids),
      volatileOrdinal: (id) => this.#volatile.ordinalOf(id),
      hand: (answer) => this.#inputs.rare({ kind: 'answer', answer }),
      log: (line) => edges.log.warn(line),
    });
  }

  start(): void {
    const { log } = this.#edges;
    const { truck, hash } = this.session.config;
    log.info({ truck, config: hash, version: VERSION }, 'started');
    this.session.presence({ state: 'awake' }, this.clock.streamNow());
    this.#tellDegraded();
    // A better floor of the clock came with the store.
    this.session.setRun(this.clock.run);
    void this.#knowOpenAlerts();
    this.#publisher?.start();
    for (const bus of this.#buses) void bus.start();
    this.#tickLater();
  }

  reload(config: TruckConfig): void {
    if (this.#stopping !== null) return;
    const before = this.session.config;
    this.#inputs.rare({ kind: 'reload', config });
    const { log } = this.#edges;
    if (busText(before) !== busText(config)) {
      for (const bus of this.#buses) bus.close();
      this.#buses = this.#makeBuses(config);
      for (const bus of this.#buses) void bus.start();
      this.session.presence({ bus: busStates(config, this.#buses) }, this.clock.streamNow());
    }
    if (JSON.stringify(before.mqtt) !== JSON.stringify(config.mqtt)) {
      void this.#publisher?.stop(0);
      this.#publisher = this.#makePublisher(config);
      this.session.publishTo(this.#publisher);
      this.#publisher?.start();
    }
    log.info({ config: config.hash, was: before.hash }, 'reloaded');
  }

  stop(): Promise<void> {
    this.#stopping ??= this.#stop();
    return this.#stopping;
  }

  /** For how long the oldest commit under way has waited for the disk; 0: none is. */
  get oldestCommitMs(): number {
    return this.session.oldestCommitMs;
  }

  /** Since the last tick. */
  get sinceTickMs(): number {
    return this.clock.streamNow() - this.session.stepper.lastTick;
  }

  /** null while the clock of this run is not known to be right. */
  get wallNow(): WallMs | null {
    return this.clock.wallNow();
  }

  get buses(): readonly LiveBus[] {
    return this.#buses;
  }

  get publisher(): Publisher | null {
    return this.#publisher;
  }

  /** What of the unit does not work, as `presence` has it. */
  get degraded(): string[] {
    return [
      ...(this.#storeFails ? ['store'] : []),
      ...(this.recorder?.health().state === 'failed' ? ['recorder'] : []),
    ];
  }

  async #stop(): Promise<void> {
    if (this.#timer !== null) clearTimeout(this.#timer);
    for (const bus of this.#buses) bus.close();
    const end = this.#inputs.tick();
    const { log } = this.#edges;
    const said = (error: unknown): void => log.error(lineOf(error));
    await this.session.finish(end);
    // After the last events, which may pin what was recorded around them.
    await this.recorder?.close(this.session.stepper.lastTick).catch(said);
    await this.#publisher?.stop(DRAIN_MS);
    await this.store.close().catch(said);
  }

  #makeBuses(config: TruckConfig): LiveBus[] {
    const filters = kernelFilters([...BASE_PGNS, ...config.signals.map((signal) => signal.pgn)]);
    return config.buses.map(
      (bus, index) =>
        new LiveBus({
          bus,
          edges: this.#edges,
          filters,
          onFrame: (id, data, isError) => {
            if (!isError && ((id >>> 8) & 0x3ffff) === TIME_DATE_PGN) this.busTime.frame(data, data.length);
            this.#inputs.frame(index, id, data, isError);
          },
          onState: () =>
            this.session.presence({ bus: busStates(this.session.config, this.#buses) }, this.clock.streamNow()),
          onFatal: (failure) => this.#fail(failure),
        }),
    );
  }

  #makePublisher(config: TruckConfig): Publisher | null {
    return livePublisher(config, {
      store: this.store,
      clock: this.clock,
      log: this.#edges.log,
      hash: () => this.session.config.hash,
      onAnswer: (answer) => void this.answers.take(answer),
    });
  }

  #tickLater(): void {
    const now = this.clock.streamNow();
    this.#timer = setTimeout(
      () => {
        this.session.settle(this.#inputs.tick());
        const run = this.clock.look();
        if (run !== null) this.#setRun(run);
        this.#tellDegraded();
        if (this.#stopping === null) this.#tickLater();
      },
      TICK_MS - (now % TICK_MS),
    );
  }

  #setRun(run: RunInfo): void {
    this.#edges.log.info({ zero: new Date(run.zeroWallMs).toISOString(), synced: run.synced }, 'the clock was set');
    this.session.setRun(run);
    this.recorder?.setRun(run);
    if (run.synced) this.#inputs.rare({ kind: 'clock', zeroCalendarMs: run.zeroWallMs });
  }

  #events(events: NumberedEvent[]): void {
    this.#volatile.learn(events);
    for (const { draft } of events) this.#told(draft);
  }

  /** While the store cannot be written, changes go out at once and only from memory. */
  #unstored(events: EventDraft[], error: unknown): void {
    if (!this.#storeFails)
      this.#edges.log.error(`the store cannot be written: ${lineOf(error)}; events go out unstored`);
    this.#storeFails = true;
    this.#tellDegraded();
    if (events.length === 0) return;
    for (const draft of events) this.#told(draft);
    this.#publisher?.volatile(this.#volatile.number(events, this.session.run, this.session.by));
  }

  #storeBack(): void {
    this.#storeFails = false;
    this.#edges.log.info('the store can be written again');
    this.#tellDegraded();
  }

  #tellDegraded(): void {
    const { degraded } = this;
    if (degraded.join() === this.#degraded) return;
    this.#degraded = degraded.join();
    this.session.presence({ degraded }, this.clock.streamNow());
  }

  #told({ t, rule, subject, urgency, change }: EventDraft): void {
    if (WORTH_KEEPING.includes(change)) this.recorder?.pin(t);
    this.#edges.log.info({ rule, subject, urgency }, change);
  }

  /** Alerts of earlier runs keep their ids should the store fail later. */
  async #knowOpenAlerts(): Promise<void> {
    const list = await this.store.open().catch(() => null);
    for (const [index, { alert }] of (list?.open.alerts ?? []).entries()) {
      this.#volatile.know(alert, list!.alertIds[index]!);
    }
  }
}

/** What the sockets depend on: another text, and they are opened anew. */
const busText = ({ buses, signals }: TruckConfig): string => JSON.stringify([buses, signals.map(({ pgn }) => pgn)]);

function busStates(config: TruckConfig, buses: readonly LiveBus[]): Record<string, string> {
  return Object.fromEntries(config.buses.map(({ name }, index) => [name, buses[index]!.state]));
}

/** What the last run left, with how long nobody listened: null when one of the two clocks was not right. */
function resumeOf(store: Store, run: RunInfo): Resume | null {
  const { restored } = store.opened;
  if (restored === null) return null;
  const known = run.synced && restored.run.synced;
  const downMs = known ? Math.max(0, run.zeroWallMs - (restored.run.zeroWallMs + restored.t)) : null;
  return { kind: 'restart', state: JSON.parse(restored.state) as Plain, downMs };
}
