import { basename } from 'node:path';
import type { LogsRead } from '../../adapters/can/log-files.js';
import type { Gatherer } from '../../report/gather/gatherer.js';
import type { RunInfo } from '../alerts/numbered.js';
import type { StreamMs } from '../time.js';
import type { Console } from './console.js';
import { EXIT, Failure } from './failure.js';
import { isAfter, type Moment } from './moment.js';
import { Progress } from './progress.js';
import type { Part } from './replay-plan.js';
import type { PartRead } from './replay-summary.js';
import type { Session } from './session.js';
import { VERSION } from './version.js';
import { readPage, writeReport } from './write-report.js';

/** The screen had them all; how many lines were bad is counted too. */
const MOST_PROBLEMS = 10;

/** `--report` of a replay: gathers what it is made of, and writes it. */
export class ReplayReport {
  readonly gatherer: Gatherer;
  readonly #path: string;
  readonly #console: Console;
  /** Logs that were not read to their end. */
  readonly #cut: string[] = [];
  /** The first problems of the logs, as they were printed. */
  readonly #problems: string[] = [];

  private constructor(path: string, gatherer: Gatherer, console: Console) {
    this.#path = path;
    this.gatherer = gatherer;
    this.#console = console;
  }

  /** Refuses what cannot become one report. Most replays do without, and need not load it. Throws a Failure. */
  static async open(
    path: string,
    parts: readonly Part[],
    from: Moment | null,
    console: Console,
  ): Promise<ReplayReport> {
    const trucks = [...new Set(parts.map(({ config }) => `${config.fleet}/${config.truck}`))];
    if (trucks.length > 1) {
      const line = `--report tells of one truck, and these logs are of ${trucks.join(', ')}`;
      throw new Failure(EXIT.usage, `${line}; name the logs of one of them`);
    }
    readPage();
    const { Gatherer } = await import('../../report/gather/gatherer.js');
    const isShown = (t: StreamMs, zeroWallMs: number): boolean => from === null || isAfter(from, t, zeroWallMs);
    return new ReplayReport(path, new Gatherer({ version: VERSION, isShown }), console);
  }

  /** @param t stream time at which the session starts */
  begin({ pipeline, config }: Session, { zeroWallMs, synced }: RunInfo, t: StreamMs): void {
    this.gatherer.begin({ t, pipeline, config, zeroWallMs, synced });
  }

  /** Something is wrong with a log: a line as it is printed. */
  problem(line: string): void {
    if (this.#problems.length < MOST_PROBLEMS) this.#problems.push(line);
  }

  /** @param t everything up to it was decided @param stopped the last log was left on purpose */
  end(t: StreamMs, { files }: LogsRead, stopped: boolean): void {
    this.gatherer.end(t);
    const cut = files.filter((file) => !file.complete && !(stopped && file === files.at(-1)));
    for (const { file } of cut) this.#cut.push(nameOf(file));
  }

  /** Writes it and says so; false: there is nothing to report. lines: about the recordings. Throws a Failure. */
  async write(parts: readonly Part[], reads: readonly PartRead[], lines: readonly string[]): Promise<boolean> {
    const sum = (key: keyof LogsRead['counts']): number => reads.reduce((all, { read }) => all + read.counts[key], 0);
    if (this.gatherer.isEmpty || sum('frames') === 0) {
      const why =
        sum('frames') === 0 ? 'there are no frames in these logs' : 'nothing of these logs comes after --from';
      this.#console.err.write(`${this.#path}: not written, ${why}\n`);
      return false;
    }
    const progress = new Progress(this.#console.err, 'report');
    progress.update(null, 'is being made');
    const { makeReport } = await import('../../report/story/make-report.js');
    const logs = parts.slice(0, reads.length).flatMap(({ paths }) => paths.map(nameOf));
    const source = { kind: 'replay', logs, frames: sum('frames'), interesting: sum('interesting') } as const;
    const notes = [
      ...[...lines, ...this.#problems].map(sentenceOf),
      ...countNotes(sum),
      ...this.#cut.map((log) => `${log}: not read to its end.`),
    ];
    const { bytes, data } = writeReport(
      this.#path,
      makeReport(this.gatherer.gathered(source, notes), { version: VERSION }),
    );
    progress.end();
    const alerts = data.glance.alerts.length;
    const size = bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} KB` : `${(bytes / 1e6).toFixed(1)} MB`;
    this.#console.err.write(`${this.#path}: ${size}, ${alerts} ${alerts === 1 ? 'alert' : 'alerts'}\n`);
    return true;
  }
}

const nameOf = (path: string): string => (path === '-' ? 'stdin' : basename(path));

/** A line of the plan, without folders: `/a/b.log: starts …` is "b.log: starts …." */
const sentenceOf = (line: string): string => `${line.replace(/^\S*\//, '').trimEnd()}.`;

function countNotes(sum: (key: keyof LogsRead['counts']) => number): string[] {
  const told: [count: number, one: string, more: string][] = [
    [sum('bad'), 'line of the logs was damaged and counts', 'lines of the logs were damaged and count'],
    [sum('badPackets'), 'packet of a capture was damaged and counts', 'packets of captures were damaged and count'],
    [
      sum('unknownInterface'),
      'frame came from an interface that the truck file does not name, and counts',
      'frames came from interfaces that the truck file does not name, and count',
    ],
  ];
  return told.filter(([count]) => count > 0).map(([n, one, more]) => `${n} ${n === 1 ? one : more} for nothing.`);
}
