import { closeSync, openSync, readFileSync, writeSync } from 'node:fs';
import { type LogsRead, readLogs } from '../../adapters/can/log-files.js';
import { problemLine } from '../../adapters/can/problem.js';
import { parseBrokerUrl } from '../../adapters/mqtt/broker-url.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { canonicalEvent, eventMessage } from '../alerts/rendering.js';
import type { StreamMs } from '../time.js';
import type { Out } from './check.js';
import { clockOf, compareEvents, parseExpected } from './expect.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { isAfter, type Moment, parseMoment } from './moment.js';
import { Pacer } from './pacer.js';
import { Progress, type Terminal } from './progress.js';
import { publishReplay, type ReplayPublisher } from './replay-publisher.js';
import { Session } from './session.js';
import { timelineEntry } from './timeline.js';
import { readTruck } from './truck-file.js';

export interface ReplayOptions {
  config: string;
  speed?: string;
  from?: string;
  to?: string;
  settle?: boolean;
  fresh?: boolean;
  format?: string;
  events?: string;
  store?: string;
  publish?: string;
  yesPublish?: boolean;
  expect?: string;
  strict?: boolean;
}

export interface Console {
  out: Out & Terminal;
  err: Out & Terminal;
}

/** A recording has its own clock; stamps before this are seconds since it began, not wall time. */
const CALENDAR_FROM_MS = Date.UTC(2000, 0, 1);
/** `--settle` lets the truck fall asleep. */
const SETTLE_MS = 61_000;
const DEFAULT_MAX_BYTES = 256 * 2 ** 20;
const DEFAULT_KEEP_MS = 90 * 86_400_000;

interface Settings {
  config: TruckConfig;
  speed: number | null;
  from: Moment | null;
  to: Moment | null;
  format: 'ndjson' | 'canonical';
}

function settingsOf(options: ReplayOptions, err: Out): Settings {
  const format = options.format ?? 'ndjson';
  if (format !== 'ndjson' && format !== 'canonical') {
    throw new Failure(EXIT.usage, `--format ${format}: write ndjson or canonical`);
  }
  const speed = options.speed === undefined || options.speed === 'max' ? null : Number(options.speed);
  if (speed !== null && !(speed > 0))
    throw new Failure(EXIT.usage, `--speed ${options.speed}: write max or a number above 0, for example 10`);
  checkPublish(options);
  return {
    config: readTruck(options.config, err),
    speed,
    from: options.from === undefined ? null : parseMoment('--from', options.from),
    to: options.to === undefined ? null : parseMoment('--to', options.to),
    format,
  };
}

function checkPublish(options: ReplayOptions): void {
  if (options.publish === undefined) return;
  const { address, error } = parseBrokerUrl(options.publish);
  if (address === null) throw new Failure(EXIT.usage, `--publish: ${error}`);
  if (!address.loopback && options.yesPublish !== true) {
    throw new Failure(
      EXIT.usage,
      `--publish: ${address.host} is not this machine; add --yes-publish if you mean to send a replay there`,
    );
  }
}

/** Replays logs through the program; returns the exit code. */
export async function replayCommand(logs: string[], options: ReplayOptions, console: Console): Promise<number> {
  const settings = settingsOf(options, console.err);
  const expected = options.expect === undefined ? null : readExpected(options.expect);
  const replay = new Replay(logs, options, settings, console);
  const read = await replay.run();
  console.err.write(summary(read, replay));
  if (read.files.length === 0) return EXIT.failed;
  if (expected !== null && !tellDifference(options, expected, replay.canonical, console)) return EXIT.differs;
  return read.files.every((f) => f.complete && f.frames > 0) ? EXIT.done : EXIT.failed;
}

class Replay {
  readonly canonical: string[] = [];
  count = 0;
  readonly #logs: string[];
  readonly #options: ReplayOptions;
  readonly #settings: Settings;
  readonly #console: Console;
  #sink: ((events: NumberedEvent[]) => void) | null = null;
  #done = false;

  constructor(logs: string[], options: ReplayOptions, settings: Settings, console: Console) {
    this.#logs = logs;
    this.#options = options;
    this.#settings = settings;
    this.#console = console;
  }

  async run(): Promise<LogsRead> {
    const { config } = this.#settings;
    const zeroMs = await firstZero(this.#logs, config);
    const run: RunInfo = { zeroWallMs: zeroMs ?? 0, synced: (zeroMs ?? 0) >= CALENDAR_FROM_MS };
    const output = this.#openOutput();
    const { store, publisher } = await this.#openStore(config, run);
    const session = new Session({
      config,
      resume: null,
      run,
      store,
      publisher: publisher?.publisher ?? null,
      nowMs: () => performance.now(),
      onEvents: (events) => {
        if (publisher !== null) publisher.lastSeq = events.at(-1)?.seq ?? publisher.lastSeq;
        this.#events(events);
      },
      onStoreError: (error) => this.#console.err.write(`store: ${lineOf(error)}\n`),
    });
    this.#sink = output.write;
    try {
      const read = await this.#read(session, publisher);
      const last = read.parser.lastT + (this.#options.settle === true ? SETTLE_MS : 0);
      await session.finish(last);
      await publisher?.finish();
      return read;
    } finally {
      output.close();
      await store?.close();
      await publisher?.cleanUp();
    }
  }

  async #read(session: Session, publisher: ReplayPublisher | null): Promise<LogsRead> {
    const { config, speed, to } = this.#settings;
    const progress = new Progress(this.#console.err, 'replay');
    const pacer = speed === null ? null : new Pacer(speed);
    const busOf = (name: string): number =>
      config.buses.findIndex((bus) => bus.interface === name || bus.name === name);
    const read = await readLogs({
      paths: this.#logs,
      parser: {
        interest: session.pipeline.interest,
        busOf,
        oneBus: config.buses.length === 1,
        sink: session.stepper,
        onSeam: (t, zeroMs) => {
          session.run = { ...session.run, zeroWallMs: zeroMs };
          session.stepper.seam(t);
        },
      },
      ...(pacer === null ? {} : { chunkBytes: 512 }),
      onProblem: (file, problem) => {
        progress.end();
        this.#console.err.write(`${problemLine(file, problem)}\n`);
      },
      onProgress: (bytes, total) =>
        progress.update(total === null ? null : bytes / total, clockOf(session.stepper.lastTick)),
      afterChunk: async (parser) => {
        if (to !== null && isAfter(to, parser.lastT, session.run.zeroWallMs)) this.#done = true;
        await pacer?.wait(parser.lastT);
        await session.backPressure();
        await publisher?.backPressure();
      },
      isDone: () => this.#done,
    });
    progress.end();
    return read;
  }

  #events(events: NumberedEvent[]): void {
    const { from, to } = this.#settings;
    const within = events.filter(({ draft, run }) => {
      if (from !== null && !isAfter(from, draft.t, run.zeroWallMs)) return false;
      return to === null || !isAfter(to, draft.t, run.zeroWallMs);
    });
    this.count += within.length;
    for (const { draft } of within) this.canonical.push(canonicalEvent(draft));
    this.#sink?.(within);
  }

  /** Where events go: a file or stdout as JSON lines, else stdout as a timeline for people. */
  #openOutput(): { write: (events: NumberedEvent[]) => void; close: () => void } {
    const { events: path, expect } = this.#options;
    const { config, format } = this.#settings;
    const context = { fleet: config.fleet, truck: config.truck, config: config.hash, now: null, replay: true };
    const line = (event: NumberedEvent): string =>
      format === 'canonical' ? canonicalEvent(event.draft) : JSON.stringify(eventMessage(event, context));
    if (path === undefined) {
      if (expect !== undefined) return { write: () => {}, close: () => {} };
      const { out } = this.#console;
      const style = { colour: out.isTTY === true && process.env.NO_COLOR === undefined, columns: out.columns ?? 100 };
      return {
        write: (events) => {
          for (const event of events) out.write(`${timelineEntry(eventMessage(event, context), config.show, style)}\n`);
        },
        close: () => {},
      };
    }
    if (path === '-') {
      return {
        write: (events) => events.length > 0 && this.#console.out.write(`${events.map(line).join('\n')}\n`),
        close: () => {},
      };
    }
    const fd = openFile(path);
    return {
      write: (events) => events.length > 0 && writeSync(fd, `${events.map(line).join('\n')}\n`),
      close: () => closeSync(fd),
    };
  }

  async #openStore(
    config: TruckConfig,
    run: RunInfo,
  ): Promise<{ store: Store | null; publisher: ReplayPublisher | null }> {
    const { store: path, publish } = this.#options;
    if (path === undefined && publish === undefined) return { store: null, publisher: null };
    const publisher = publish === undefined ? null : publishReplay(publish, config, this.#console.err);
    const store = await openStore({
      path: path ?? publisher!.storePath,
      truck: config.truck,
      maxBytes: config.store?.maxBytes ?? DEFAULT_MAX_BYTES,
      keepMs: config.store?.keepMs ?? DEFAULT_KEEP_MS,
      run,
      mustBeNew: true,
    }).catch((error: unknown) => {
      throw new Failure(EXIT.failed, `${path ?? 'store'}: ${lineOf(error)}`, error);
    });
    publisher?.start(store);
    return { store, publisher };
  }
}

/** Zero of the recording: its first stamp cut to a whole second; null when there is none. */
async function firstZero(paths: string[], config: TruckConfig): Promise<number | null> {
  if (paths.includes('-')) return null;
  let done = false;
  const read = await readLogs({
    paths: paths.slice(0, 1),
    parser: {
      interest: new Uint8Array(2 ** 18),
      busOf: () => 0,
      oneBus: config.buses.length === 1,
      sink: { frame: () => {}, errorFrame: () => {} },
    },
    chunkBytes: 4096,
    onProblem: () => {},
    afterChunk: (parser) => {
      done = parser.zeroMs !== null;
    },
    isDone: () => done,
  });
  return read.parser.zeroMs;
}

function openFile(path: string): number {
  try {
    return openSync(path, 'w');
  } catch (error) {
    throw new Failure(
      EXIT.failed,
      `${path}: cannot be written (${(error as NodeJS.ErrnoException).code}); choose another --events file`,
      error,
    );
  }
}

function readExpected(path: string): string[] {
  try {
    return parseExpected(readFileSync(path, 'utf8'), path);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new Failure(
      EXIT.usage,
      code === 'ENOENT'
        ? `${path}: no such file; make it with "replay --events ${path} --format canonical"`
        : lineOf(error),
      error,
    );
  }
}

/** True when the events are the expected ones. */
function tellDifference(options: ReplayOptions, expected: string[], got: string[], console: Console): boolean {
  const { missing, extra, numbers } = compareEvents(expected, got);
  for (const line of missing) console.out.write(`missing  ${line}\n`);
  for (const line of extra) console.out.write(`extra    ${line}\n`);
  for (const line of numbers) console.out.write(`numbers  ${line}\n`);
  const bad = missing.length + extra.length + (options.strict === true ? numbers.length : 0);
  const verdict = bad === 0 ? 'as expected' : 'not as expected';
  const counts = `${missing.length} missing, ${extra.length} extra, ${numbers.length} with other numbers`;
  console.err.write(`${options.expect}: ${verdict} (${expected.length} events; ${counts})\n`);
  return bad === 0;
}

function summary(read: LogsRead, replay: Replay): string {
  const c = read.counts;
  const notes = [
    c.bad > 0 ? `${c.bad} bad lines` : '',
    c.clamped > 0 ? `${c.clamped} stamps clamped` : '',
    c.seams > 0 ? `${c.seams} seams` : '',
    c.errorFrames > 0 ? `${c.errorFrames} error frames` : '',
    c.shortIds > 0 ? `${c.shortIds} 11-bit` : '',
    c.rtr > 0 ? `${c.rtr} RTR` : '',
    c.fd > 0 ? `${c.fd} FD` : '',
    c.unknownInterface > 0 ? `${c.unknownInterface} from other interfaces` : '',
  ].filter((note) => note !== '');
  const t: StreamMs = read.parser.lastT;
  const list = notes.length === 0 ? '' : `; ${notes.join(', ')}`;
  return `${clockOf(t)} of traffic, ${c.frames} frames, ${c.interesting} of interest, ${replay.count} events${list}\n`;
}
