import { type LogsRead, readLogs } from '../../adapters/can/log-files.js';
import { problemLine } from '../../adapters/can/problem.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import type { FrameSink } from '../input.js';
import type { Resume } from '../pipeline.js';
import type { StreamMs } from '../time.js';
import type { Console } from './console.js';
import { clockOf } from './expect.js';
import { Feeder } from './feeder.js';
import { Limit } from './limit.js';
import type { Moment } from './moment.js';
import type { Progress } from './progress.js';
import type { Rewindable } from './recording.js';
import { EVERY_FRAME, isWhole } from './replay-part.js';
import type { Part } from './replay-plan.js';
import { Session } from './session.js';

export interface SideOptions {
  part: Part;
  run: RunInfo;
  resume: Resume | null;
  onEvent(event: NumberedEvent): void;
}

/** The same part of the recordings for two sessions, each with its own configuration. */
export interface ComparePartOptions {
  sides: readonly [SideOptions, SideOptions];
  /** null: to the end. */
  to: Moment | null;
  stdin: Rewindable;
  console: Console;
  progress: Progress;
}

export interface PartCompared {
  read: LogsRead;
  /** Every log was read to its end, or to `--to`. */
  whole: boolean;
  /** Nothing after it is wanted. */
  reachedTo: boolean;
  lastT: StreamMs;
  sessions: readonly [Session, Session];
}

/** Reads a part once and hands each frame to both. Throws what the adapters throw. */
export async function comparePart({ sides, to, stdin, console, progress }: ComparePartOptions): Promise<PartCompared> {
  const sessions = [sessionOf(sides[0]), sessionOf(sides[1])] as const;
  const { part } = sides[0];
  const feeders = sides.map(({ part: { recording } }, i) =>
    recording === null ? null : new Feeder(sessions[i]!, recording.inputs, recording.busNames),
  );
  const [a, b] = [feeders[0] ?? sessions[0].stepper, feeders[1] ?? ownBuses(sessions[1], sides)];
  const sink = both(a, b);
  const limit = to === null ? null : new Limit(sink, to, sides[0].run.zeroWallMs);
  const read = await readLogs({
    paths: part.paths,
    lanes: part.lanes,
    stdin,
    parser: {
      ...parserFor(part, sessions, feeders),
      sink: limit ?? sink,
      onSeam: (t, zeroMs) => {
        limit?.seam(zeroMs);
        if (limit?.pass(t) === false) return;
        for (const session of sessions) session.seam(t, zeroMs);
      },
    },
    onProblem: (file, problem) => {
      progress.end();
      console.err.write(`${problemLine(file, problem)}\n`);
    },
    onProgress: (bytes, total) =>
      progress.update(total === null ? null : bytes / total, clockOf(sessions[0].stepper.lastTick)),
    // Frames that are not of interest move the time too.
    afterChunk: (parser) => void limit?.pass(parser.lastT),
    isDone: () => limit?.reached === true,
  });
  const recorded = Math.max(read.parser.lastT, part.recording?.lastTick ?? 0);
  const lastT = limit === null ? recorded : Math.min(recorded, limit.last);
  const reachedTo = limit?.reached === true;
  for (const feeder of feeders) feeder?.advance(lastT);
  for (const session of sessions) await session.finish(lastT);
  const whole = isWhole(part, read.files);
  return { read, whole, reachedTo, lastT, sessions };
}

function sessionOf({ part, run, resume, onEvent }: SideOptions): Session {
  return new Session({
    ...{ config: part.config, resume, run, store: null },
    nowMs: () => 0,
    onEvents: (events) => {
      for (const event of events) onEvent(event);
    },
  });
}

function both(a: FrameSink, b: FrameSink): FrameSink {
  return {
    frame: (t, bus, id, data, length) => {
      a.frame(t, bus, id, data, length);
      b.frame(t, bus, id, data, length);
    },
    errorFrame: (t, bus, id, data, length) => {
      a.errorFrame(t, bus, id, data, length);
      b.errorFrame(t, bus, id, data, length);
    },
  };
}

/** Interfaces are those of the first configuration; where the second one has these buses elsewhere, its names tell. */
function ownBuses({ stepper }: Session, [{ part: first }, { part: second }]: ComparePartOptions['sides']): FrameSink {
  const numbers = first.config.buses.map(({ name }) => second.config.buses.findIndex((bus) => bus.name === name));
  if (numbers.every((number, index) => number === index)) return stepper;
  return {
    frame: (t, bus, id, data, length) => {
      if (numbers[bus]! >= 0) stepper.frame(t, numbers[bus]!, id, data, length);
    },
    errorFrame: (t, bus, id, data, length) => {
      if (numbers[bus]! >= 0) stepper.errorFrame(t, numbers[bus]!, id, data, length);
    },
  };
}

function parserFor({ config, recording }: Part, sessions: readonly Session[], feeders: readonly (Feeder | null)[]) {
  if (recording !== null) {
    const busOf = (name: string): number => feeders.reduce((_, feeder) => feeder!.busOf(name), 0);
    return { interest: EVERY_FRAME, busOf, zeroMs: recording.zeroMs };
  }
  return {
    interest: eitherOf(sessions.map(({ pipeline }) => pipeline.interest)),
    busOf: (name: string) => busIn(config, name),
    oneBus: config.buses.length === 1,
  };
}

const busIn = ({ buses }: TruckConfig, name: string): number =>
  buses.findIndex((bus) => bus.interface === name || bus.name === name);

/** A frame that only one of them looks at is nothing to the other. */
function eitherOf(tables: readonly Uint8Array[]): Uint8Array {
  return Uint8Array.from({ length: 2 ** 18 }, (_, i) => (tables.some((table) => table[i] !== 0) ? 1 : 0));
}
