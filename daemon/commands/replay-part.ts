import { type FileRead, type LogsRead, readLogs } from '../../adapters/can/log-files.js';
import { problemLine } from '../../adapters/can/problem.js';
import type { Store } from '../../adapters/store/contract.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import type { Numberer } from '../alerts/numbering.js';
import type { Resume } from '../pipeline.js';
import type { StreamMs } from '../time.js';
import type { Watch } from '../watch.js';
import type { Console } from './console.js';
import { clockOf } from './expect.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { Feeder } from './feeder.js';
import { Limit } from './limit.js';
import { isAfter } from './moment.js';
import { Paced, type Stream } from './paced.js';
import { Progress } from './progress.js';
import type { Rewindable } from './recording.js';
import type { Part } from './replay-plan.js';
import type { ReplayPublisher } from './replay-publisher.js';
import type { ReplaySettings } from './replay-settings.js';
import { Session, type TripsTold } from './session.js';

/** `--settle`: the bus is seen to be quiet for so long after the last frame. */
const SETTLE_MS = 61_000;
/** Of a recording every frame was of interest; what is now, the configuration in force says. */
export const EVERY_FRAME = new Uint8Array(2 ** 18).fill(1);

export interface PartOptions {
  part: Part;
  settings: ReplaySettings;
  settle: boolean;
  run: RunInfo;
  resume: Resume | null;
  store: Store | null;
  sender: ReplayPublisher | null;
  numberer: Numberer;
  stdin: Rewindable;
  console: Console;
  watch: Watch | null;
  /** What is wrong with a log, as it is printed. */
  onProblem: (line: string) => void;
  onEvents: (events: NumberedEvent[], session: Session) => void;
  onTrips: (told: TripsTold, session: Session) => void;
}

/** One session with its logs. */
export class PartReplay {
  readonly session: Session;
  /** Everything up to it was decided; once it has run. */
  endT: StreamMs = 0;
  readonly #options: PartOptions;
  readonly #feeder: Feeder | null;
  readonly #limit: Limit | null;
  readonly #paced: Paced | null;
  readonly #progress: Progress;
  #share: number | null = null;
  #failure: Failure | null = null;

  constructor(options: PartOptions) {
    const { part, settings, run, resume, store, sender, numberer, onEvents, console } = options;
    this.#options = options;
    this.#progress = new Progress(console.err, 'replay');
    this.session = new Session({
      ...{ config: part.config, resume, run, store, numberer },
      publisher: sender?.publisher ?? null,
      watch: options.watch,
      nowMs: () => performance.now(),
      onEvents: (events) => {
        if (sender !== null) sender.lastSeq = events.at(-1)!.seq;
        onEvents(events, this.session);
      },
      onTrips: (told) => options.onTrips(told, this.session),
      onUnstored: (_, error) => {
        this.#failure ??= new Failure(EXIT.failed, lineOf(error), error);
      },
    });
    const { recording } = part;
    this.#feeder = recording === null ? null : new Feeder(this.session, recording.inputs, recording.busNames);
    this.#paced = settings.speed === null ? null : this.#makePaced(settings.speed);
    const sink = this.#paced ?? this.#feeder ?? this.session.stepper;
    this.#limit = settings.to === null ? null : new Limit(sink, settings.to, run.zeroWallMs);
  }

  /** Reads it to its end, or to `--to`. Throws a Failure. */
  async run(): Promise<LogsRead> {
    const { settle, part } = this.#options;
    const read = await this.#read();
    const recorded = part.recording?.lastTick ?? 0;
    const last = Math.max(read.parser.lastT, recorded) + (settle ? SETTLE_MS : 0);
    const end = this.#limit === null ? last : Math.min(last, this.#limit.last);
    await this.#paced?.until(end);
    this.#feeder?.advance(end);
    await this.session.finish(end);
    this.endT = end;
    this.#progress.end();
    if (this.#failure !== null) throw this.#failure;
    return read;
  }

  /** Nothing after it is wanted. */
  get reachedTo(): boolean {
    return this.#limit?.reached === true;
  }

  /** Was every log read to its end, or to `--to`, and were there frames in it? */
  isWhole({ files }: LogsRead): boolean {
    return isWhole(this.#options.part, files);
  }

  #read(): Promise<LogsRead> {
    const { part, stdin, console, sender } = this.#options;
    const { session } = this;
    const limit = this.#limit;
    return readLogs({
      paths: part.paths,
      lanes: part.lanes,
      stdin,
      parser: {
        ...this.#parserFor(part),
        sink: limit ?? this.#paced ?? this.#feeder ?? session.stepper,
        onSeam: (t, zeroMs) => {
          limit?.seam(zeroMs);
          if (limit?.pass(t) !== false) (this.#paced ?? session).seam(t, zeroMs);
        },
      },
      onProblem: (file, problem) => {
        this.#progress.end();
        const line = problemLine(file, problem);
        console.err.write(`${line}\n`);
        this.#options.onProblem(line);
      },
      onProgress: (bytes, total) => {
        this.#share = total === null ? null : bytes / total;
        this.#show();
      },
      afterChunk: async (parser) => {
        // Frames that are not of interest move the time too.
        limit?.pass(parser.lastT);
        await this.#paced?.release();
        await session.backPressure();
        await sender?.backPressure();
      },
      isDone: () => this.reachedTo || this.#failure !== null,
    });
  }

  #parserFor({ config, recording }: Part) {
    const feeder = this.#feeder;
    if (feeder !== null) {
      return { interest: EVERY_FRAME, busOf: (name: string) => feeder.busOf(name), zeroMs: recording!.zeroMs };
    }
    return {
      interest: this.session.pipeline.interest,
      busOf: (name: string) => config.buses.findIndex((bus) => bus.interface === name || bus.name === name),
      oneBus: config.buses.length === 1,
    };
  }

  #show(): void {
    this.#progress.update(this.#share, clockOf(this.session.stepper.lastTick));
    this.#options.console.onProgress?.(this.#share);
  }

  #makePaced(speed: number): Paced {
    const { session } = this;
    const { from } = this.#options.settings;
    const sink = this.#feeder ?? session.stepper;
    const stream: Stream = {
      frame: (t, bus, id, data, length) => sink.frame(t, bus, id, data, length),
      errorFrame: (t, bus, id, data, length) => sink.errorFrame(t, bus, id, data, length),
      seam: (t, zeroMs) => session.seam(t, zeroMs),
      advance: (t) => {
        sink.advance(t);
        this.#show();
      },
    };
    return new Paced(stream, speed, (t) => from === null || isAfter(from, t, session.run.zeroWallMs));
  }
}

/** Was every log of a part read to its end, or left on purpose, and were there frames in it? */
export function isWhole({ recording }: Part, files: readonly FileRead[]): boolean {
  return files.every(
    (one) => recording?.cutOff.has(one.file) === true || one.stopped || (one.frames > 0 && one.complete),
  );
}
