import { interfaceMode } from '../../adapters/can/interface-mode.js';
import { openSocketCan } from '../../adapters/can/socketcan.js';
import { HostClock } from '../../adapters/clock/host-clock.js';
import { HostSync, type SyncSource, TRUSTED } from '../../adapters/clock/sync-source.js';
import { createLogger } from '../../adapters/log/logger.js';
import type { Recorder } from '../../adapters/recorder/contract.js';
import { openRecorder } from '../../adapters/recorder/recorder.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { TruckConfig } from '../../config/resolved.js';
import { Configuration } from './configuration.js';
import type { Console } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { HostWatch } from './host-watch.js';
import { Live } from './live.js';
import { type RunEdges, refusalOf } from './live-bus.js';
import { DEFAULT_STORE } from './store-defaults.js';
import { VERSION } from './version.js';

export type { Daemon } from './live.js';
export type { RunEdges } from './live-bus.js';

/** How often the marks of bad sensors are looked at. */
const LOOK_AT_MARKS_MS = 5_000;

/** Runs until SIGTERM or SIGINT; SIGHUP reads the truck file anew. Returns the exit code. Throws a Failure when it must not or cannot go on. */
export async function runCommand(path: string, console: Console): Promise<number> {
  const { logger: log, counters, close } = createLogger();
  // Whatever gets here is a mistake of ours. The supervisor starts us anew from what is on disk.
  process.on('uncaughtException', (error) => {
    log.fatal({ err: error }, 'a mistake in this program: it ends');
    process.exit(EXIT.failed);
  });
  const told = new Promise<null>((resolve) => {
    for (const signal of ['SIGTERM', 'SIGINT'] as const) process.once(signal, () => resolve(null));
  });
  // One that comes before there is anything to reload finds the file as it is read a moment later.
  let onHangup = (): void => {};
  process.on('SIGHUP', () => onHangup());
  const configuration = new Configuration(path, console.err, log);
  const config = configuration.inForce;
  const sync = config.clock.trust ? TRUSTED : new HostSync();
  const edges: RunEdges = { openBus: openSocketCan, modeOf: interfaceMode, log };
  const endSync = (): void => {
    if (sync instanceof HostSync) sync.close();
  };
  const daemon = await startDaemon(config, edges, sync).catch((error: unknown) => {
    // Whoever is refused must end, and not wait for the clock.
    endSync();
    close();
    throw error;
  });
  const watch = await HostWatch.open(daemon, log, counters);
  onHangup = () => {
    watch.reloading();
    const next = configuration.reread(daemon.wallNow);
    if (next !== null) daemon.reload(next);
    watch.ready();
  };
  const marks = setInterval(() => {
    const next = configuration.lookAtMarks(daemon.wallNow);
    if (next !== null) daemon.reload(next);
  }, LOOK_AT_MARKS_MS);
  const failure = await Promise.race([told, daemon.failed]);
  clearInterval(marks);
  watch.stopping();
  await Promise.all([daemon.stop(), watch.close()]);
  endSync();
  close();
  if (failure !== null) throw failure;
  return EXIT.done;
}

/** Starts the program on a truck. Throws a Failure when it must not or cannot listen. */
export async function startDaemon(
  config: TruckConfig,
  edges: RunEdges,
  sync: SyncSource | HostSync = TRUSTED,
): Promise<Live> {
  await Promise.all([refuseTalkers(config, edges), sync instanceof HostSync ? sync.start() : null]);
  const clock = new HostClock({ sync });
  const store = await openLiveStore(config, clock, edges);
  const recorder = await openLiveRecorder(config, clock, store, edges);
  const live = new Live(config, { edges, store, clock, recorder, sync });
  live.start();
  return live;
}

/** Throws a Failure unless every interface may be listened to. */
async function refuseTalkers({ buses }: TruckConfig, edges: RunEdges): Promise<void> {
  for (const bus of buses) {
    const mode = await edges.modeOf(bus.interface).catch((error: unknown) => {
      throw new Failure(EXIT.failed, lineOf(error), error);
    });
    const refusal = refusalOf(bus, mode);
    if (refusal !== null) throw new Failure(EXIT.failed, refusal);
  }
}

async function openLiveStore(config: TruckConfig, clock: HostClock, { log }: RunEdges): Promise<Store> {
  const place = config.store ?? DEFAULT_STORE;
  const store = await openStore({ ...place, truck: config.truck, run: clock.run, mayWait: true }).catch(
    (error: unknown) => {
      throw new Failure(EXIT.failed, lineOf(error), error);
    },
  );
  for (const note of store.opened.notes) log.warn(note);
  const { restored } = store.opened;
  if (restored?.run.synced === true) clock.raiseFloor(restored.run.zeroWallMs + restored.t);
  return store;
}

async function openLiveRecorder(
  config: TruckConfig,
  clock: HostClock,
  store: Store,
  { log }: RunEdges,
): Promise<Recorder | null> {
  const { recorder, buses } = config;
  if (recorder === null) return null;
  return openRecorder({
    ...recorder,
    run: clock.run,
    boot: store.opened.boot,
    config,
    version: VERSION,
    interfaces: buses.map((bus) => bus.interface),
    log: (level, line) => log[level](line),
  });
}
