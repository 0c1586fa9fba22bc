import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type LogsRead, readLogs } from '../../adapters/can/log-files.js';
import { problemLine } from '../../adapters/can/problem.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { canonicalEvent } from '../alerts/rendering.js';
import type { StreamMs } from '../time.js';
import type { Console } from './console.js';
import { clockOf, readExpected, tellDifference } from './expect.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { Limit } from './limit.js';
import { isAfter } from './moment.js';
import { Paced, type Stream } from './paced.js';
import { Progress } from './progress.js';
import { Rewindable, zeroOf } from './recording.js';
import { type Output, openOutput } from './replay-output.js';
import type { ReplayPublisher } from './replay-publisher.js';
import { type ReplayOptions, type ReplaySettings, replaySettings } from './replay-settings.js';
import { Session } from './session.js';
import { DEFAULT_STORE } from './store-defaults.js';

/** A recording has its own clock; stamps before this are seconds since it began, not wall time. */
const CALENDAR_FROM_MS = Date.UTC(2000, 0, 1);
/** `--settle`: the bus is seen to be quiet for so long after the last frame. */
const SETTLE_MS = 61_000;

/** Replays logs through the program; returns the exit code. Throws a Failure. */
export async function replayCommand(logs: string[], options: ReplayOptions, console: Console): Promise<number> {
  return (await replayLogs(logs, options, console)).code;
}

/** Like replayCommand; also how many events there were. */
export async function replayLogs(
  logs: string[],
  options: ReplayOptions,
  console: Console,
): Promise<{ code: number; events: number }> {
  const settings = replaySettings(logs, options, console.err);
  const { expect: file, strict } = options;
  const expected = file === undefined ? null : readExpected(file);
  const replay = new Replay(logs, options, settings, console);
  const read = await replay.run();
  console.err.write(summary(read, replay.count));
  let code: number = replay.isWhole(read) ? EXIT.done : EXIT.failed;
  if (expected !== null) {
    // Differences must not get among events that are written to stdout.
    const out = options.events === '-' ? console.err : console.out;
    const how = { file: file!, strict: strict === true };
    if (!tellDifference(how, expected, replay.canonical, { out, err: console.err })) code = EXIT.differs;
  }
  return { code, events: replay.count };
}

class Replay {
  /** Only kept for `--expect`. */
  readonly canonical: string[] = [];
  count = 0;
  readonly #logs: string[];
  readonly #options: ReplayOptions;
  readonly #settings: ReplaySettings;
  readonly #console: Console;
  readonly #stdin: Rewindable;
  #limit: Limit | null = null;
  #failure: Failure | null = null;

  constructor(logs: string[], options: ReplayOptions, settings: ReplaySettings, console: Console) {
    this.#logs = logs;
    this.#options = options;
    this.#settings = settings;
    this.#console = console;
    this.#stdin = new Rewindable(console.in ?? process.stdin);
  }

  /** Was every log read to its end, or to `--to`, and were there frames in it? */
  isWhole({ files }: LogsRead): boolean {
    const stopped = this.#limit?.reached === true ? files.at(-1) : undefined;
    return files.every((file) => file.frames > 0 && (file.complete || file === stopped));
  }

  async run(): Promise<LogsRead> {
    try {
      const zeroMs = (await zeroOf(this.#logs, this.#stdin)) ?? 0;
      const output = openOutput(this.#options, this.#settings, this.#console);
      try {
        return await this.#withStore({ zeroWallMs: zeroMs, synced: zeroMs >= CALENDAR_FROM_MS }, output);
      } finally {
        output.close();
      }
    } finally {
      if (this.#logs.includes('-')) await this.#stdin.close();
    }
  }

  async #withStore(run: RunInfo, output: Output): Promise<LogsRead> {
    const { store: path, publish } = this.#options;
    if (path === undefined && publish === undefined) return this.#withSession(run, output, null);
    // What is published comes from a store; one that nobody asked to keep lives until the end.
    const folder = path === undefined ? mkdtempSync(join(tmpdir(), 'axlepost-')) : null;
    try {
      const store = await this.#openStore(path ?? join(folder!, 'replay.db'), run);
      try {
        return await this.#withSession(run, output, store);
      } finally {
        await store.close();
      }
    } finally {
      if (folder !== null) rmSync(folder, { recursive: true, force: true });
    }
  }

  async #openStore(path: string, run: RunInfo): Promise<Store> {
    const { config } = this.#settings;
    const { maxBytes, keepMs } = config.store ?? DEFAULT_STORE;
    try {
      return await openStore({ path, truck: config.truck, maxBytes, keepMs, run, mustBeNew: true });
    } catch (error) {
      throw new Failure(EXIT.failed, lineOf(error), error);
    }
  }

  async #withSession(run: RunInfo, output: Output, store: Store | null): Promise<LogsRead> {
    const { config } = this.#settings;
    const sender = store === null ? null : await this.#makeSender(store);
    const session = new Session({
      config,
      resume: null,
      run,
      store,
      publisher: sender?.publisher ?? null,
      nowMs: () => performance.now(),
      onEvents: (events) => {
        if (sender !== null) sender.lastSeq = events.at(-1)!.seq;
        this.#events(events, output);
      },
      onUnstored: (_, error) => {
        this.#failure ??= new Failure(EXIT.failed, lineOf(error), error);
      },
    });
    try {
      const read = await this.#read(session, sender);
      if (this.#failure !== null) throw this.#failure;
      await sender?.finish();
      return read;
    } catch (error) {
      await sender?.abandon();
      throw error;
    }
  }

  async #makeSender(store: Store): Promise<ReplayPublisher | null> {
    const { publish } = this.#options;
    if (publish === undefined) return null;
    // The MQTT client takes some 14 MB and most replays do without.
    const { ReplayPublisher } = await import('./replay-publisher.js');
    return new ReplayPublisher(publish, store, this.#settings.config, this.#console.err);
  }

  async #read(session: Session, sender: ReplayPublisher | null): Promise<LogsRead> {
    const { config, to } = this.#settings;
    const progress = new Progress(this.#console.err, 'replay');
    let share: number | null = null;
    const show = (): void => progress.update(share, clockOf(session.stepper.lastTick));
    const paced = this.#paced(session, show);
    const sink = paced ?? session.stepper;
    const limit = to === null ? null : new Limit(sink, to, session.run.zeroWallMs);
    this.#limit = limit;
    const read = await readLogs({
      paths: this.#logs,
      stdin: this.#stdin,
      parser: {
        interest: session.pipeline.interest,
        busOf: (name) => config.buses.findIndex((bus) => bus.interface === name || bus.name === name),
        oneBus: config.buses.length === 1,
        sink: limit ?? sink,
        onSeam: (t, zeroMs) => {
          limit?.seam(zeroMs);
          if (limit?.pass(t) !== false) (paced ?? session).seam(t, zeroMs);
        },
      },
      onProblem: (file, problem) => {
        progress.end();
        this.#console.err.write(`${problemLine(file, problem)}\n`);
      },
      onProgress: (bytes, total) => {
        share = total === null ? null : bytes / total;
        show();
      },
      afterChunk: async (parser) => {
        // Frames that are not of interest move the time too.
        limit?.pass(parser.lastT);
        await paced?.release();
        await session.backPressure();
        await sender?.backPressure();
      },
      isDone: () => limit?.reached === true || this.#failure !== null,
    });
    const last = read.parser.lastT + (this.#options.settle === true ? SETTLE_MS : 0);
    const end = limit === null ? last : Math.min(last, limit.last);
    await paced?.until(end);
    await session.finish(end);
    progress.end();
    return read;
  }

  #paced(session: Session, show: () => void): Paced | null {
    const { speed, from } = this.#settings;
    if (speed === null) return null;
    const stream: Stream = {
      frame: (t, bus, id, data, length) => session.stepper.frame(t, bus, id, data, length),
      errorFrame: (t, bus, id, data, length) => session.stepper.errorFrame(t, bus, id, data, length),
      seam: (t, zeroMs) => session.seam(t, zeroMs),
      advance: (t) => {
        session.stepper.advance(t);
        show();
      },
    };
    return new Paced(stream, speed, (t) => from === null || isAfter(from, t, session.run.zeroWallMs));
  }

  #events(events: NumberedEvent[], output: Output): void {
    const { from } = this.#settings;
    const shown = from === null ? events : events.filter(({ draft, run }) => isAfter(from, draft.t, run.zeroWallMs));
    this.count += shown.length;
    if (this.#options.expect !== undefined) for (const { draft } of shown) this.canonical.push(canonicalEvent(draft));
    output.write(shown);
  }
}

function summary({ counts: c, parser }: LogsRead, events: number): string {
  const told: [number, string][] = [
    [c.bad, 'bad lines'],
    [c.clamped, 'stamps clamped'],
    [c.seams, 'seams'],
    [c.errorFrames, 'error frames'],
    [c.shortIds, '11-bit'],
    [c.rtr, 'RTR'],
    [c.fd, 'FD'],
    [c.unknownInterface, 'from other interfaces'],
  ];
  const notes = told.filter(([count]) => count > 0).map(([count, what]) => `${count} ${what}`);
  const t: StreamMs = parser.lastT;
  const list = notes.length === 0 ? '' : `; ${notes.join(', ')}`;
  return `${clockOf(t)} of traffic, ${c.frames} frames, ${c.interesting} of interest, ${events} events${list}\n`;
}
