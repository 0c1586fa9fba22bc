import type { WallMs } from '../time.js';
import { openLogs } from './archives.js';
import { type Alert, Alerts, type When } from './compare-alerts.js';
import { matchAlerts } from './compare-match.js';
import { comparePart, type PartCompared } from './compare-part.js';
import { type Compared, comparedJson, comparedText } from './compare-print.js';
import { type Console, styleOf } from './console.js';
import { EXIT, Failure } from './failure.js';
import { type Moment, parseMoment, refuseSince } from './moment.js';
import { Progress } from './progress.js';
import { findRecorded } from './recorded.js';
import { Rewindable, zeroOf } from './recording.js';
import { type Part, planReplay } from './replay-plan.js';
import { type Left, resumeOf, runOf } from './replay-start.js';
import { type PartRead, summaryOf } from './replay-summary.js';
import { readTruck } from './truck-file.js';

/** As the command line gives them. */
export interface CompareOptions {
  /** Recordings of `run` bring their own. */
  config?: string;
  with: string;
  from?: string;
  to?: string;
  format?: string;
}

const NOBODY = { write: () => {} };

/**
 * Two configurations over the same recordings, in one pass. What differs goes to `out`; the exit code says only whether the
 * recordings could be read: a difference is an answer, not a failure. Throws a Failure.
 */
export async function compareCommand(logs: string[], options: CompareOptions, console: Console): Promise<number> {
  const { format = 'table' } = options;
  if (format !== 'table' && format !== 'json') throw new Failure(EXIT.usage, `--format ${format}: write table or json`);
  const from = options.from === undefined ? null : parseMoment('--from', options.from);
  const to = options.to === undefined ? null : parseMoment('--to', options.to);
  const config = options.config === undefined ? null : readTruck(options.config, console.err);
  const other = readTruck(options.with, console.err);
  const opened = await openLogs(logs, console.err, options.config !== undefined);
  try {
    const found = await findRecorded(opened.logs, console.err);
    // Both begin from nothing: a state that one of them has made would favour it.
    const fresh = { fresh: true, why: 'for a fair comparison' };
    const first = await planReplay(found, { ...fresh, config }, console.err);
    const second = await planReplay(found, { ...fresh, config: other }, NOBODY);
    refuseSince(first.length, from, to);
    const comparison = new Comparison(first, second, { from, to }, console);
    await comparison.run();
    const compared: Compared = {
      config: { file: options.config ?? null, config: first[0]!.config, dropped: comparison.alerts[0].dropped },
      with: { file: options.with, config: other, dropped: comparison.alerts[1].dropped },
      ...comparison.result(),
    };
    tellSame(compared, console);
    console.err.write(summaryOf(comparison.reads, comparison.events));
    const { columns } = styleOf(console.out);
    console.out.write(
      format === 'json' ? `${comparedJson(compared)}\n` : `${comparedText(compared, columns).join('\n')}\n`,
    );
    return comparison.whole ? EXIT.done : EXIT.failed;
  } finally {
    await opened.close();
  }
}

/** Nothing can differ then: most likely the wrong file was named. */
function tellSame({ config: a, with: b }: Compared, { err }: Console): void {
  if (a.config.hash === b.config.hash) err.write(`note: both configurations judge alike (${a.config.hash})\n`);
}

class Comparison {
  readonly alerts = [new Alerts(), new Alerts()] as const;
  readonly reads: PartRead[] = [];
  whole = true;
  /** Of both. */
  events = 0;
  readonly #parts: readonly (readonly [Part, Part])[];
  readonly #from: Moment | null;
  readonly #to: Moment | null;
  readonly #console: Console;
  readonly #stdin: Rewindable;
  readonly #progress: Progress;
  /** Seconds of all parts so far: where the next one begins on the common scale. */
  #baseS = 0;

  constructor(
    first: readonly Part[],
    second: readonly Part[],
    { from, to }: { from: Moment | null; to: Moment | null },
    console: Console,
  ) {
    this.#parts = first.map((part, i) => [part, second[i]!]);
    this.#from = from;
    this.#to = to;
    this.#console = console;
    this.#stdin = new Rewindable(console.in ?? process.stdin);
    this.#progress = new Progress(console.err, 'compare');
  }

  async run(): Promise<void> {
    try {
      let left: [Left | null, Left | null] = [null, null];
      for (const parts of this.#parts) {
        const { sessions, lastT, reachedTo } = await this.#part(parts, left);
        left = [
          { session: sessions[0], t: sessions[0].stepper.lastTick },
          { session: sessions[1], t: sessions[1].stepper.lastTick },
        ];
        // One second between runs, so that an end never touches the beginning of what comes after it.
        this.#baseS += lastT / 1000 + 1;
        if (reachedTo) break;
      }
    } finally {
      this.#progress.end();
      if (this.#parts.some(([{ paths }]) => paths.includes('-'))) await this.#stdin.close();
    }
  }

  async #part(parts: readonly [Part, Part], left: readonly [Left | null, Left | null]): Promise<PartCompared> {
    const { paths, recording } = parts[0];
    const zeroMs = paths.length === 0 ? null : await zeroOf(paths, this.#stdin);
    const run = runOf(parts[0], zeroMs);
    const sideOf = (i: 0 | 1) => {
      const resume = resumeOf(parts[i], run, left[i]);
      if (resume === null) this.alerts[i].startAnew(this.#baseS);
      return {
        ...{ part: parts[i], run, resume },
        onEvent: (event: Parameters<Alerts['take']>[0]) => {
          this.events++;
          this.alerts[i].take(event, this.#baseS);
        },
      };
    };
    const compared = await comparePart({
      ...{ sides: [sideOf(0), sideOf(1)], to: this.#to, stdin: this.#stdin },
      ...{ console: this.#console, progress: this.#progress },
    });
    this.reads.push({ read: compared.read, firstT: recording?.firstT ?? 0 });
    this.whole &&= compared.whole;
    return compared;
  }

  /** A problem that was over in both before `--from` is left out; one that reaches into it is whole. */
  #isWanted(alerts: readonly Alert[]): boolean {
    const from = this.#from;
    if (from === null) return true;
    const isAfter = ({ s, at }: When): boolean => ('since' in from ? s * 1000 >= from.since : wallOf(at) >= from.wall);
    return alerts.some(({ end }) => end === null || isAfter(end));
  }

  result(): Pick<Compared, 'traffic' | 'pairs'> {
    const frames = this.reads.reduce((sum, { read }) => sum + read.counts.frames, 0);
    const ms = this.reads.reduce((sum, { read, firstT }) => sum + Math.max(0, read.parser.lastT - firstT), 0);
    const [first, second] = this.alerts;
    const pairs = matchAlerts(first.all, second.all).filter(({ config, with: other }) =>
      this.#isWanted([...config, ...other]),
    );
    return { traffic: { s: ms / 1000, frames }, pairs };
  }
}

const wallOf = (at: string): WallMs => Date.parse(at);
