import { stat } from 'node:fs/promises';
import { readLogs } from '../../adapters/can/log-files.js';
import { problemLine } from '../../adapters/can/problem.js';
import type { WallMs } from '../time.js';
import { EXIT, Failure } from './failure.js';

/** A log whose first stamp is not within so many unpacked bytes has none as far as its zero goes. */
const LOOK_BYTES = 4 * 2 ** 20;
const LOOK_CHUNK = 4096;

/** Standard input that can be looked into and then read from its beginning. */
export class Rewindable implements AsyncIterable<Uint8Array> {
  readonly #source: AsyncIterator<Uint8Array>;
  #seen: Uint8Array[] | null = [];

  constructor(source: AsyncIterable<Uint8Array>) {
    this.#source = source[Symbol.asyncIterator]();
  }

  /** What comes, remembered. */
  async *look(): AsyncGenerator<Uint8Array> {
    for (let next = await this.#source.next(); next.done !== true; next = await this.#source.next()) {
      this.#seen?.push(next.value);
      yield next.value;
    }
  }

  /** From the beginning; nothing is remembered any more. */
  async *[Symbol.asyncIterator](): AsyncGenerator<Uint8Array> {
    const seen = this.#seen ?? [];
    this.#seen = null;
    for (let chunk = seen.shift(); chunk !== undefined; chunk = seen.shift()) yield chunk;
    yield* this.look();
  }

  async close(): Promise<void> {
    await this.#source.return?.();
  }
}

/**
 * Zero of the recording: its first stamp cut to a whole second; null when there is none. Throws a Failure, one line per path,
 * when a path cannot be read: then nothing has been written yet.
 */
export async function zeroOf(paths: readonly string[], stdin: Rewindable): Promise<WallMs | null> {
  for (const path of paths) await refusePipe(path);
  const problems: string[] = [];
  let zero: WallMs | null = null;
  let bytes = 0;
  const read = await readLogs({
    paths,
    stdin: { [Symbol.asyncIterator]: () => stdin.look() },
    parser: {
      interest: new Uint8Array(2 ** 18),
      busOf: () => 0,
      oneBus: true,
      sink: { frame: () => {}, errorFrame: () => {} },
    },
    chunkBytes: LOOK_CHUNK,
    onProblem: (file, problem) => problems.push(problemLine(file, problem)),
    afterChunk: (parser) => {
      zero = parser.zeroMs;
      bytes += LOOK_CHUNK;
    },
    isDone: () => zero !== null || bytes > LOOK_BYTES,
  });
  if (read.files.length === 0) throw new Failure(EXIT.failed, problems.join('\n'));
  return read.parser.zeroMs;
}

/** What can be read only once would lose its beginning to the look for its first stamp. */
async function refusePipe(path: string): Promise<void> {
  const entry = path === '-' ? null : await stat(path).catch(() => null);
  if (entry?.isFIFO() !== true && entry?.isCharacterDevice() !== true && entry?.isSocket() !== true) return;
  throw new Failure(EXIT.usage, `${path}: a pipe; send it to standard input and write - in its place`);
}
