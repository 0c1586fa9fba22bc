import { unpackState } from '../../adapters/recorder/sidecar.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { RareInput } from '../input.js';
import { Pipeline } from '../pipeline.js';
import type { Plain } from '../state.js';
import type { StreamMs, WallMs } from '../time.js';
import type { Out } from './console.js';
import { clockOf } from './expect.js';
import { EXIT, Failure } from './failure.js';
import { type Begun, lanesOf } from './log-order.js';
import type { Log, Recorded } from './recorded.js';

/** What one session replays: logs that are one stream of time. */
export interface Part {
  paths: string[];
  /** The same, one list for each that was recorded beside the others. */
  lanes: string[][];
  config: TruckConfig;
  /** null: logs of somebody else. */
  recording: Recording | null;
}

export interface Recording {
  /** Wall time of stream time 0, for stamps in the logs. */
  zeroMs: WallMs;
  /** The same as best known, for events. */
  run: { zeroWallMs: WallMs; synced: boolean };
  /** null: the calendar was not known at the first input. */
  zeroCalendarMs: WallMs | null;
  /** Stream time of the first input, and the state there; null: starts without it. */
  firstT: StreamMs;
  state: Plain | null;
  /** Goes on from what the part before has come to, as after a restart. */
  afterRestart: boolean;
  inputs: RareInput[];
  /** The last that was decided; null where that is not known. */
  lastTick: StreamMs | null;
  /** Interface → name of the bus, as recorded. */
  busNames: Map<string, string>;
  /** Logs that a crash has cut off: no mistake in them. */
  cutOff: Set<string>;
}

export interface PlanOptions {
  /** Of the command line; null: as recorded. */
  config: TruckConfig | null;
  fresh: boolean;
  /** Why it is fresh, in what is said of it; default: `--fresh`. */
  why?: string;
}

/** Sorts logs into what is replayed in one go. Says what it starts from, and what is missing. Throws a Failure. */
export async function planReplay(logs: readonly Log[], options: PlanOptions, err: Out): Promise<Part[]> {
  const say = (line: string): void => void err.write(`${line}\n`);
  const parts: Part[] = [];
  for (const { recorded, plain } of chainsOf(logs, options, say)) {
    if (recorded.length === 0) parts.push(plainPart(plain, options, say));
    else parts.push(await recordedPart(recorded, parts.length > 0, options, say));
  }
  return parts;
}

/** One of the two is empty. */
interface Chain {
  /** Logs of somebody else that follow each other. */
  plain: Begun[];
  /** Recordings that follow on without a gap. */
  recorded: Recorded[];
}

function chainsOf(logs: readonly Log[], options: PlanOptions, say: (line: string) => void): Chain[] {
  const chains: Chain[] = [];
  for (const { path, begun, recorded } of logs) {
    const open = chains.at(-1);
    const before = open?.recorded.at(-1);
    if (recorded === null) {
      if (open === undefined || before !== undefined) chains.push({ plain: [begun!], recorded: [] });
      else open.plain.push(begun!);
      continue;
    }
    let goesOn = before !== undefined && isSameRun(before, recorded);
    const gap = goesOn ? gapBetween(before!, recorded) : null;
    if (gap !== null) {
      goesOn = startsWithout(options, recorded);
      say(`${path}: ${gap}; ${goesOn ? 'judged as a silent bus' : 'starts from its own state'}`);
    }
    if (goesOn) open!.recorded.push(recorded);
    else chains.push({ plain: [], recorded: [recorded] });
  }
  return chains;
}

function plainPart(logs: readonly Begun[], { config }: PlanOptions, say: (line: string) => void): Part {
  const paths = logs.map(({ path }) => path);
  if (config === null)
    throw new Failure(EXIT.usage, `${paths[0]}: is no recording of run with its sidecar; add --config truck.yaml`);
  // With one bus a second interface is another name for it, or none of ours.
  return { paths, lanes: config.buses.length > 1 ? lanesOf(logs, say) : [paths], config, recording: null };
}

function isSameRun({ sidecar: a }: Recorded, { sidecar: b }: Recorded): boolean {
  return a.start === b.start && a.configuration.truck === b.configuration.truck && a.zeroMs === b.zeroMs;
}

/** What lies between two segments of a run; null: nothing. */
function gapBetween({ sidecar: a }: Recorded, { sidecar: b }: Recorded): string | null {
  const missing = b.index - a.index - 1;
  if (missing < 0) return 'was named twice';
  if (missing > 0) return `${missing} ${missing === 1 ? 'segment is' : 'segments are'} missing before it`;
  if (!a.ended) return 'the segment before it was cut off';
  const lost = a.holes.reduce((sum, hole) => sum + hole.frames, 0);
  return a.holes.length > 0 ? `${lost} frames of the segment before it were not recorded` : null;
}

function startsWithout({ config, fresh }: PlanOptions, { sidecar }: Recorded): boolean {
  return fresh || (config !== null && config.hash !== sidecar.config);
}

async function recordedPart(
  chain: Recorded[],
  isLater: boolean,
  options: PlanOptions,
  say: (line: string) => void,
): Promise<Part> {
  const [first, last] = [chain[0]!, chain.at(-1)!];
  const { sidecar, path } = first;
  const config = options.config ?? sidecar.configuration;
  const others = config.hash !== sidecar.config;
  const state = startsWithout(options, first) ? null : await stateOf(first, config);
  say(`${path}: ${startWords(first, state, config, isLater, options)}`);
  for (const { path, sidecar: s } of chain) {
    for (const { fromT, toT, frames } of s.holes)
      say(`${path}: ${frames} frames between ${clockOf(fromT)} and ${clockOf(toT)} were not recorded`);
  }
  const inputs = chain.flatMap((one) => one.sidecar.inputs as RareInput[]);
  // A segment that has only answers has an empty log.
  const paths = chain.filter((one) => !one.sidecar.ended || one.sidecar.frames > 0).map((one) => one.path);
  return {
    paths,
    lanes: [paths],
    config,
    recording: {
      zeroMs: sidecar.zeroMs,
      run: last.sidecar.run,
      zeroCalendarMs: sidecar.zeroCalendarMs,
      firstT: sidecar.firstT,
      state,
      afterRestart: state === null && isLater,
      inputs: state === null ? inputs.flatMap((input) => withoutState(input, others)) : inputs,
      lastTick: last.sidecar.lastTick,
      busNames: busNamesOf(chain),
      cutOff: new Set(chain.filter((one) => !one.sidecar.ended).map((one) => one.path)),
    },
  };
}

/** null: it is damaged, or of another version that had it otherwise. Throws a Failure when the configuration is. */
async function stateOf({ path, sidecar }: Recorded, config: TruckConfig): Promise<Plain | null> {
  try {
    const state = await unpackState(sidecar.stateGzipBase64);
    new Pipeline(config, { kind: 'same-run', state, t: sidecar.firstT });
    return state;
  } catch {
    try {
      new Pipeline(config);
      return null;
    } catch (error) {
      const line = `${path}: its configuration cannot be used; add --config truck.yaml`;
      throw new Failure(EXIT.failed, line, error);
    }
  }
}

function startWords(
  { sidecar }: Recorded,
  state: Plain | null,
  { hash }: TruckConfig,
  isLater: boolean,
  { fresh, why = '--fresh' }: PlanOptions,
): string {
  const { config, firstT } = sidecar;
  if (state !== null) return `starts from the recorded state at ${clockOf(firstT)}, configuration ${config}`;
  const from = isLater ? 'goes on from what was judged before it' : 'starts without the recorded state';
  if (hash !== config) return `recorded with configuration ${config}, judged with ${hash}: ${from}`;
  return fresh ? `${why}: ${from}` : `its state cannot be read: ${from}`;
}

/** Decisions name alerts that are not there without the state; a reload would put the recorded limits in place of those given. */
function withoutState(input: RareInput, others: boolean): RareInput[] {
  if (input.kind === 'reload' && others) return [];
  return [input.kind === 'answer' ? { ...input, answer: { ...input.answer, decisions: [] } } : input];
}

function busNamesOf(chain: readonly Recorded[]): Map<string, string> {
  const configs = chain.flatMap(({ sidecar }) => [
    sidecar.configuration,
    ...sidecar.inputs.flatMap((input) => (input.kind === 'reload' ? [input.config] : [])),
  ]);
  return new Map(configs.flatMap(({ buses }) => buses.map((bus) => [bus.interface, bus.name] as const)));
}
