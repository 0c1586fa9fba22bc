import { type LogsRead, readLogs } from '../../adapters/can/log-files.js';
import { problemLine } from '../../adapters/can/problem.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { FrameSink } from '../input.js';
import type { Survey } from '../survey/survey.js';
import type { StreamMs } from '../time.js';
import type { Console } from './console.js';
import { EXIT, Failure } from './failure.js';
import { type Begun, lanesOf } from './log-order.js';

const EVERYTHING = 2 ** 18;
/** With --seconds: what is counted beside the frames may go beyond by no more than this. */
const SMALL_CHUNK = 4096;

export interface SurveyLogsOptions {
  logs: readonly Begun[];
  survey: Survey;
  config: TruckConfig | null;
  console: Console;
  /** From the first frame on; null: to the end. */
  seconds: number | null;
  isTold(): boolean;
  onProgress(share: number | null): void;
  /** Called before a line for people is written. */
  onNote(): void;
  /** Name of the bus of an interface that no truck file names. */
  nameOf(link: string, index: number): string;
}

/** Lets frames of the first seconds through. */
class Cut implements FrameSink {
  over = false;
  readonly #survey: Survey;
  readonly #ms: number;

  constructor(survey: Survey, seconds: number | null) {
    this.#survey = survey;
    this.#ms = seconds === null ? Number.POSITIVE_INFINITY : 1000 * seconds;
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    if (this.#isWithin(t)) this.#survey.frame(t, bus, id, data, length);
  }

  errorFrame(t: StreamMs, bus: number, id: number): void {
    if (this.#isWithin(t)) this.#survey.errorFrame(t, bus, id);
  }

  #isWithin(t: StreamMs): boolean {
    if (t - (this.#survey.firstAt ?? t) > this.#ms) this.over = true;
    return !this.over;
  }
}

/** Reads logs into a survey. Without a truck file every interface in them is a bus. Throws a Failure when a path cannot be read. */
export async function readSurveyLogs(
  options: SurveyLogsOptions,
): Promise<{ counts: LogsRead['counts']; whole: boolean }> {
  const { logs, survey, config, console, seconds, isTold, onProgress, onNote, nameOf } = options;
  const cut = new Cut(survey, seconds);
  const say = (line: string): void => void console.err.write(`${line}\n`);
  const problems: string[] = [];
  const busOf = (link: string): number => {
    if (config !== null) return config.buses.findIndex((bus) => bus.interface === link || bus.name === link);
    return survey.addBus(nameOf(link, survey.buses.length), link);
  };
  const read = await readLogs({
    paths: logs.map(({ path }) => path),
    lanes: config?.buses.length === 1 ? [logs.map(({ path }) => path)] : lanesOf(logs, say),
    ...(console.in === undefined ? {} : { stdin: console.in }),
    parser: {
      interest: new Uint8Array(EVERYTHING).fill(1),
      busOf,
      oneBus: config?.buses.length === 1,
      sink: cut,
    },
    ...(seconds === null ? {} : { chunkBytes: SMALL_CHUNK }),
    onProblem: (file, problem) => problems.push(problemLine(file, problem)),
    onProgress: (bytes, total) => onProgress(total === null ? null : bytes / total),
    afterChunk: () => {
      tell();
    },
    isDone: () => isTold() || cut.over,
  });
  if (read.files.length === 0) throw new Failure(EXIT.failed, problems.join('\n'));
  tell();
  return { counts: read.counts, whole: read.files.every((file) => file.complete || file.stopped) };

  function tell(): void {
    if (problems.length === 0) return;
    onNote();
    for (const line of problems.splice(0)) console.err.write(`${line}\n`);
  }
}
