import type { WallMs } from '../../daemon/time.js';
import { INTEREST_SIZE } from './frame-reader.js';
import { UNNAMED } from './interfaces.js';
import { readLogs } from './log-files.js';
import type { Problem } from './problem.js';
import { NOT_A_LOG } from './sniff.js';

/** A file without a frame in so many unpacked bytes is no log. */
const LOOK_BYTES = 2 ** 20;
const LOOK_CHUNK = 4096;
const EVERYTHING = new Uint8Array(INTEREST_SIZE).fill(1);

export interface Look {
  /** Wall time of its first frame; null: there is none at its beginning. */
  firstMs: WallMs | null;
  /** Interface of its first frame; null: there is none, or it is not named. */
  link: string | null;
  /** What it is instead of a log, in a few words; null where firstMs is known. */
  instead: string | null;
}

/** Looks at the beginning of a file: is it a log, and when does it begin? Never rejects for what is in the file. */
export async function lookAt(path: string): Promise<Look> {
  const problems: Problem[] = [];
  let first: number | null = null;
  let link: string | null = null;
  let bytes = 0;
  const see = (t: number): void => {
    first ??= t;
  };
  const { parser } = await readLogs({
    paths: [path],
    parser: {
      interest: EVERYTHING,
      busOf: (name) => {
        if (name !== UNNAMED) link ??= name;
        return 0;
      },
      sink: { frame: see, errorFrame: see },
    },
    chunkBytes: LOOK_CHUNK,
    onProblem: (_file, problem) => problems.push(problem),
    afterChunk: () => {
      bytes += LOOK_CHUNK;
    },
    isDone: () => first !== null || bytes >= LOOK_BYTES,
  });
  const { zeroMs } = parser;
  if (zeroMs !== null) return { firstMs: zeroMs + (first ?? parser.lastT), link, instead: null };
  const { text = 'no frame in it', line = null } = problems[0] ?? {};
  return { firstMs: null, link: null, instead: line === null ? text.replace(NOT_A_LOG, '') : 'text of another kind' };
}
