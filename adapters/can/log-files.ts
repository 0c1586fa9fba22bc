import { access, constants, stat } from 'node:fs/promises';
import { basename } from 'node:path';
import { FirstProblems } from './first-problems.js';
import { GzipError } from './gunzip.js';
import { interfaceOf } from './interfaces.js';
import type { LogCounts } from './log-counts.js';
import { LogParser, type LogParserOptions } from './log-parser.js';
import { type LogSource, LogSources } from './log-source.js';
import type { Problem } from './problem.js';
import { type Reached, SideBySide } from './side-by-side.js';

export interface ReadLogsOptions {
  /** Paths in the order of time, or `-` for stdin; read as one stream. Line numbers count per file. */
  paths: readonly string[];
  /** The same paths where they were recorded side by side: each list is in the order of time, and all are put together by their stamps. */
  lanes?: readonly (readonly string[])[];
  parser: Omit<LogParserOptions, 'onProblem'>;
  /** What is wrong with a file, as it is met; see problemLine. */
  onProblem(file: string, problem: Problem): void;
  /** The parser gets at most this much at a time; small values let a paced replay stop often. Default: what one read gives. */
  chunkBytes?: number;
  /** After each read: bytes of all files so far, and of all files together (null where one is a pipe). */
  onProgress?(bytes: number, total: number | null): void;
  /** After each chunk; its promise is awaited before the next. */
  afterChunk?(reached: Reached): void | Promise<void>;
  /** Asked after each chunk: true ends the reading early, as if the last file ended there. */
  isDone?(): boolean;
  /** Stands for `-`; default: process.stdin. */
  stdin?: AsyncIterable<Uint8Array>;
}

export interface FileRead {
  file: string;
  /** Well-formed frames, of interest or not. */
  frames: number;
  /** Read to its end. Otherwise the caller was done, or onProblem was told why; what came before counts. */
  complete: boolean;
  stopped: boolean;
}

export interface LogsRead {
  /** Empty when a path could not be read at all: then nothing was read, and onProblem was told of each such path. */
  files: FileRead[];
  parser: Reached;
  counts: LogCounts;
}

interface Input {
  path: string;
  /** null: a pipe or device. */
  bytes: number | null;
}

/** Name of a file in messages. */
const shown = (path: string): string => (path === '-' ? 'stdin' : path);

/**
 * Reads recorded logs into the parser's sink. Nothing is read unless every path can be; what is wrong inside a file is
 * told and costs nothing but the damaged lines. Rejects only with what a callback or the sink threw.
 */
export async function readLogs(options: ReadLogsOptions): Promise<LogsRead> {
  const inputs = await findInputs(options);
  const problems = new FirstProblems((file, problem) => options.onProblem(file, problem));
  const reading: Reading = {
    ...options,
    onProblem: (file, problem) => problems.add(file, problem),
    ...{ problems, progress: new Progress(inputs, options), sources: new LogSources(options) },
  };
  const lanes = options.lanes ?? [options.paths];
  try {
    if (inputs === null || lanes.length === 1) return await readInTurn(inputs ?? [], reading);
    return await readSideBySide(lanes, reading);
  } finally {
    await reading.sources.close();
  }
}

/** What all files of one call share. */
interface Reading extends ReadLogsOptions {
  problems: FirstProblems;
  progress: Progress;
  sources: LogSources;
}

/** Logs that follow each other. */
async function readInTurn(inputs: readonly Input[], options: Reading): Promise<LogsRead> {
  let current = '';
  /** The file before this one, and where it ended. */
  let before: { path: string; endMs: number; frames: number } | null = null;
  const parser = new LogParser({
    ...options.parser,
    onProblem: (problem) => options.onProblem(shown(current), problem),
    onSeam: (t, zeroMs) => {
      const isFirst = before !== null && parser.counts().frames - before.frames <= 1;
      if (isFirst) options.onProblem(shown(current), overlap(before!.endMs - (zeroMs + t), before!.path));
      options.parser.onSeam?.(t, zeroMs);
    },
  });
  const files: FileRead[] = [];
  for (const [i, { path }] of inputs.entries()) {
    if (options.isDone?.() === true) break;
    current = path;
    const after = inputs[i + 1];
    // To open a pipe may take as long as somebody likes.
    const following = after === undefined || after.bytes === null ? null : after.path;
    const file = await afterEach(readOne(path, parser, options, following), () => options.afterChunk?.(parser));
    files.push(file);
    if (parser.zeroMs !== null) {
      before = { path, endMs: parser.zeroMs + parser.lastT, frames: parser.counts().frames };
    }
  }
  return { files, parser, counts: parser.counts() };
}

/** Logs that were recorded at once. */
async function readSideBySide(lanes: readonly (readonly string[])[], options: Reading): Promise<LogsRead> {
  const current = lanes.map(() => '');
  const both = new SideBySide(options.parser, lanes.length, (lane, problem) =>
    options.onProblem(shown(current[lane]!), problem),
  );
  const files: FileRead[] = [];
  const reading = new Set<string>();
  const readings = lanes.map((paths, lane) => readLane(paths, lane));
  try {
    for (let lane = both.next; lane >= 0 && options.isDone?.() !== true; lane = both.next) {
      if ((await readings[lane]!.next()).done === true) both.end(lane);
      both.release();
      await options.afterChunk?.(both);
    }
  } finally {
    for (const one of readings) await one.return(undefined);
  }
  for (const file of reading) files.push({ file, frames: 0, complete: false, stopped: true });
  return { files, parser: both, counts: both.counts() };

  async function* readLane(paths: readonly string[], lane: number): AsyncGenerator<void> {
    for (const path of paths) {
      current[lane] = path;
      reading.add(path);
      files.push(yield* readOne(path, both.parserOf(lane), options));
      reading.delete(path);
      if (options.isDone?.() === true) return;
    }
  }
}

async function afterEach<T>(reading: AsyncGenerator<void, T>, act: () => void | Promise<void>): Promise<T> {
  try {
    for (let next = await reading.next(); ; next = await reading.next()) {
      if (next.done === true) return next.value;
      const waiting = act();
      if (waiting !== undefined) await waiting;
    }
  } finally {
    // Closes the file where `act` threw.
    await reading.return(undefined as never);
  }
}

/** Bytes of all files that were read, told after each read. */
class Progress {
  readonly #total: number | null;
  readonly #tell: ReadLogsOptions['onProgress'];
  #bytes = 0;

  constructor(inputs: readonly Input[] | null, { onProgress }: ReadLogsOptions) {
    this.#tell = onProgress;
    this.#total = (inputs ?? []).reduce<number | null>(
      (sum, { bytes }) => (bytes === null || sum === null ? null : sum + bytes),
      0,
    );
  }

  more(bytes: number): void {
    this.#bytes += bytes;
    this.#tell?.(this.#bytes, this.#total);
  }
}

/** A file that begins before the one that was read before it has ended. */
function overlap(ms: number, path: string): Problem {
  const text = `begins ${(ms / 1000).toFixed(1)} s before the end of ${basename(shown(path))}`;
  const hint = 'it is taken as what came after';
  return { line: null, column: null, text, hint };
}

/** null: some path cannot be read, and every such path was told. */
async function findInputs({ paths, onProblem }: ReadLogsOptions): Promise<Input[] | null> {
  const inputs: Input[] = [];
  const bad: string[] = [];
  for (const [at, path] of paths.entries()) {
    const found = path === '-' ? findStdin(paths.indexOf('-') === at) : await findFile(path);
    if (typeof found === 'object') inputs.push({ path, bytes: found.bytes });
    else {
      bad.push(path);
      const [text, hint = ''] = found.split('; ');
      onProblem(shown(path), { line: null, column: null, text: text!, hint });
    }
  }
  return bad.length > 0 ? null : inputs;
}

const findStdin = (first: boolean) => (first ? { bytes: null } : 'stdin is named twice');

async function findFile(path: string): Promise<{ bytes: number | null } | string> {
  try {
    const entry = await stat(path);
    if (entry.isDirectory()) return 'is a directory; name the logs in it';
    await access(path, constants.R_OK);
    return { bytes: entry.isFile() ? entry.size : null };
  } catch (error) {
    return systemText(error as NodeJS.ErrnoException);
  }
}

function systemText(error: NodeJS.ErrnoException): string {
  if (error.code === 'ENOENT' || error.code === 'ENOTDIR') return 'no such file; check the path';
  if (error.code === 'EACCES' || error.code === 'EPERM') return 'no permission to read it; check its owner and mode';
  return `cannot be read (${error.code ?? error.message})`;
}

/** One file, chunk by chunk: yields after each. following: what is opened meanwhile. */
async function* readOne(
  path: string,
  parser: LogParser,
  options: Reading,
  following: string | null = null,
): AsyncGenerator<void, FileRead> {
  const tell = (text: string, hint: string) => options.onProblem(shown(path), { line: null, column: null, text, hint });
  const before = parser.counts();
  options.problems.begin(shown(path));
  parser.nameInterface(interfaceOf(path));
  let source: LogSource;
  try {
    source = await options.sources.open(path);
  } catch (error) {
    options.problems.release(shown(path));
    tell(systemText(error as NodeJS.ErrnoException), '');
    return { file: path, frames: 0, complete: false, stopped: false };
  }
  let ended: Ended;
  if (following !== null) options.sources.ahead(following);
  try {
    ended = yield* pump(source, parser, options, () => {
      if (parser.counts().frames > before.frames) options.problems.release(shown(path));
    });
  } finally {
    await source.close();
  }
  const { failure, stopped } = ended;
  const refused = parser.end(stopped);
  const { frames: all, bad } = parser.counts();
  const frames = all - before.frames;
  const isEmpty = frames === 0 && !refused && !stopped;
  const isTold = isEmpty && failure === null && options.problems.endEmpty(shown(path), bad - before.bad);
  options.problems.release(shown(path));
  if (failure !== null) tell(failure, 'what came before is used');
  if (isEmpty && !isTold) tell('has no frames', source.bytesRead() === 0 ? 'the file is empty' : '');
  return { file: path, frames, complete: failure === null && !refused && !stopped, stopped };
}

interface Ended {
  /** What ended the reading before the file did. */
  failure: string | null;
  /** The caller was done. */
  stopped: boolean;
}

async function* pump(
  source: LogSource,
  parser: LogParser,
  { chunkBytes = Number.POSITIVE_INFINITY, isDone, progress }: Reading,
  afterPush: () => void,
): AsyncGenerator<void, Ended> {
  let bytes = 0;
  for (;;) {
    let next: IteratorResult<Uint8Array>;
    try {
      next = await source.chunks.next();
    } catch (error) {
      return { failure: readingText(error as Error), stopped: false };
    }
    if (next.done) return { failure: null, stopped: false };
    for (let from = 0; from < next.value.length; from += chunkBytes) {
      parser.push(next.value.subarray(from, from + chunkBytes));
      afterPush();
      yield;
      if (isDone?.() === true) return { failure: null, stopped: true };
    }
    progress.more(source.bytesRead() - bytes);
    bytes = source.bytesRead();
  }
}

function readingText(error: Error): string {
  if (!(error instanceof GzipError)) return systemText(error);
  return error.cutShort ? 'gzip data cut short' : `gzip data damaged (${error.message})`;
}
