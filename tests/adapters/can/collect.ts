import { LogParser, type LogParserOptions } from '../../../adapters/can/log-parser.js';
import { type Problem, problemLine } from '../../../adapters/can/problem.js';

export interface SeenFrame {
  kind: 'frame' | 'error';
  t: number;
  bus: number;
  id: number;
  data: string;
}

export const EVERYTHING = new Uint8Array(2 ** 18).fill(1);

export function collector() {
  const frames: SeenFrame[] = [];
  const take = (kind: SeenFrame['kind']) => (t: number, bus: number, id: number, data: Uint8Array, length: number) => {
    frames.push({ kind, t, bus, id, data: Buffer.from(data.subarray(0, length)).toString('hex') });
  };
  return { frames, sink: { frame: take('frame'), errorFrame: take('error') } };
}

/** Reads whole texts, one file each; `cuts` are the lengths of the chunks, used in turn. */
export function readTexts(
  texts: readonly (string | Uint8Array)[],
  options: Partial<LogParserOptions> = {},
  cuts: readonly number[] = [2 ** 20],
) {
  const { frames, sink } = collector();
  const problems: Problem[] = [];
  const steps: (readonly ['seam', number, number] | readonly ['gap', number, number])[] = [];
  const parser = new LogParser({
    interest: EVERYTHING,
    busOf: (name) => (name === 'can0' ? 0 : -1),
    sink,
    onProblem: (problem) => problems.push(problem),
    onSeam: (t, zeroMs) => steps.push(['seam', t, zeroMs]),
    onGap: (from, to) => steps.push(['gap', from, to]),
    ...options,
  });
  const refused = texts.map((text) => {
    const bytes = typeof text === 'string' ? Buffer.from(text, 'latin1') : text;
    for (let at = 0, turn = 0; at < bytes.length; turn++) {
      const length = cuts[turn % cuts.length]!;
      // A copy that is spoiled after the call, as the caller may reuse its buffer.
      const chunk = Uint8Array.from(bytes.subarray(at, at + length));
      parser.push(chunk);
      chunk.fill(0x41);
      at += length;
    }
    return parser.end();
  });
  const lines = problems.map((problem) => problemLine('x.log', problem));
  return {
    frames,
    problems: lines,
    steps,
    refused,
    counts: parser.counts(),
    lastT: parser.lastT,
    zeroMs: parser.zeroMs,
  };
}

export const readText = (
  text: string | Uint8Array,
  options: Partial<LogParserOptions> = {},
  cuts?: readonly number[],
) => readTexts([text], options, cuts);
