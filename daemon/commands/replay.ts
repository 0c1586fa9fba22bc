import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { LogsRead } from '../../adapters/can/log-files.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { Numberer } from '../alerts/numbering.js';
import { canonicalEvent } from '../alerts/rendering.js';
import type { StreamMs, WallMs } from '../time.js';
import { openLogs } from './archives.js';
import type { Console } from './console.js';
import { type ExpectOptions, tellVerdict, wantedEvents } from './expect-verdict.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { isAfter, refuseSince } from './moment.js';
import { findRecorded } from './recorded.js';
import { Rewindable, zeroOf } from './recording.js';
import { type Output, openOutput } from './replay-output.js';
import { type PartOptions, PartReplay } from './replay-part.js';
import { type Part, planReplay } from './replay-plan.js';
import type { ReplayPublisher } from './replay-publisher.js';
import { ReplayReport } from './replay-report.js';
import { type ReplayOptions, type ReplaySettings, replaySettings } from './replay-settings.js';
import { type Left, resumeOf, runOf } from './replay-start.js';
import { type PartRead, summaryOf } from './replay-summary.js';
import type { Session, TripsTold } from './session.js';
import { DEFAULT_STORE } from './store-defaults.js';

/** Replays logs through the program; returns the exit code. Throws a Failure. */
export async function replayCommand(logs: string[], options: ReplayOptions, console: Console): Promise<number> {
  return (await replayLogs(logs, options, console)).code;
}

/** What came of a replay. */
export interface Replayed {
  code: number;
  /** How many. */
  events: number;
  /** Canonical lines, where they are compared or collected. */
  canonical: readonly string[];
  /** What was read, one line with its end. */
  summary: string;
}

/** Like replayCommand; also what came of it. */
export async function replayLogs(logs: string[], options: ReplayOptions, console: Console): Promise<Replayed> {
  const opened = await openLogs(logs, console.err, options.config !== undefined);
  try {
    return await replayOpened(opened.logs, options, console);
  } finally {
    await opened.close();
  }
}

async function replayOpened(logs: string[], options: ReplayOptions, console: Console): Promise<Replayed> {
  const settings = replaySettings(logs, options, console.err);
  const expect = expectOptions(options);
  const wanted = expect === null ? null : wantedEvents(expect);
  const found = await findRecorded(logs, console.err);
  const said: string[] = [];
  const plan = { config: settings.config, fresh: options.fresh === true };
  const parts = await planReplay(found, plan, {
    write: (text) => {
      said.push(text);
      console.err.write(text);
    },
  });
  refuseSince(parts.length, settings.from, settings.to);
  const { report: path } = options;
  const report = path === undefined ? null : await ReplayReport.open(path, parts, settings.from, console);
  const replay = new Replay(parts, options, settings, report, console);
  const reads = await replay.run();
  const { count: events, canonical } = replay;
  const summary = summaryOf(reads, events);
  const isReported = (await report?.write(parts, reads, said)) !== false;
  const whole = replay.whole && isReported;
  if (options.collect === true) return { code: whole ? EXIT.done : EXIT.failed, events, canonical, summary };
  console.err.write(summary);
  let code: number = whole ? EXIT.done : EXIT.failed;
  if (expect !== null) {
    // Differences must not get among events that are written to stdout.
    const out = options.events === '-' ? console.err : console.out;
    code = tellVerdict(expect, wanted, { events: canonical, whole }, { out, err: console.err });
  }
  return { code, events, canonical, summary };
}

function expectOptions({ expect: file, strict, bless, allDifferences }: ReplayOptions): ExpectOptions | null {
  if (file === undefined) return null;
  return { file, strict: strict === true, bless: bless === true, all: allDifferences === true };
}

class Replay {
  /** Only kept where they are compared or collected. */
  readonly canonical: string[] = [];
  count = 0;
  /** Every log was read to its end, or to `--to`. */
  whole = true;
  readonly #parts: Part[];
  readonly #options: ReplayOptions;
  readonly #settings: ReplaySettings;
  readonly #report: ReplayReport | null;
  readonly #console: Console;
  readonly #stdin: Rewindable;
  readonly #numberers = new Map<string, Numberer>();

  constructor(
    parts: Part[],
    options: ReplayOptions,
    settings: ReplaySettings,
    report: ReplayReport | null,
    console: Console,
  ) {
    this.#parts = parts;
    this.#options = options;
    this.#settings = settings;
    this.#report = report;
    this.#console = console;
    this.#stdin = new Rewindable(console.in ?? process.stdin);
  }

  async run(): Promise<PartRead[]> {
    try {
      // Before anything is written: can all of them be read?
      const zeros: (WallMs | null)[] = [];
      for (const { paths } of this.#parts) zeros.push(paths.length === 0 ? null : await zeroOf(paths, this.#stdin));
      const output = openOutput(this.#options, this.#settings.format, this.#console);
      try {
        return await this.#withStorePath((path) => this.#all(zeros, output, path));
      } finally {
        output.close();
      }
    } finally {
      if (this.#parts.some(({ paths }) => paths.includes('-'))) await this.#stdin.close();
    }
  }

  async #withStorePath<T>(use: (path: string | null) => Promise<T>): Promise<T> {
    const { store: path, publish } = this.#options;
    if (path !== undefined || publish === undefined) return use(path ?? null);
    // What is published comes from a store; one that nobody asked to keep lives until the end.
    const folder = mkdtempSync(join(tmpdir(), 'axlepost-'));
    try {
      return await use(join(folder, 'replay.db'));
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  }

  async #all(zeros: (WallMs | null)[], output: Output, storePath: string | null): Promise<PartRead[]> {
    const reads: PartRead[] = [];
    let left: Left | null = null;
    for (const [index, part] of this.#parts.entries()) {
      const run = runOf(part, zeros[index] ?? null);
      const resume = resumeOf(part, run, left);
      const store = storePath === null ? null : await this.#openStore(storePath, part.config, run, index === 0);
      try {
        const sender = store === null ? null : await this.#makeSender(store, part.config);
        const replay = this.#partOf({ part, run, resume, store, sender }, output);
        this.#report?.begin(replay.session, run, part.recording?.firstT ?? 0);
        const read = await finished(replay, sender);
        this.#report?.end(replay.endT, read, replay.reachedTo);
        reads.push({ read, firstT: part.recording?.firstT ?? 0 });
        this.whole &&= replay.isWhole(read);
        left = { session: replay.session, t: replay.session.stepper.lastTick };
        if (replay.reachedTo) break;
      } finally {
        await store?.close();
      }
    }
    return reads;
  }

  #partOf(of: Pick<PartOptions, 'part' | 'run' | 'resume' | 'store' | 'sender'>, output: Output): PartReplay {
    const { truck } = of.part.config;
    const numberer = this.#numberers.get(truck) ?? new Numberer({ truck, store: 'replay' });
    this.#numberers.set(truck, numberer);
    return new PartReplay({
      ...of,
      settings: this.#settings,
      settle: this.#options.settle === true && of.part === this.#parts.at(-1),
      numberer,
      stdin: this.#stdin,
      console: this.#console,
      watch: this.#report?.gatherer ?? null,
      onProblem: (line) => this.#report?.problem(line),
      onEvents: (events, session) => this.#events(events, session, output),
      onTrips: (told, session) => this.#trips(told, session, output),
    });
  }

  async #openStore(path: string, config: TruckConfig, run: RunInfo, mustBeNew: boolean): Promise<Store> {
    const { maxBytes, keepMs } = config.store ?? DEFAULT_STORE;
    try {
      return await openStore({ path, truck: config.truck, maxBytes, keepMs, run, mustBeNew });
    } catch (error) {
      throw new Failure(EXIT.failed, lineOf(error), error);
    }
  }

  async #makeSender(store: Store, config: TruckConfig): Promise<ReplayPublisher | null> {
    const { publish } = this.#options;
    if (publish === undefined) return null;
    // The MQTT client takes some 14 MB and most replays do without.
    const { ReplayPublisher } = await import('./replay-publisher.js');
    return new ReplayPublisher(publish, store, config, this.#console.err);
  }

  #events(events: NumberedEvent[], session: Session, output: Output): void {
    const { from } = this.#settings;
    this.#report?.gatherer.named(events);
    const shown = from === null ? events : events.filter(({ draft, run }) => isAfter(from, draft.t, run.zeroWallMs));
    this.count += shown.length;
    const { expect, collect } = this.#options;
    if (expect !== undefined || collect === true)
      for (const { draft } of shown) this.canonical.push(canonicalEvent(draft));
    output.write(shown, session.config);
  }

  #trips({ checks, trip, run }: TripsTold, session: Session, output: Output): void {
    const { from } = this.#settings;
    const isShown = (endAt: StreamMs): boolean => from === null || isAfter(from, endAt, run.zeroWallMs);
    const told = trip !== null && isShown(trip.endAt) ? trip : null;
    output.trips({ checks: checks.filter(({ endAt }) => isShown(endAt)), trip: told, run }, session.config);
  }
}

/** Throws a Failure. */
async function finished(replay: PartReplay, sender: ReplayPublisher | null): Promise<LogsRead> {
  try {
    const read = await replay.run();
    await sender?.finish();
    return read;
  } catch (error) {
    await sender?.abandon();
    throw error;
  }
}
